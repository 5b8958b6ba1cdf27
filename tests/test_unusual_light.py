"""What faces of very different brightness add to the doubt about an edge."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from rigvision.ground.normal import cumulative_normal
from rigvision.vision.edge_spread import SPREAD_PX, EdgeSpread
from rigvision.vision.unusual_light import unusual_variance
from tests.test_coarse_slot import DOOR_MM, PLAIN, SILL_MM, profiles

EDGES = np.tile([SILL_MM, DOOR_MM], (7, 1))


def test_faces_alike_add_nothing():
    np.testing.assert_array_equal(unusual_variance(profiles(*PLAIN), EDGES), 0.0)


@pytest.mark.parametrize(("sill", "door", "doubtful"), [(0.4, 0.08, 0), (0.08, 0.4, 1)])
def test_the_edge_of_a_face_five_times_as_bright_is_known_less(sill, door, doubtful):
    """0.15 of a radius of 0.25 mm: 0.0375 mm."""
    found = unusual_variance(profiles((0.0, sill), (SILL_MM, 0.01), (DOOR_MM, door)), EDGES)
    assert found[doubtful] == pytest.approx(0.0375**2, abs=1e-9)
    assert found[1 - doubtful] == 0.0


def worn(fade_mm: float, times: float = 3.0):
    """A line 0.2 mm wide on the door's edge, that fades in three steps before the slot."""
    line = 0.25 * times
    fade = [(DOOR_MM + k * fade_mm, (k + 1) / 4 * line) for k in range(3)] if fade_mm else []
    first_mm = DOOR_MM + 3 * fade_mm
    return profiles(*PLAIN[:2], *fade, (first_mm, line), (first_mm + 0.2, 0.25))


def test_a_bright_line_that_ends_as_sharply_as_can_be_shown_adds_doubt():
    """0.2 of a radius of 0.25 mm: 0.05 mm. What the picture shows is blurred by 0.1 mm, 1 px."""
    found = unusual_variance(worn(0.0), EDGES)
    assert found[0] == 0.0
    assert found[1] == pytest.approx(0.05**2, abs=1e-9)


@pytest.mark.parametrize(("fade_mm", "times"), [(0.1, 3.0), (0.0, 1.2)], ids=["fades", "faint"])
def test_a_line_that_fades_or_is_hardly_brighter_adds_nothing(fade_mm, times):
    np.testing.assert_array_equal(unusual_variance(worn(fade_mm, times), EDGES), 0.0)


def sharpened(width: float, over: float) -> EdgeSpread:
    """A border of that width (sigma, px) with a hill of that height on its bright side."""
    hill = over * np.exp(-0.5 * ((SPREAD_PX - 2.5) / 0.6) ** 2)
    return EdgeSpread(cumulative_normal(SPREAD_PX / width) + hill)


@pytest.mark.parametrize(
    ("width", "over", "unusual"),
    # From a quarter to three quarters a normal border takes 1.35 sigma.
    [(0.6, 0.0, False), (0.4, 0.15, False), (0.4, 0.0, True), (0.2, 0.15, True), (0.6, 0.4, True)],
    ids=["plain", "sharpened", "scaled down", "too sharp", "overshooting"],
)
def test_borders_that_no_phone_of_the_training_shows_add_doubt_to_both(width, over, unusual):
    p = replace(profiles(*PLAIN), spread=sharpened(width, over))
    found = unusual_variance(p, EDGES)
    np.testing.assert_allclose(found, 0.0375**2 if unusual else 0.0, rtol=0, atol=1e-9)


def test_white_at_the_sensor_s_limit_adds_doubt_to_both():
    found = unusual_variance(profiles(*PLAIN), EDGES, white_blown=0.9)
    np.testing.assert_allclose(found, 0.0375**2, rtol=0, atol=1e-9)
