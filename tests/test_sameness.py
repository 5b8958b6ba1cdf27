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


def photo(door: int = 1, shot: int = 0, noise: float = 0.5, **changes: Any) -> Likeness:
    usual = Likeness(
        "rigvision.likeness/1",
        "RG-10",
        (20.0, 40.0, 230.0),
        (0.4, 0.5, 3.0),
        texture(door, noise, shot),
        "DF-10",
        (0.0, 0.0, 0.0),
        FIGURES,
        90.0,
    )
    return replace(usual, **changes)


def with_figure(name: str, value: float) -> dict[str, tuple[float, float]]:
    return FIGURES | {name: (value, FIGURES[name][1])}


ELSEWHERE = (-15.0, 20.0, 260.0)


def test_a_copy_is_the_same_photo() -> None:
    copy = photo(shot=1, camera_mm=(20.2, 39.8, 233.0))
    found = compare(photo(), copy)
    assert found.kind == "same-photo"
    assert "the camera stood in one place" in found.why
    assert "gap, taper, offset, tilt, seat and clock agree" in found.why
    assert compare(copy, photo()).kind == "same-photo"


def test_a_copy_without_focal_length_is_the_same_photo() -> None:
    """Distance unknown by a tenth, and with it x and y along the line of sight."""
    along = np.array([20.0, 40.0, 230.0]) * 0.1
    covariance = np.outer(along, along) + np.eye(3) * 0.3**2
    deviation = np.sqrt(np.diag(covariance))
    correlation = covariance / np.outer(deviation, deviation)
    copy = photo(
        shot=1,
        camera_mm=tuple(1.08 * np.array([20.0, 40.0, 230.0])),
        camera_uncertainty_mm=tuple(deviation),
        camera_correlation=(correlation[0, 1], correlation[0, 2], correlation[1, 2]),
    )
    assert compare(photo(), copy).kind == "same-photo"
    off_line = replace(copy, camera_mm=(24.0, 40.0, 248.4))
    assert compare(photo(), off_line).kind == "same-setup"


def test_another_photo_of_it_is_the_same_set_up() -> None:
    found = compare(photo(), photo(shot=1, camera_mm=ELSEWHERE))
    assert found.kind == "same-setup"
    assert "(barrel 80%, door 79% and sill 79%)" in found.why  # 1 / (1 + 0.5^2) = 0.8


@pytest.mark.parametrize("noise", [0.5, 1.0, 1.5])
def test_texture_may_be_noisy(noise: float) -> None:
    """1.5: a correlation of 0.3."""
    found = compare(photo(noise=noise), photo(shot=1, noise=noise, camera_mm=ELSEWHERE))
    assert found.kind == "same-setup"


@pytest.mark.parametrize(
    ("name", "value"), [("gap_mm", 1.3), ("lateral_mm", 0.4), ("seat_mm", 0.4), ("clock_deg", 8.2)]
)
def test_what_was_moved_is_another_set_up(name: str, value: float) -> None:
    moved = photo(shot=1, camera_mm=ELSEWHERE, figures=with_figure(name, value))
    assert compare(photo(), moved).kind == "same-parts"


def test_a_clock_comes_round_again() -> None:
    first = photo(figures=with_figure("clock_deg", 44.9))
    again = photo(shot=1, camera_mm=ELSEWHERE, figures=with_figure("clock_deg", -44.9))
    assert compare(first, again).kind == "same-setup"


def test_another_door_rigged_alike_is_different() -> None:
    found = compare(photo(), photo(door=2, camera_mm=ELSEWHERE))
    assert found.kind == "different"
    assert found.why == ""


def test_another_door_from_the_very_same_place_is_different() -> None:
    assert compare(photo(), photo(door=2)).kind == "different"


def test_without_texture_little_is_known() -> None:
    bare = photo(patches={}), photo(patches={}, camera_mm=ELSEWHERE)
    assert compare(*bare).kind == "unknown"


def test_without_texture_place_and_figures_tell_a_copy() -> None:
    assert compare(photo(patches={}), photo(patches={})).kind == "same-photo"
    unread = photo(patches={}, figures={})
    assert compare(unread, unread).kind == "unknown"


def test_patches_that_cannot_be_read_show_nothing() -> None:
    broken = photo(camera_mm=ELSEWHERE, patches={"sill": "?", "door": "AAAA"})
    assert compare(photo(), broken).kind == "unknown"


def test_of_two_gauges_nothing_is_said() -> None:
    assert compare(photo(), photo(gauge="RG-11")).kind == "unknown"
