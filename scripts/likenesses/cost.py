"""What likenesses cost: to make, to compare, and to find among very many."""

from __future__ import annotations

import random
import sqlite3
import time
from collections.abc import Callable
from dataclasses import asdict, replace
from statistics import median
from typing import Any

from campaign.environment import ROOT

import rigvision
from rigvision.evidence import Evidence
from rigvision.photo.picture import read_picture
from rigvision.records import schema
from rigvision.records.bodies import Likeness
from rigvision.records.canonical import canonical
from rigvision.records.likeness import likeness_of
from rigvision.records.likeness_index import candidates, row_of
from rigvision.records.sameness import compare
from rigvision.vision.face_patches import face_patches

PHOTO = ROOT / "sample_images" / "nominal.jpg"
RUNS = 25


def table(earlier: int) -> str:
    """Milliseconds of processor time: median and slowest of so many runs in one process, warm."""
    seen, picture = rigvision.check(PHOTO, faces=True), read_picture(PHOTO)
    evidence, made = seen.evidence, likeness_of(seen)
    assert isinstance(evidence, Evidence)
    assert evidence.pose
    assert evidence.gauge
    assert evidence.frame
    assert made
    view = picture, evidence.pose, evidence.gauge, evidence.frame, evidence.slot
    lines = [
        "| processor time | median, ms | slowest, ms |",
        "| --- | ---: | ---: |",
        _line("patches of a 12-megapixel photo, while it is checked", lambda: face_patches(*view)),
        _line("likeness of the checked photo", lambda: likeness_of(seen)),
        _line("comparing two", lambda: compare(made, made)),
        _line(f"finding what to compare among {earlier:,}", *_searches(made, earlier)),
    ]
    size = len(canonical(asdict(made)))
    return "\n".join([*lines, "", f"A likeness takes {size:,} bytes of canonical JSON."])


def _line(name: str, *runs: Callable[[], Any]) -> str:
    """Of one run again and again, or of many."""
    spent_ms = []
    for run in runs if len(runs) > 1 else runs * RUNS:
        start = time.process_time()
        run()
        spent_ms.append(1e3 * (time.process_time() - start))
    return f"| {name} | {median(spent_ms):.1f} | {max(spent_ms):.1f} |"


def _searches(like: Likeness, earlier: int) -> list[Callable[[], Any]]:
    chance, connection = random.Random(1), sqlite3.connect(":memory:")
    connection.executescript(schema.INDEX)
    for sequence in range(earlier):
        row = {"sequence": sequence, "record": str(sequence)} | row_of(asdict(_other(like, chance)))
        columns, marks = ", ".join(row), ", ".join("?" * len(row))
        values = tuple(row.values())
        connection.execute(f"INSERT INTO likeness ({columns}) VALUES ({marks})", values)
    return [_search(connection, _other(like, chance)) for _ in range(RUNS)]


def _search(connection: sqlite3.Connection, like: Likeness) -> Callable[[], Any]:
    return lambda: candidates(connection, like)


def _other(like: Likeness, chance: random.Random) -> Likeness:
    """Another door: seven of ten are rigged as they should be, and so all alike."""
    good = chance.random() < 0.7
    values = {
        "gap_mm": chance.gauss(0.8, 0.08) if good else chance.uniform(0.3, 1.8),
        "taper_mm": chance.gauss(0.0, 0.07),
        "lateral_mm": chance.gauss(0.0, 0.2),
        "seat_mm": chance.uniform(0.0, 0.3) if good else chance.uniform(0.0, 12.0),
        "clock_deg": chance.gauss(0.0, 1.5) if good else chance.uniform(-45.0, 45.0),
    }
    figures = {name: (value, like.figures[name][1]) for name, value in values.items()}
    place = chance.gauss(0.0, 50.0), chance.gauss(0.0, 50.0), chance.uniform(180.0, 350.0)
    sketches = {face: chance.randbytes(32).hex() for face in ("sill", "barrel")}
    return replace(like, camera_mm=place, figures=figures, sketches=sketches, patches={})
