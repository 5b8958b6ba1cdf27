"""A trainee's answers, as the page wrote them, read back strictly.

The page writes canonical JSON with a hash over all else. That tells an edited file, not a forged
one: whoever reads the page's script can make the hash too.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, Literal

from rigvision.decision.result import Verdict
from rigvision.ground.ordinary_file import read_ordinary
from rigvision.ground.shown import one_line
from rigvision.records.canonical import digest, parsed
from rigvision.records.person import LONGEST_NAME, folded
from rigvision.records.strict_json import read_exactly
from rigvision.training.quiz import MOST_SHOTS, Quiz
from rigvision.training.quiz_error import AnswersError

SCHEMA = "rigvision.answers/1"
MOST_BYTES = 1_000_000
#: Beyond these nobody means a gap or a turn; the page takes no others.
MOST_GAP_MM = 20.0
MOST_TURNS = 10.0
_HEX_16 = re.compile(r"[0-9a-f]{16}")
_TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z", re.ASCII)


@dataclass(frozen=True, slots=True)
class Answer:
    """One shot's. None where the trainee could not tell. ``turns`` positive closes."""

    shot: int
    verdict: Verdict
    gap_mm: float | None
    turns: float | None
    seconds: float


@dataclass(frozen=True, slots=True)
class Answers:
    """``check`` is the hash over all else. Times are what the trainee's machine said."""

    schema: Literal["rigvision.answers/1"]
    quiz: str
    quiz_sha256: str
    trainee: str
    begun_at: str
    finished_at: str
    answers: tuple[Answer, ...]
    check: str


def read_answers(path: Path) -> Answers:
    """Raises AnswersError, a sentence that names the file, for whatever a page did not write."""
    name = one_line(path.name, 80)
    try:
        content = read_ordinary(path, MOST_BYTES)
    except OSError as error:
        cause = error.strerror or "it cannot be opened"
        raise AnswersError(
            "answers-unread", f"{name} cannot be read: {cause}.", "Name the file that was saved."
        ) from error
    try:
        return parse_answers(content)
    except (ValueError, RecursionError) as error:
        raise _unfit(name, one_line(str(error), 200)) from error


def parse_answers(content: bytes) -> Answers:
    """Raises ValueError, in words."""
    try:
        plain = parsed(content)
    except UnicodeDecodeError as error:
        raise ValueError("it is not UTF-8 text") from error
    found = read_exactly(Answers, plain)
    assert isinstance(found, Answers)
    if found.check != check_of(plain):
        raise ValueError("it was changed after the page wrote it")
    _check(found)
    return found


def check_of(plain: dict[str, Any]) -> str:
    """The hash that the page writes over all else."""
    return digest(SCHEMA, {key: value for key, value in plain.items() if key != "check"})


def belongs(answers: Answers, quiz: Quiz, name: str) -> None:
    """Raises AnswersError for answers to another quiz, or to shots that it does not have."""
    if answers.quiz != quiz.quiz:
        cause = f"they answer quiz {answers.quiz}, not {quiz.quiz}"
    elif answers.quiz_sha256 != quiz.sha256:
        cause = f"they answer another make of quiz {quiz.quiz}"
    elif any(a.shot > len(quiz.shots) for a in answers.answers):
        cause = f"they have a shot beyond the quiz's {len(quiz.shots)}"
    else:
        return
    raise AnswersError(
        "answers-other-quiz",
        f"The answers in {name} are not for this quiz: {cause}.",
        "Name that quiz's folder with --quiz.",
    )


def _check(found: Answers) -> None:
    """What types cannot say. Raises ValueError."""
    if not _HEX_16.fullmatch(found.quiz):
        raise ValueError("its quiz is no quiz's id")
    name = found.trainee
    if one_line(name) != name or not folded(name) or len(name) > LONGEST_NAME:
        raise ValueError("its trainee's name is none, or does not show")
    begun, finished = _time(found.begun_at), _time(found.finished_at)
    if finished < begun:
        raise ValueError("it ends before it begins")
    shots = [a.shot for a in found.answers]
    if not 1 <= len(shots) <= MOST_SHOTS:
        raise ValueError(f"it has {len(shots)} answers")
    if len(set(shots)) != len(shots):
        raise ValueError("it answers a shot twice")
    for answer in found.answers:
        _check_one(answer)


def _check_one(answer: Answer) -> None:
    if answer.shot < 1 or not 0.0 <= answer.seconds < 1e9:
        raise ValueError(f"the answer to shot {answer.shot} cannot be")
    if answer.gap_mm is not None and not 0.0 <= answer.gap_mm <= MOST_GAP_MM:
        raise ValueError(f"a gap of {answer.gap_mm:g} mm cannot be meant")
    if answer.turns is not None and abs(answer.turns) > MOST_TURNS:
        raise ValueError(f"{answer.turns:g} turns cannot be meant")


def _time(text: str) -> datetime:
    if not _TIME.fullmatch(text):
        raise ValueError("a time in it is none")
    return datetime.fromisoformat(text)


def _unfit(name: str, cause: str) -> AnswersError:
    return AnswersError(
        "answers-unfit",
        f"{name} is not a file of answers as the quiz page wrote it: {cause}.",
        "Save the answers from the page again, and leave the file as it is.",
    )
