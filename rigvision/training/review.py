"""A review: pictures of all shots, several at a time, then the pages that show them."""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from rigvision.records.clock import now
from rigvision.training.page_set import PageFolder, page_folder
from rigvision.training.review_page import SHOTS, Surroundings, cards_of, queue_page, shot_page
from rigvision.training.same_door import same_door
from rigvision.training.shot import Shot, queued
from rigvision.training.shot_pictures import (
    FOLDER,
    NoPictures,
    Pictures,
    ShownPictures,
    kept_pictures,
    noted,
    pictures_of,
)
from rigvision.training.shot_set import ShotSet
from rigvision.training.similar import similar_earlier

KIND = "review"
SCRIPTS = ("probability.js", "queue.js", "viewer.js", "what_if.js", "shot_keys.js")
#: Fewer photos to be read than this are read here: a process takes most of a second to start.
_WORTH_A_PROCESS = 6
#: Called with how many of how many shots are ready.
Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class Review:
    """What was built: the page to open, how many shots, how many of them had pictures made."""

    page: Path
    shots: int
    made: int
    without_photo: int


def build_review(
    shot_set: ShotSet,
    out: Path,
    *,
    workers: int | None = None,
    progress: Progress = lambda done, of: None,
) -> Review:
    """Write the pages into a folder that is empty or holds a review already.

    Raises UsageError for another folder, LedgerError where it cannot be written.
    """
    folder = page_folder(out, KIND)
    folder.note(folder.made)  # a build that breaks off can be done again
    shots = queued(list(shot_set.shots))
    kept = {s.key: found for s in shots if (found := kept_pictures(s, folder)) is not None}
    to_make = [s for s in shots if s.key not in kept]
    pictures: dict[str, Pictures] = dict(kept)
    for shot, made in zip(to_make, _made(to_make, folder, workers), strict=True):
        pictures[shot.key] = made
        progress(len(pictures), len(shots))
    _write_pages(shot_set, shots, pictures, folder)
    return Review(
        folder.path / "index.html",
        len(shots),
        len(to_make),
        sum(isinstance(p, NoPictures) for p in pictures.values()),
    )


def _made(shots: Sequence[Shot], folder: PageFolder, workers: int | None) -> Iterator[Pictures]:
    """Pictures of each, in order, by as many processes as there are processors."""
    count = min(workers or _processors(), max(1, len(shots) // _WORTH_A_PROCESS))
    bare = PageFolder(folder.path, folder.kind, {})  # none of these was made before
    if count == 1:
        yield from (pictures_of(shot, bare) for shot in shots)
        return
    # Not forked: a library's threads, where some have started, do not survive that.
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(count, context, initializer=_one_thread) as pool:
        yield from pool.map(partial(pictures_of, folder=bare), shots, chunksize=2)


def _processors() -> int:
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _one_thread() -> None:
    """Each process has work enough for one processor."""
    from rigvision.report.picture_layers import one_thread

    one_thread()


def _write_pages(
    shot_set: ShotSet, shots: list[Shot], pictures: dict[str, Pictures], folder: PageFolder
) -> None:
    cards = cards_of(shots, pictures)
    doors = same_door(shot_set.shots)
    similar = similar_earlier(shot_set.shots, pictures)
    listed = list(cards.values())
    for at, shot in enumerate(shots):
        around = Surroundings(
            listed[at - 1] if at else None,
            listed[at + 1] if at + 1 < len(listed) else None,
            at + 1,
            len(listed),
            doors[shot.key],
            similar.get(shot.key, ()),
        )
        page = shot_page(shot, pictures[shot.key], around, cards, shot_set.origin)
        folder.write(f"{SHOTS}/{shot.key}.html", page)
    folder.write_assets(*SCRIPTS)
    folder.write("index.html", queue_page(shot_set, cards, now()))
    folder.note(
        {
            f"{FOLDER}/{s.key}": noted(s, found)
            for s in shots
            if isinstance(found := pictures[s.key], ShownPictures)
        }
    )
