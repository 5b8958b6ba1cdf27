"""The command ``training quiz``: records or saved results drawn into a quiz's folder."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from rigvision.cli.at_ledger import opened
from rigvision.cli.checking import bar, say
from rigvision.cli.page import Page, print_json
from rigvision.ground.errors import UsageError
from rigvision.records.given_text import given_text
from rigvision.records.ledger import Ledger
from rigvision.records.record_view import view_record
from rigvision.records.search import MOST, Wanted, search
from rigvision.training.quiz import MOST_SHOTS, Quiz, Source, new_quiz_id
from rigvision.training.quiz_page import Asked, quiz_folder, write_quiz
from rigvision.training.quiz_shots import asked_of, common_frame, in_turn, kind_of
from rigvision.training.shot import shot_of_record
from rigvision.training.shot_set import shots_of_folder


@dataclass(frozen=True, slots=True)
class QuizWanted:
    out: Path
    shots: int
    seed: int | None
    job: str | None
    title: str
    results: Path | None = None


def make_quiz(wanted: QuizWanted, ledger_file: Path | None, *, as_json: bool) -> None:
    title = given_text(wanted.title, "the title")
    if not 1 <= wanted.shots <= MOST_SHOTS:
        raise UsageError(
            "quiz-shots", f"A quiz cannot have {wanted.shots} shots.", f"Ask for 1 to {MOST_SHOTS}."
        )
    seed = secrets.randbits(32) if wanted.seed is None else wanted.seed
    if wanted.results is not None:
        quiz = _of_results(wanted, wanted.results, title, seed)
    else:
        with opened(ledger_file, read_only=True) as ledger:
            quiz = _of_records(ledger, wanted, title, seed)
    if as_json:
        print_json(quiz_as_json(quiz, wanted.out) | {"seed": seed})
        return
    page = Page()
    page.headline(f"Quiz {quiz.quiz}", f"{len(quiz.shots)} shots, seed {seed}")
    if len(quiz.shots) < wanted.shots:
        page.line(f"There are no more than {len(quiz.shots)} shots to ask about.")
    page.line("Open this page in a browser, and score what it saves with 'training score':")
    page.exact(str(wanted.out / "index.html"))


def _of_records(ledger: Ledger, wanted: QuizWanted, title: str, seed: int) -> Quiz:
    found = search(ledger, Wanted(job=wanted.job, most=MOST)).found
    kinds = {f.record: kind_of(f.verdict, f.borderline) for f in found if f.status != "corrected"}

    def asked(record: str) -> Asked:
        return asked_of(shot_of_record(ledger, view_record(ledger, record)))

    return _written(wanted, title, "ledger", in_turn(kinds, seed), asked)


def _of_results(wanted: QuizWanted, folder: Path, title: str, seed: int) -> Quiz:
    together = shots_of_folder(folder)
    for complaint in together.complaints:
        say(complaint)
    shots = {shot.key: shot for shot in together.shots if shot.files.photo}
    kinds = {key: kind_of(s.verdict, s.result.borderline) for key, s in shots.items()}
    frame = common_frame(together.shots)
    order = in_turn(kinds, seed)
    return _written(wanted, title, "results", order, lambda key: asked_of(shots[key], frame))


def _written(
    wanted: QuizWanted, title: str, source: Source, order: list[str], asked: Callable[[str], Asked]
) -> Quiz:
    if not order:
        raise UsageError(
            "quiz-empty",
            "There is no shot to ask about.",
            "Record checks first ('rigvision check --job'), put photos beside their saved results, "
            "or make a practice.",
        )
    chosen = order[: wanted.shots]
    folder = quiz_folder(wanted.out)
    with bar("Writing shots", len(chosen)) as step:
        each = _counted(map(asked, chosen), step)
        return write_quiz(folder, new_quiz_id(), title, source, each)


def _counted(shots: Iterable[Asked], step: Callable[[float], None] | None) -> Iterator[Asked]:
    for number, shot in enumerate(shots, start=1):
        yield shot
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
