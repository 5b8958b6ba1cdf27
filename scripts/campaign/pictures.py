"""The pictures of a campaign, looked at side by side on all cores."""

from __future__ import annotations

import json
import multiprocessing
import os
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from itertools import chain
from pathlib import Path
from typing import TypeVar

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from .record import Record, Truth, measure
from .rivals import Trial, compare

SUFFIXES = (".jpg", ".jpeg", ".png", ".heic", ".heif", ".tif", ".tiff", ".webp")
#: Scenes of one campaign are numbered from its seed times this.
SCENES_A_SEED = 10_000

Job = TypeVar("Job")
Found = TypeVar("Found")


@dataclass(frozen=True, slots=True)
class Campaign:
    """Quick scenes to make: which of a seed's, from which zone, how large a picture."""

    first: int
    scenes: int
    seed: int
    zone: str
    size_px: tuple[int, int]
    gauge: str
    frame: str


def check_folder(folder: Path, source: str, workers: int | None = None) -> list[Record]:
    """Every picture of a folder that has its truth beside it, by name.

    A picture whose truth names a zone belongs to the group ``traced:ZONE``, any other to
    ``source``. ``workers`` None takes a process for every core.
    """
    return side_by_side(partial(_on_file, _measured, source), photos_in(folder), workers)


def check_scenes(campaign: Campaign, workers: int | None = None) -> list[Record]:
    """Quick scenes, each made, checked and forgotten."""
    return _on_scenes(_measured, campaign, workers)


def compare_folder(folder: Path, source: str, workers: int | None = None) -> list[Trial]:
    """Every estimator on every picture of a folder that has its truth beside it."""
    found = side_by_side(partial(_on_file, compare, source), photos_in(folder), workers)
    return list(chain.from_iterable(found))


def compare_scenes(campaign: Campaign, workers: int | None = None) -> list[Trial]:
    """Every estimator on quick scenes, each made, looked at and forgotten."""
    return list(chain.from_iterable(_on_scenes(compare, campaign, workers)))


def _measured(photo: Path, truth: Truth, group: str) -> Record:
    return measure(photo, truth, photo.stem, group)


def photos_in(folder: Path) -> list[Path]:
    return sorted(
        p
        for p in folder.iterdir()
        if p.suffix.lower() in SUFFIXES and p.with_suffix(".truth.json").is_file()
    )


#: What is done with a photo, its truth and its group.
Look = Callable[[Path, Truth, str], Found]


def _on_file(look: Look[Found], source: str, photo: Path) -> Found:
    truth = json.loads(photo.with_suffix(".truth.json").read_text(encoding="utf-8"))
    return look(photo, truth, f"traced:{truth['zone']}" if "zone" in truth else source)


def _on_scenes(look: Look[Found], campaign: Campaign, workers: int | None) -> list[Found]:
    start = SCENES_A_SEED * campaign.seed + campaign.first
    numbers = range(start, start + campaign.scenes)
    with tempfile.TemporaryDirectory(prefix="rigvision-campaign-") as folder:
        return side_by_side(partial(_on_scene, look, campaign, Path(folder)), numbers, workers)


def _on_scene(look: Look[Found], campaign: Campaign, folder: Path, number: int) -> Found:
    from rigvision.synthetic import make_photo, random_case
    from rigvision.world.catalogue import load
    from rigvision.world.frame import Frame
    from rigvision.world.gauge import Gauge

    gauge, frame = load(Gauge, campaign.gauge), load(Frame, campaign.frame)
    case = random_case(number, gauge, frame, campaign.zone, size_px=campaign.size_px)
    photograph = make_photo(case.scene, case.camera, gauge, frame, seed=number)
    photo = folder / f"{campaign.zone}-{number}.jpg"
    photo.write_bytes(photograph.jpeg)
    try:
        return look(photo, photograph.truth, f"quick:{campaign.zone}")
    finally:
        photo.unlink()


def side_by_side(
    look: Callable[[Job], Found], jobs: Sequence[Job], workers: int | None
) -> list[Found]:
    """What was found, in the order of the jobs; a bar on standard error."""
    if not jobs:
        return []
    for threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ[threads] = "1"  # one process a core is faster than threads in each
    processes = min(workers or os.cpu_count() or 1, len(jobs))
    pool = multiprocessing.get_context("spawn").Pool(processes, _settle)
    with pool, _bar(len(jobs)) as step:
        found = []
        for one in pool.imap(look, jobs):
            found.append(one)
            step()
    return found


def _settle() -> None:
    import cv2

    cv2.setNumThreads(1)


@contextmanager
def _bar(total: int) -> Iterator[Callable[[], None]]:
    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
    )
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("Measuring", total=total)
        yield lambda: bar.advance(task)
