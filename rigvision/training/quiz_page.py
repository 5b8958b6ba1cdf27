"""A quiz's folder: one page, its photos, what is known of each masked, ``quiz.json``."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rigvision.ground.errors import UsageError
from rigvision.records.canonical import sha256_of
from rigvision.records.clock import now
from rigvision.records.ledger_error import shown_path
from rigvision.records.strict_json import plain_of
from rigvision.training.known import Known
from rigvision.training.masked import masked
from rigvision.training.page_set import PageFolder, page_folder, rendered
from rigvision.training.quiz import (
    QUIZ_FILE,
    Quiz,
    QuizShot,
    Source,
    masked_known,
)

KIND = "quiz"


@dataclass(frozen=True, slots=True)
class Asked:
    """A shot to be asked. ``photo`` and ``image``, the analysed one, are JPEG. Without ``known``
    nothing is told after the answer."""

    photo: bytes
    place: str
    limits: str
    known: Known | None = None
    record: str | None = None
    image: bytes | None = None


def quiz_folder(path: Path) -> PageFolder:
    """A new or empty folder for a quiz. Raises UsageError for any other, LedgerError.

    Not one that holds a quiz: answers to it could no longer be scored.
    """
    folder = page_folder(path, KIND)
    if folder.made:
        raise UsageError(
            "quiz-there",
            f"There is a quiz in {shown_path(path)} already.",
            "Name an empty or a new folder with --out: the old one is needed to score answers.",
        )
    return folder


def write_quiz(
    folder: PageFolder,
    quiz_id: str,
    title: str,
    source: Source,
    asked: Iterable[Asked],
    seal: Callable[[], str] | None = None,
) -> Quiz:
    """Write all of it; ``asked`` in the order of the shots, one in memory at a time.

    ``seal`` is called when all photos are written, and gives the commitment to what was sealed.
    """
    shots, images = [], {}
    for number, one in enumerate(asked, start=1):
        shots.append(_written(folder, quiz_id, number, one))
        if one.image is not None:
            images[number] = _image_written(folder, quiz_id, number, one.image)
    commitment = seal() if seal else None
    quiz = Quiz("rigvision.quiz/1", quiz_id, title, now(), source, commitment, tuple(shots))
    folder.write_assets("quiz.css", "quiz.js")
    folder.write(QUIZ_FILE, quiz.content)
    data = _page_data(quiz, images)
    folder.write("index.html", rendered("quiz.html", root="", quiz=quiz, data=data))
    folder.note({QUIZ_FILE: quiz.sha256})
    return quiz


def _written(folder: PageFolder, quiz_id: str, number: int, one: Asked) -> QuizShot:
    name = f"photos/shot-{number:03d}.jpg"
    folder.write(name, one.photo)
    reading = masked_known(one.known, quiz_id, number) if one.known else None
    return QuizShot(number, name, sha256_of(one.photo), one.place, one.limits, one.record, reading)


def _image_written(folder: PageFolder, quiz_id: str, number: int, image: bytes) -> str:
    """The masked image as a script, since a page opened from a file can load nothing else."""
    name = f"photos/saw-{number:03d}.js"
    folder.write(name, f'rigvisionSaw({number}, "{masked(image, quiz_id, number)}");\n')
    return name


def _page_data(quiz: Quiz, images: dict[int, str]) -> dict[str, Any]:
    plain = plain_of(quiz)
    for shot in plain["shots"]:
        shot["image"] = images.get(shot["shot"])
    return plain | {"sha256": quiz.sha256}
