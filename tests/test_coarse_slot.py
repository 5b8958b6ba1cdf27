"""Where the slot roughly is, on profiles drawn by hand: pieces of given brightness, blurred."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from rigvision.ground.normal import cumulative_normal
from rigvision.vision.coarse_slot import Cut, cut_slot
from rigvision.vision.edge_spread import SPREAD_PX, EdgeSpread
from rigvision.vision.slot_profiles import SlotProfiles

PX_PER_MM = 10.0
Y_MM = np.arange(10.0, 18.5, 0.07)
X_MM = np.array([-36.0, -24.0, -12.0, 0.0, 12.0, 24.0, 36.0])
SILL_MM, DOOR_MM = 12.05, 12.95


def profiles(*pieces: tuple[float, float], slope: float = 0.0, taper: float = 0.0) -> SlotProfiles:
    """``pieces`` are (from y mm, light), the first from below; the door's end moves by ``taper``
    per mm of x, and all above with it.
    """
    light = []
    for x in X_MM:
        one = np.zeros_like(Y_MM)
        for start, level in pieces:
            one[start + (taper * x if start > 12.5 else 0.0) <= Y_MM] = level
        light.append(cv2.GaussianBlur(one[None], (0, 0), 0.1 / 0.07)[0])
    texture = 1.0 + 0.03 * np.random.default_rng(4).standard_normal((len(X_MM), len(Y_MM)))
    return SlotProfiles(
        X_MM,
        Y_MM,
        np.array(light) * texture,
        np.full((len(X_MM), len(Y_MM)), 0.002),
        np.full(len(X_MM), PX_PER_MM),
        EdgeSpread(cumulative_normal(SPREAD_PX)),
        np.ones(len(X_MM)),
        slope,
        0.25,
        5.0,
        3.0,
    )


PLAIN = ((0.0, 0.30), (SILL_MM, 0.01), (DOOR_MM, 0.25))


def worst_mm(cuts: list[Cut], taper: float = 0.0) -> float:
    """A fifth of a millimetre is near enough for what reads the edges."""
    return max(
        max(abs(c.edges_mm[0] - SILL_MM), abs(c.edges_mm[1] - DOOR_MM - taper * x))
        if c.edges_mm
        else np.inf
        for c, x in zip(cuts, X_MM, strict=True)
    )


@pytest.mark.parametrize("taper", [0.0, 0.004, -0.004])
@pytest.mark.parametrize("slope", [0.0, 0.1, -0.1])
def test_a_plain_slot_is_found(frame, slope, taper):
    assert worst_mm(cut_slot(profiles(*PLAIN, slope=slope, taper=taper), frame), taper) < 0.2


def shaded_door(shade: float, width_mm: float, slope: float) -> SlotProfiles:
    """A strip of shadow on the door along the gap."""
    strip = ((DOOR_MM, 0.25 * shade), (DOOR_MM + width_mm, 0.25))
    return profiles(*PLAIN[:2], *strip, slope=slope)


@pytest.mark.parametrize("shade", [0.2, 0.5])
@pytest.mark.parametrize("width_mm", [1.5, 3.0])
@pytest.mark.parametrize("slope", [-0.3, 0.3])
def test_a_shadow_s_border_on_the_door_is_not_the_door(frame, shade, width_mm, slope):
    """Five times as bright beyond, and the slot another five times as dark."""
    assert worst_mm(cut_slot(shaded_door(shade, width_mm, slope), frame)) < 0.2


@pytest.mark.parametrize("width_mm", [1.5, 3.0])
@pytest.mark.parametrize("slope", [-0.3, 0.3])
def test_a_shadow_nearly_as_dark_as_the_slot_is_not_taken_for_part_of_it(frame, width_mm, slope):
    """2.5 times the slot's light. Right or left open, but not a gap as much too wide."""
    cuts = cut_slot(shaded_door(0.1, width_mm, slope), frame)
    assert all(c.edges_mm is None or abs(c.edges_mm[1] - DOOR_MM) < 0.2 for c in cuts)


def test_a_shadow_s_border_on_the_sill_is_not_the_sill(frame):
    shaded = ((0.0, 0.30), (11.0, 0.05), *PLAIN[1:])
    assert worst_mm(cut_slot(profiles(*shaded), frame)) < 0.2


@pytest.mark.parametrize("at_mm", [11.0, 14.0, 15.5])
def test_a_scratch_is_not_the_slot(frame, at_mm):
    """Dark and bright side by side, as scratches are."""
    face = 0.30 if at_mm < SILL_MM else 0.25
    scratch = ((at_mm, 0.06), (at_mm + 0.3, 0.7), (at_mm + 0.6, face))
    pieces = sorted((*PLAIN, *scratch))
    assert worst_mm(cut_slot(profiles(*pieces), frame)) < 0.2


def test_two_slots_alike_leave_it_open(frame):
    """As near to the drawn place, as dark and as wide: nothing tells them apart."""
    edge = frame.sill.edge_y_mm
    # A cut lies at the dark end of an edge's blur, 0.2 mm beyond the edge.
    twice = ((0.0, 0.3), (edge - 0.8, 0.01), (edge - 0.2, 0.3), (edge + 0.4, 0.01), (edge + 1, 0.3))
    assert {c.cause for c in cut_slot(profiles(*twice), frame)} == {"two-places"}


def test_one_face_has_no_slot(frame):
    assert {c.cause for c in cut_slot(profiles((0.0, 0.3)), frame)} == {"no-contrast"}


def test_what_is_black_is_too_dark(frame):
    black = [(start, 0.005 * light) for start, light in PLAIN]
    assert {c.cause for c in cut_slot(profiles(*black), frame)} == {"dark"}


def test_a_station_that_a_rag_hides_is_lost_alone(frame):
    """Folds of another brightness, with no dark line where the others have the slot."""
    p = profiles(*PLAIN)
    p.light[2] = 0.08 * (1.0 + 0.3 * np.sin(1.7 * Y_MM))
    cuts = cut_slot(p, frame)
    assert [c.edges_mm is None for c in cuts] == [i == 2 for i in range(7)]
    assert cuts[2].cause in ("no-contrast", "disagrees")


def test_a_station_out_of_the_picture_is_out_of_view(frame):
    p = profiles(*PLAIN)
    p.light[0] = np.nan
    cuts = cut_slot(p, frame)
    assert cuts[0].cause == "out-of-view"
    assert worst_mm([c if c.edges_mm else Cut((SILL_MM, DOOR_MM)) for c in cuts]) < 0.2
