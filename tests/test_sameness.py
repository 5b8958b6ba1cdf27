"""What two likenesses are taken for: texture, figures and cameras made by hand."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from rigvision.records.bodies import Likeness
from rigvision.records.packed_patch import packed
from rigvision.records.sameness import compare

FIGURES = {
    "gap_mm": (0.80, 0.05),
    "taper_mm": (0.02, 0.04),
    "lateral_mm": (0.10, 0.025),
    "tilt_deg": (0.3, 0.05),
    "seat_mm": (0.05, 0.04),
    "clock_deg": (1.0, 0.25),
}


def texture(door: int, noise: float = 0.0, shot: int = 0) -> dict[str, str]:
    """Patches of a door's faces, as a photo with this much noise shows them."""
    shapes = {"sill": (12, 172), "door": (24, 172), "barrel": (29, 51)}
    parts, own = np.random.default_rng(door), np.random.default_rng([door, shot, 7])
    return {
        name: packed(parts.normal(size=shape) + noise * own.normal(size=shape))
        for name, shape in shapes.items()
    }


def marks(px: float = 0.0, tilt: float = 0.2) -> dict[str, tuple[float, float]]:
    """Eight marks of a plate of 1000 x 800 px that a tilted camera sees, each read ``px`` wrong."""
    noise, seen = np.random.default_rng(5), {}
    for k, (x, y) in enumerate(
        [(-1, 1), (0, 1), (1, 1), (-1, 0), (1, 0), (-1, -1), (0, -1), (1, -1)]
    ):
        depth = 1.0 + 0.2 * tilt * x
        dx, dy = noise.normal(size=2) * px
        seen[str(100 + k)] = (2000.0 + 500.0 * x / depth + dx, 1500.0 - 400.0 * y / depth + dy)
    return seen


def turned(
    middles: dict[str, tuple[float, float]], factor: complex
) -> dict[str, tuple[float, float]]:
    """The picture scaled, turned and cut."""
    places = {mark: complex(x, y) * factor + (70 - 20j) for mark, (x, y) in middles.items()}
    return {mark: (place.real, place.imag) for mark, place in places.items()}


def photo(door: int = 1, shot: int = 0, noise: float = 0.5, **changes: Any) -> Likeness:
    usual = Likeness(
        "rigvision.likeness/1",
        "RG-10",
        (20.0, 40.0, 230.0),
        (0.4, 0.5, 3.0),
        texture(door, noise, shot),
        "DF-10",
        marks(),
        FIGURES,
        90.0,
    )
    return replace(usual, **changes)


def with_figure(name: str, value: float) -> dict[str, tuple[float, float]]:
    return FIGURES | {name: (value, FIGURES[name][1])}


#: The camera 10 mm to the side: 40 mrad, of which a fifth is a mark's depth over its distance.
ELSEWHERE = marks(tilt=0.24)


def test_a_stretched_copy_is_the_same_photo() -> None:
    wide = {mark: (1.03 * x, 0.97 * y) for mark, (x, y) in marks(px=0.04).items()}
    assert compare(photo(), photo(shot=1, marks_px=wide)).kind == "same-photo"


@pytest.mark.parametrize("factor", [1.0, 0.5j, 0.8 + 0.03j])
def test_a_copy_is_the_same_photo(factor: complex) -> None:
    copy = photo(shot=1, marks_px=turned(marks(px=0.04), factor))
    found = compare(photo(), copy)
    assert found.kind == "same-photo"
    assert "the marks form the same figure" in found.why
    assert "gap, taper, offset, tilt, seat and clock agree" in found.why
    assert compare(copy, photo()).kind == "same-photo"


def apart(name: str, uncertainties: float) -> dict[str, tuple[float, float]]:
    """One figure so many combined uncertainties off."""
    value, u = FIGURES[name]
    return with_figure(name, value + uncertainties * u * 2**0.5)


def test_a_copy_may_be_measured_a_little_wrong() -> None:
    """Without focal length and middle; but a gap is a gap."""
    assert compare(photo(), photo(shot=1, figures=apart("clock_deg", 4.0))).kind == "same-photo"
    assert compare(photo(), photo(shot=1, figures=apart("clock_deg", 8.0))).kind == "same-parts"
    assert compare(photo(), photo(shot=1, figures=apart("gap_mm", 2.0))).kind == "same-photo"


@pytest.mark.parametrize("marks_px", [None, "elsewhere"])
def test_a_door_turned_by_a_flat_was_moved(marks_px: str | None) -> None:
    """The clock shows the same; also where the phone stands on a stand and where u is large."""
    figures = FIGURES | {"gap_mm": (0.80, 0.07)}
    turned_by_a_flat = FIGURES | {"gap_mm": (0.80 + 0.375, 0.07)}
    later = photo(shot=1, figures=turned_by_a_flat, marks_px=ELSEWHERE if marks_px else marks())
    assert compare(photo(figures=figures), later).kind == "same-parts"


def test_four_marks_are_too_few_for_a_copy() -> None:
    """Three can be mapped onto any three."""
    few = {mark: place for mark, place in marks().items() if mark < "104"}
    assert compare(photo(), photo(shot=1, marks_px=few)).kind == "same-setup"


def test_another_photo_of_it_is_the_same_set_up() -> None:
    found = compare(photo(), photo(shot=1, marks_px=ELSEWHERE))
    assert found.kind == "same-setup"
    assert "(barrel 80%, door 79% and sill 79%)" in found.why  # 1 / (1 + 0.5^2) = 0.8


@pytest.mark.parametrize("noise", [0.5, 1.0, 1.5])
def test_texture_may_be_noisy(noise: float) -> None:
    """1.5: a correlation of 0.3."""
    found = compare(photo(noise=noise), photo(shot=1, noise=noise, marks_px=ELSEWHERE))
    assert found.kind == "same-setup"


@pytest.mark.parametrize(
    ("name", "value"), [("gap_mm", 1.3), ("lateral_mm", 0.4), ("seat_mm", 0.4), ("clock_deg", 8.2)]
)
def test_what_was_moved_is_another_set_up(name: str, value: float) -> None:
    moved = photo(shot=1, marks_px=ELSEWHERE, figures=with_figure(name, value))
    assert compare(photo(), moved).kind == "same-parts"


def test_a_clock_comes_round_again() -> None:
    first = photo(figures=with_figure("clock_deg", 44.9))
    again = photo(shot=1, marks_px=ELSEWHERE, figures=with_figure("clock_deg", -44.9))
    assert compare(first, again).kind == "same-setup"


def test_another_door_rigged_alike_is_different() -> None:
    found = compare(photo(), photo(door=2, marks_px=ELSEWHERE))
    assert found.kind == "different"
    assert found.why == ""


def test_another_door_from_the_very_same_place_is_different() -> None:
    assert compare(photo(), photo(door=2)).kind == "different"


def test_without_texture_little_is_known() -> None:
    bare = photo(patches={}), photo(patches={}, marks_px=ELSEWHERE)
    assert compare(*bare).kind == "unknown"


def test_without_texture_place_and_figures_tell_a_copy() -> None:
    assert compare(photo(patches={}), photo(patches={})).kind == "same-photo"
    unread = photo(patches={}, figures={})
    assert compare(unread, unread).kind == "unknown"


def test_patches_that_cannot_be_read_show_nothing() -> None:
    broken = photo(marks_px=ELSEWHERE, patches={"sill": "?", "door": "AAAA"})
    assert compare(photo(), broken).kind == "unknown"


def test_of_two_gauges_nothing_is_said() -> None:
    assert compare(photo(), photo(gauge="RG-11")).kind == "unknown"


@pytest.mark.parametrize(
    "changes",
    [
        {"camera_mm": (0.0, 0.0, 0.0)},
        {"camera_mm": (1e300, 0.0, 1.0)},
        {"figures": {"gap_mm": (0.8, 0.0)}},
        {"figures": {"gap_mm": (0.8, -1.0)}},
        {"figures": {"gap_mm": (1e300, 1e300)}},
        {"marks_px": {str(k): (1e200, float(k)) for k in range(5)}},
        {"clock_period_deg": 0.0},
    ],
)
def test_impossible_numbers_tell_nothing(changes: dict[str, Any]) -> None:
    forged = photo(**changes)
    assert compare(photo(), forged).kind == "unknown"
    assert compare(forged, forged).kind == "unknown"


def test_unknown_figures_of_later_versions_are_compared_by_their_uncertainty() -> None:
    with_more = photo(shot=1, figures=FIGURES | {"sill_mm": (0.1, 0.05)})
    assert compare(with_more, replace(with_more, marks_px=ELSEWHERE)).kind == "same-setup"
