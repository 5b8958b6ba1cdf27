"""Practice: drawn photos as a quiz whose truth is sealed until every shot is answered."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from rigvision.ground.errors import UsageError
from rigvision.records.ledger_error import spoken
from rigvision.records.safe_file import write_new
from rigvision.training.answers import Answers
from rigvision.training.known import Known
from rigvision.training.practice_level import Level
from rigvision.training.quiz import MOST_SHOTS, Quiz, new_quiz_id
from rigvision.training.quiz_error import AnswersError
from rigvision.training.quiz_page import Asked, quiz_folder, write_quiz
from rigvision.training.sealed_truth import (
    KEY_FILE,
    SEALED_FILE,
    PracticeTruth,
    new_key,
    new_truth,
    opened,
    read_key,
    read_sealed,
    sealed,
)


@dataclass(frozen=True, slots=True)
class Drawn:
    """A drawn photo. ``known`` has its truth, and what the tool reads in it."""

    jpeg: bytes
    place: str
    limits: str
    known: Known


#: Draws the photo of a number at a level. The same number gives the same photo.
Maker = Callable[[int, Level], Drawn]


@dataclass(frozen=True, slots=True)
class PracticeWanted:
    """``key_file`` None keeps the key in the practice's own folder."""

    count: int
    seed: int
    level: Level
    out: Path
    key_file: Path | None = None


def make_practice(
    wanted: PracticeWanted, maker: Maker, progress: Callable[[int], None] | None = None
) -> Quiz:
    """Draw, write and seal. Raises UsageError, LedgerError.

    The key is on the disk before anything is sealed with it, and takes no other file's place.
    """
    if not 1 <= wanted.count <= MOST_SHOTS:
        raise UsageError(
            "practice-count",
            f"{wanted.count} photos cannot be drawn.",
            f"Ask for 1 to {MOST_SHOTS} with --count.",
        )
    folder, quiz_id = quiz_folder(wanted.out), new_quiz_id()
    known: list[Known] = []

    def asked() -> Iterator[Asked]:
        for number in range(1, wanted.count + 1):
            drawn = maker(photo_seed(wanted.seed, number), wanted.level)
            known.append(drawn.known)
            yield Asked(drawn.jpeg, drawn.place, drawn.limits)
            if progress:
                progress(number)

    def seal() -> str:
        truth = new_truth(quiz_id, wanted.level.number, wanted.seed, tuple(known))
        key = new_key()
        _write_key(wanted.key_file or wanted.out / KEY_FILE, key)
        folder.write(SEALED_FILE, sealed(truth, key))
        return truth.commitment

    title = f"Practice, difficulty {wanted.level.number}: {wanted.level.words}"
    return write_quiz(folder, quiz_id, title, "practice", asked(), seal)


def photo_seed(seed: int, number: int) -> int:
    """By a hash: what a photo's file says of its own number leads to no other's."""
    return int.from_bytes(hashlib.sha256(f"{seed}:{number}".encode()).digest()[:7], "big")


def open_practice(
    folder: Path, quiz: Quiz, answers: Answers, key_file: Path | None = None
) -> PracticeTruth:
    """The truth, for whoever has answered every shot. Raises AnswersError, QuizError."""
    if quiz.commitment is None:
        raise AnswersError(
            "no-practice",
            f"Quiz {quiz.quiz} is no practice: nothing in it is sealed.",
            "Score its answers with 'rigvision training score'.",
        )
    left = len(quiz.shots) - len(answers.answers)
    if left:
        raise AnswersError(
            "practice-half-done",
            f"{left} of {len(quiz.shots)} shots are not answered; until then the truth is sealed.",
            "Answer the rest on the page, and save the answers again.",
        )
    key = read_key(key_file or folder / KEY_FILE)
    return opened(read_sealed(folder), key, quiz.quiz, quiz.commitment)


def _write_key(path: Path, key: bytes) -> None:
    with spoken(path):
        path.parent.mkdir(parents=True, exist_ok=True)
        try:
            write_new(path, f"{key.hex()}\n".encode(), 0o600)
        except FileExistsError as error:
            raise UsageError(
                "key-there",
                f"There is a file at {path} already.",
                "Name a new file with --key: the old one may be another practice's key.",
            ) from error
