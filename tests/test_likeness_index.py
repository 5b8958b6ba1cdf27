"""Which earlier likenesses are looked at: all that must be, hardly any other."""

from __future__ import annotations

import random
import sqlite3
from collections.abc import Iterator
from dataclasses import asdict, replace
from typing import Any

import pytest

from rigvision.records import schema
from rigvision.records.bodies import Likeness
from rigvision.records.likeness_index import candidates, row_of

FIGURES = {
    "gap_mm": (0.80, 0.05),
    "taper_mm": (0.02, 0.04),
    "lateral_mm": (0.10, 0.025),
    "tilt_deg": (0.3, 0.05),
    "seat_mm": (0.05, 0.04),
    "clock_deg": (1.0, 0.25),
}
SILL, BARREL = bytes(range(32)), bytes(range(100, 132))
ELSEWHERE = (-90.0, 20.0, 260.0)


@pytest.fixture
def connection() -> Iterator[sqlite3.Connection]:
    made = sqlite3.connect(":memory:")
    made.executescript(schema.INDEX)
    yield made
    made.close()


def photo(sill: bytes = SILL, barrel: bytes = BARREL, **changes: Any) -> Likeness:
    usual = Likeness(
        "rigvision.likeness/1",
        "RG-10",
        (20.0, 40.0, 230.0),
        (0.4, 0.5, 3.0),
        {},
        figures=FIGURES,
        clock_period_deg=90.0,
        sketches={"sill": sill.hex(), "barrel": barrel.hex()},
    )
    return replace(usual, **changes)


def with_figures(**values: float) -> dict[str, tuple[float, float]]:
    return FIGURES | {name: (value, FIGURES[name][1]) for name, value in values.items()}


def differing(sketch: bytes, bits: int) -> bytes:
    return (int.from_bytes(sketch) ^ ((1 << bits) - 1)).to_bytes(32)


def keep(connection: sqlite3.Connection, sequence: int, likeness: Likeness) -> None:
    row = {"sequence": sequence, "record": f"R{sequence}"} | row_of(asdict(likeness))
    marks = ", ".join("?" * len(row))
    connection.execute(
        f"INSERT INTO likeness ({', '.join(row)}) VALUES ({marks})", tuple(row.values())
    )


def is_found(
    connection: sqlite3.Connection, earlier: Likeness, now: Likeness | None = None
) -> bool:
    keep(connection, 1, earlier)
    return candidates(connection, now or photo()) == [1]


@pytest.mark.parametrize(
    "earlier",
    [
        photo(),
        photo(camera_mm=ELSEWHERE),
        photo(differing(SILL, 90), differing(BARREL, 130), camera_mm=ELSEWHERE),
        photo(differing(SILL, 130), differing(BARREL, 90), camera_mm=ELSEWHERE),
        photo(differing(SILL, 95), differing(BARREL, 130)),
        photo(figures={}),
        photo(figures={"gap_mm": (0.8, 0.05)}, sketches={}, camera_mm=ELSEWHERE),
        photo(camera_mm=(21.8, 43.4, 250.0)),  # nearly along the line of sight
        photo(camera_mm=(37.0, 23.0, 230.0), figures=with_figures(clock_deg=3.5)),
        photo(figures=with_figures(gap_mm=0.79999, lateral_mm=0.19, clock_deg=1.9)),
        photo(figures=with_figures(gap_mm=0.8001, lateral_mm=0.001), camera_mm=ELSEWHERE),
    ],
)
def test_what_may_be_the_same_is_found(connection: sqlite3.Connection, earlier: Likeness) -> None:
    assert is_found(connection, earlier)


@pytest.mark.parametrize(
    "earlier",
    [
        photo(gauge="RG-11"),
        photo(differing(SILL, 110), differing(BARREL, 110)),
        photo(differing(SILL, 99), differing(BARREL, 99), camera_mm=ELSEWHERE),
        photo(figures=with_figures(gap_mm=1.0), camera_mm=ELSEWHERE),
        photo(figures=with_figures(clock_deg=-5.0), camera_mm=ELSEWHERE),
        photo(figures=with_figures(seat_mm=0.3), sketches={}),
        photo(figures={}, camera_mm=ELSEWHERE),
        photo(figures={}, sketches={}),  # nothing to compare
    ],
)
def test_what_cannot_be_is_not(connection: sqlite3.Connection, earlier: Likeness) -> None:
    assert not is_found(connection, earlier)


@pytest.mark.parametrize(("one", "other"), [(44.9, -44.9), (-44.9, 44.9), (0.01, -0.01)])
def test_a_clock_comes_round_again(
    connection: sqlite3.Connection, one: float, other: float
) -> None:
    earlier = photo(camera_mm=ELSEWHERE, figures=with_figures(clock_deg=one))
    assert is_found(connection, earlier, photo(figures=with_figures(clock_deg=other)))


def test_without_a_gap_copies_are_found(connection: sqlite3.Connection) -> None:
    unread = photo(figures={})
    assert is_found(connection, photo(), unread)
    assert candidates(connection, replace(unread, camera_mm=ELSEWHERE)) == []


def test_a_likeness_of_the_first_form_has_a_row(connection: sqlite3.Connection) -> None:
    plain = {"gauge": "RG-10", "camera_mm": [1, 2, 4], "camera_uncertainty_mm": [1, 1, 1]}
    row = row_of(plain)
    assert (row["way_x"], row["way_y"]) == (0.25, 0.5)
    assert row["gap_mm"] is None
    assert row["sill_sketch"] is None


def test_among_many_hardly_any_is_looked_at(connection: sqlite3.Connection) -> None:
    chance = random.Random(1)
    for sequence in range(2, 3000):
        keep(
            connection,
            sequence,
            photo(
                chance.randbytes(32),
                chance.randbytes(32),
                camera_mm=(chance.gauss(0, 50), chance.gauss(0, 50), 250.0),
            ),
        )
    keep(connection, 3000, photo(camera_mm=ELSEWHERE))
    found = candidates(connection, photo())
    assert 3000 in found
    assert len(found) < 6
