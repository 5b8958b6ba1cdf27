"""What ``review`` and ``review note`` do: a library call, then its words."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from rigvision.cli.at_ledger import head_as_json, opened, person_at_keyboard, shown_head
from rigvision.cli.page import Page, print_json
from rigvision.ground.errors import UsageError
from rigvision.records.noting import note_ruling
from rigvision.records.search import Wanted
from rigvision.training.review import Progress as Told
from rigvision.training.review import Review, build_review
from rigvision.training.shot_set import ShotSet, shots_of_folder, shots_of_ledger


@dataclass(frozen=True, slots=True)
class ReviewRequest:
    """As it was asked for: results in a folder, or records of a ledger."""

    results: Path | None
    ledger: Path | None
    out: Path
    job: str | None
    since: str | None
    most: int


def build_pages(request: ReviewRequest, *, as_json: bool) -> None:
    shots = _shots(request)
    with _told() as told:
        review = build_review(shots, request.out, progress=told)
    if as_json:
        print_json(
            {
                "schema": "rigvision.review/1",
                "page": str(review.page),
                "shots": review.shots,
                "pictures_made": review.made,
                "without_photo": review.without_photo,
                "complaints": list(shots.complaints),
                "more": shots.more,
            }
        )
        return
    _show(review, shots, request.most)


def note_one(
    typed: str, ruling: str, text: str, by: str | None, ledger_file: Path | None, *, as_json: bool
) -> None:
    name = person_at_keyboard(by)
    with opened(ledger_file) as ledger:
        entry = note_ruling(ledger, typed, ruling, text, name)
        head = ledger.head()
    record = entry.body["record"]
    if as_json:
        print_json(
            {
                "schema": "rigvision.ruling/1",
                "record": record,
                "entry": entry.sequence,
                "ruling": ruling,
                "by": name,
                "head": head_as_json(head),
            }
        )
        return
    page = Page()
    page.headline(f"Record {record} is ruled {ruling}", f"by {name}; the record is unchanged")
    page.line("The pages show it when 'rigvision review' builds them again.")
    page.line(shown_head(head), "dim")


def _shots(request: ReviewRequest) -> ShotSet:
    if request.results is not None:
        if request.ledger or request.job or request.since:
            raise UsageError(
                "folder-or-ledger",
                "A folder of results has no ledger, jobs or days of recording.",
                "Give either the folder or --ledger, --job and --since.",
            )
        return shots_of_folder(request.results)
    with opened(request.ledger, read_only=True) as ledger:
        wanted = Wanted(job=request.job, since=request.since, most=request.most)
        return shots_of_ledger(ledger, wanted)


@contextmanager
def _told() -> Iterator[Told]:
    """A bar on a terminal's standard error; nothing where that is a file."""
    console = Console(file=sys.stderr)
    columns = (
        TextColumn("Shots"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
    )
    with Progress(
        *columns, console=console, transient=True, disable=not console.is_terminal
    ) as bar:
        task = bar.add_task("", total=None)
        yield lambda done, of: bar.update(task, completed=done, total=of)


def _show(review: Review, shots: ShotSet, most: int) -> None:
    page = Page()
    page.headline(f"{review.shots} shots to review", f"from {shots.origin}")
    for complaint in shots.complaints[:5]:
        page.line(complaint)
    if len(shots.complaints) > 5:
        page.line(f"{len(shots.complaints) - 5} more such things stand on the page.")
    if review.without_photo:
        page.line(f"{review.without_photo} without a photo that could be shown.")
    if shots.more:
        page.line(f"There are more than these {most}: --most N takes more.", "dim")
    page.line("Open in a browser:")
    page.exact(str(review.page))
