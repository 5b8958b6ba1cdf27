"""A quiz: shots in an order, what is known of each kept masked or sealed, all under one hash.

``quiz.json`` in the quiz's folder is canonical JSON; its hash stands in the page and in every file
of answers, so that answers for another quiz are told.
"""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from rigvision.ground.ordinary_file import read_ordinary
from rigvision.ground.shown import one_line
from rigvision.records.canonical import canonical, digest, parsed
from rigvision.records.strict_json import plain_of, read_exactly
from rigvision.training.known import Known
from rigvision.training.masked import masked, unmasked
from rigvision.training.quiz_error import QuizError

SCHEMA = "rigvision.quiz/1"
QUIZ_FILE = "quiz.json"
MOST_SHOTS = 200
MOST_BYTES = 4_000_000
_LONGEST_TEXT = 200

Source = Literal["ledger", "results", "practice"]


@dataclass(frozen=True, slots=True)
class QuizShot:
    """``shot`` counts from 1. ``picture`` lies in the quiz's folder. ``reading`` is what is known,
    masked; None where it is sealed elsewhere. ``record`` is the ledger's, where there is one."""

    shot: int
    picture: str
    picture_sha256: str
    place: str
    limits: str
    record: str | None
    reading: str | None


@dataclass(frozen=True, slots=True)
class Quiz:
    """``commitment`` is the hash of a practice's sealed truth (``sealed_truth``)."""

    schema: Literal["rigvision.quiz/1"]
    quiz: str  # 16 random hexadecimal digits
    title: str
    made_at: str
    source: Source
    commitment: str | None
    shots: tuple[QuizShot, ...]

    @property
    def sha256(self) -> str:
        return digest(SCHEMA, plain_of(self))

    @property
    def content(self) -> bytes:
        return canonical(plain_of(self))

    def known(self) -> tuple[Known, ...]:
        """What is known of each shot. Raises QuizError where it is sealed or does not read."""
        return tuple(self._known(shot) for shot in self.shots)

    def _known(self, shot: QuizShot) -> Known:
        if shot.reading is None:
            raise _unfit("its readings are sealed")
        try:
            return known_of_bytes(unmasked(shot.reading, self.quiz, shot.shot))
        except ValueError as error:
            raise _unfit(f"the reading of shot {shot.shot} is not as it was written") from error


def new_quiz_id() -> str:
    return secrets.token_hex(8)


def masked_known(known: Known, quiz: str, shot: int) -> str:
    return masked(canonical(plain_of(known)), quiz, shot)


def known_of_bytes(content: bytes) -> Known:
    """Raises ValueError."""
    known = read_exactly(Known, parsed(content))
    assert isinstance(known, Known)
    return known


def read_quiz(folder: Path) -> Quiz:
    """The quiz of a folder. Raises QuizError where there is none, or it was changed."""
    try:
        content = read_ordinary(folder / QUIZ_FILE, MOST_BYTES)
    except OSError as error:
        raise _no_quiz(folder, error.strerror or "it cannot be opened") from error
    try:
        quiz = read_exactly(Quiz, parsed(content))
        assert isinstance(quiz, Quiz)
        _check(quiz)
    except (ValueError, RecursionError) as error:
        raise _no_quiz(folder, one_line(str(error), 160)) from error
    return quiz


def _check(quiz: Quiz) -> None:
    """What types cannot say. Raises ValueError."""
    if not 1 <= len(quiz.shots) <= MOST_SHOTS:
        raise ValueError(f"it has {len(quiz.shots)} shots")
    if [s.shot for s in quiz.shots] != list(range(1, len(quiz.shots) + 1)):
        raise ValueError("its shots are not numbered from 1")
    for text in (quiz.quiz, quiz.title, quiz.made_at, quiz.commitment or ""):
        if len(text) > _LONGEST_TEXT or one_line(text) != text:
            raise ValueError("a text in it is too long or not of one line")


def _no_quiz(folder: Path, cause: str) -> QuizError:
    return QuizError(
        "no-quiz",
        f"There is no whole quiz in {one_line(str(folder), 200)}: {cause}.",
        "Name the folder that the quiz was written to, as it was written, with --quiz.",
    )


def _unfit(cause: str) -> QuizError:
    return QuizError(
        "quiz-unread",
        f"The quiz cannot be scored: {cause}.",
        "Take the quiz's folder as it was written; open a practice with 'rigvision practice open'.",
    )
