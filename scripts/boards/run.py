"""One picture looked at in a process of its own: its tags, and its board's pitches."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

import cv2

from boards.detection import Sighted, sight
from boards.layout import BOARDS
from boards.picture_set import SETS, PictureSet, pictures_of
from boards.pitch import Pitches, measure_pitches
from rigvision.photo.picture import read_picture


@dataclass(frozen=True)
class Job:
    """A picture and the set that it belongs to."""

    path: Path
    shown: PictureSet


def jobs(names: list[str] | None, cache: Path | None, *, fetch: bool) -> list[Job]:
    """All pictures of the sets with these names, or of all sets."""
    unknown = set(names or ()) - {s.name for s in SETS}
    if unknown:
        sys.exit(f"{unknown.pop()} is no set; there are {', '.join(s.name for s in SETS)}.")
    if cache is None:
        return []
    wanted = [s for s in SETS if not names or s.name in names]
    return [Job(path, s) for s in wanted for path in pictures_of(s, cache, fetch=fetch)]


def own_picture(path: Path) -> Job:
    """A picture of no package: every id may be there, and more than once."""
    anything = PictureSet(
        path.parent.name, "", "", "", (), "", "", (), frozenset(range(587)), once=False
    )
    return Job(path, anything)


def look(job: Job) -> tuple[Sighted | None, Pitches | None]:
    """Tags where there are some, pitches where the board is known."""
    cv2.setNumThreads(1)
    picture = read_picture(job.path)
    board = next((b for b in BOARDS if b.set_name == job.shown.name), None)
    sighted = sight(picture, job.shown) if job.shown.tag_ids is not None else None
    return sighted, measure_pitches(picture, board) if board else None
