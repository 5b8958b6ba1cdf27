"""The command ``training score``: files of answers into figures, and sheets to print."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

from rigvision.cli.at_ledger import chosen
from rigvision.cli.checking import say
from rigvision.cli.page import Page, print_json
from rigvision.decision.result import Verdict
from rigvision.ground.errors import RigvisionError
from rigvision.ground.shown import one_line
from rigvision.records.ledger import Ledger
from rigvision.records.record_view import view_record
from rigvision.training.answers import Answers, belongs, read_answers
from rigvision.training.first_answers import Remark, first_answers, still_open
from rigvision.training.known import Known
from rigvision.training.practice import open_practice
from rigvision.training.quiz import Quiz, read_quiz
from rigvision.training.quiz_error import AnswersError
from rigvision.training.score import SCHEMA, Score, score
from rigvision.training.score_rows import (
    HEAD,
    PROGRESS_HEAD,
    kappa_row,
    progress_row,
    rows,
)
from rigvision.training.shot import shot_of_record
from rigvision.training.sitting import sitting_of


@dataclass(frozen=True, slots=True)
class ScoreWanted:
    answers: tuple[Path, ...]
    quizzes: tuple[Path, ...]
    key: Path | None
    out: Path | None
    ledger: Path | None


@dataclass(frozen=True, slots=True)
class _Readable:
    """Answers with their quiz, and what is known of its shots."""

    answers: Answers
    quiz: Quiz
    known: tuple[Known, ...]


def run_score(wanted: ScoreWanted, *, as_json: bool) -> int:
    """Exit code: 1 where a file could not count."""
    readable, failed = _read_all(wanted)
    first = first_answers([(name, r.answers) for name, r in readable])
    counted = [r for _, r in readable if any(r.answers is a for a in first.counted)]
    remarks = list(first.remarks)
    for one in counted:
        remarks += [r for r in (still_open(one.answers, len(one.quiz.shots)),) if r]
    rulings, said = rulings_of([one.quiz for one in counted], wanted.ledger)
    remarks += said
    found = score([sitting_of(o.answers, o.quiz, o.known, rulings) for o in counted])
    written = _sheets(wanted.out, found, remarks)
    if as_json:
        print_json(as_plain(found, remarks, written))
    else:
        show(Page(), found, remarks, written)
    return int(failed)


def _sheets(out: Path | None, found: Score, remarks: Sequence[Remark]) -> list[Path]:
    if out is None:
        return []
    from rigvision.training.score_sheet import write_sheets

    return write_sheets(out, found, remarks)


def _read_all(wanted: ScoreWanted) -> tuple[list[tuple[str, _Readable]], bool]:
    """What can be scored, with the files' names; whether any cannot. Each is said why."""
    quizzes = [(folder, read_quiz(folder)) for folder in wanted.quizzes]
    readable, failed = [], False
    for path in wanted.answers:
        try:
            readable.append((one_line(path.name, 80), _read_one(path, quizzes, wanted.key)))
        except RigvisionError as error:
            failed = True
            say(f"{error.text} {error.remedy}")
    return readable, failed


def _read_one(path: Path, given: Sequence[tuple[Path, Quiz]], key: Path | None) -> _Readable:
    answers = read_answers(path)
    quizzes = given or [(path.parent, read_quiz(path.parent))]
    folder, quiz = next((q for q in quizzes if q[1].quiz == answers.quiz), quizzes[0])
    name = one_line(path.name, 80)
    belongs(answers, quiz, name)
    try:
        if quiz.commitment is None:
            return _Readable(answers, quiz, quiz.known())
        return _Readable(answers, quiz, open_practice(folder, quiz, answers, key).shots)
    except AnswersError as error:
        raise AnswersError(error.code, f"{name}: {error.text}", error.remedy) from error


def rulings_of(
    quizzes: Sequence[Quiz], ledger_file: Path | None
) -> tuple[Mapping[str, Verdict], list[Remark]]:
    """The trainer's word on each record that was asked, and remarks.

    Without a ledger at the usual place there are none; one that was named must be there.
    """
    records = {s.record for quiz in quizzes for s in quiz.shots if s.record}
    if not records:
        return {}, []
    if ledger_file is None and not chosen(None).exists():
        return {}, [Remark(None, "No ledger is at hand: the trainer's rulings are left out.")]
    found: dict[str, Verdict] = {}
    with Ledger.open(chosen(ledger_file), read_only=True) as ledger:
        for record in sorted(records):
            ruling = shot_of_record(ledger, view_record(ledger, record)).ruling
            if ruling:
                found[record] = ruling.word
    return found, []


def as_plain(found: Score, remarks: Sequence[Remark], written: Sequence[Path]) -> dict[str, object]:
    return {
        "schema": SCHEMA,
        **asdict(found),
        "remarks": [asdict(r) for r in remarks],
        "sheets": [str(path) for path in written],
    }


def show(page: Page, found: Score, remarks: Sequence[Remark], written: Sequence[Path] = ()) -> None:
    for one in found.trainees:
        together = one.together
        page.headline(one.trainee, f"{together.answered} of {together.asked} shots answered")
        page.table(HEAD, rows(together), named=True)
        if len(one.sittings) > 1:
            page.gap()
            page.table(PROGRESS_HEAD, [progress_row(d) for d in one.sittings], named=True)
        page.gap()
    if found.among.value is not None:
        page.headline("Trainees among themselves", f"{found.among.subjects} shots in common")
        by_verdict = [kappa_row(f"{v} against the others", k) for v, k in found.by_verdict]
        page.table(HEAD, [kappa_row("Fleiss's kappa", found.among), *by_verdict], named=True)
        page.gap()
    for remark in remarks:
        page.line(remark.text)
    if written:
        page.line("Sheets to print:")
    for path in written:
        page.exact(str(path))
