"""The command ``training quiz``: records drawn into a quiz's folder."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from rigvision.cli.at_ledger import opened
from rigvision.cli.checking import bar
from rigvision.cli.page import Page, print_json
from rigvision.ground.errors import UsageError
from rigvision.records.given_text import given_text
from rigvision.records.ledger import Ledger
from rigvision.records.record_view import view_record
from rigvision.records.search import MOST, Wanted, search
from rigvision.training.quiz import MOST_SHOTS, Quiz, new_quiz_id
from rigvision.training.quiz_page import Asked, quiz_folder, write_quiz
from rigvision.training.quiz_shots import asked_of, in_turn
from rigvision.training.shot import shot_of_record


@dataclass(frozen=True, slots=True)
class QuizWanted:
    out: Path
    shots: int
    seed: int | None
    job: str | None
    title: str


def make_quiz(wanted: QuizWanted, ledger_file: Path | None, *, as_json: bool) -> None:
    title = given_text(wanted.title, "the title")
    if not 1 <= wanted.shots <= MOST_SHOTS:
        raise UsageError(
            "quiz-shots", f"A quiz cannot have {wanted.shots} shots.", f"Ask for 1 to {MOST_SHOTS}."
        )
    seed = secrets.randbits(32) if wanted.seed is None else wanted.seed
    with opened(ledger_file, read_only=True) as ledger:
        records = _records(ledger, wanted, seed)
        folder = quiz_folder(wanted.out)
        with bar("Writing shots", len(records)) as step:
            asked = _asked(ledger, records, step)
            quiz = write_quiz(folder, new_quiz_id(), title, "ledger", asked)
    if as_json:
        print_json(quiz_as_json(quiz, wanted.out) | {"seed": seed})
        return
    page = Page()
    page.headline(f"Quiz {quiz.quiz}", f"{len(quiz.shots)} shots, seed {seed}")
    if len(quiz.shots) < wanted.shots:
        page.line(f"There are no more than {len(quiz.shots)} records to ask about.")
    page.line("Open this page in a browser, and score what it saves with 'training score':")
    page.exact(str(wanted.out / "index.html"))


def _records(ledger: Ledger, wanted: QuizWanted, seed: int) -> list[str]:
    found = search(ledger, Wanted(job=wanted.job, most=MOST)).found
    fit = [f for f in found if f.status != "corrected"]
    if not fit:
        raise UsageError(
            "quiz-empty",
            "There is no record to ask about.",
            "Record checks first ('rigvision check --job'), or make a practice.",
        )
    return [f.record for f in in_turn(fit, seed)[: wanted.shots]]


def _asked(
    ledger: Ledger, records: list[str], step: Callable[[float], None] | None
) -> Iterator[Asked]:
    for number, record in enumerate(records, start=1):
        yield asked_of(shot_of_record(ledger, view_record(ledger, record)))
        if step:
            step(number)


def quiz_as_json(quiz: Quiz, folder: Path) -> dict[str, object]:
    return {
        "schema": quiz.schema,
        "quiz": quiz.quiz,
        "sha256": quiz.sha256,
        "commitment": quiz.commitment,
        "shots": len(quiz.shots),
        "page": str(folder / "index.html"),
    }
