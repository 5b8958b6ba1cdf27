"""Slots before dark and light ducts, on profiles drawn by hand."""

from __future__ import annotations

import numpy as np
import pytest

from rigvision.vision.coarse_slot import Cut, cut_slot
from rigvision.vision.slot_cuts import slot_cuts
from tests.test_coarse_slot import DOOR_MM, PLAIN, SILL_MM, profiles

ROUND_MM = 0.2


def lit(duct: float, sill: float = 0.30, door: float = 0.25, dark: float = 0.6):
    """A duct of that light between rounds that are darker than their faces, by a factor."""
    return (
        (0.0, sill),
        (SILL_MM - ROUND_MM, dark * sill),
        (SILL_MM, duct),
        (DOOR_MM, dark * door),
        (DOOR_MM + ROUND_MM, door),
    )


def worst_mm(cuts: list[Cut]) -> float:
    """0.3 mm is near enough: a start 0.6 mm off still finds the edges."""
    return max(
        max(abs(c.edges_mm[0] - SILL_MM), abs(c.edges_mm[1] - DOOR_MM)) if c.edges_mm else np.inf
        for c in cuts
    )


@pytest.mark.parametrize("slope", [-0.3, 0.0, 0.3])
@pytest.mark.parametrize("duct", [0.15, 0.22, 0.45], ids=["half", "alike", "lighter"])
def test_a_slot_before_a_light_duct_is_found(frame, duct, slope):
    cuts = slot_cuts(profiles(*lit(duct), slope=slope), frame)
    assert worst_mm(cuts) < 0.3
    assert all(c.light for c in cuts)


def test_a_duct_of_a_brightness_between_its_faces_is_found(frame):
    assert worst_mm(slot_cuts(profiles(*lit(0.2, sill=0.12, door=0.3)), frame)) < 0.3


def test_a_dark_slot_is_found_as_ever(frame):
    p = profiles(*PLAIN)
    cuts = slot_cuts(p, frame)
    assert cuts == cut_slot(p, frame)
    assert not any(c.light for c in cuts)


def test_a_round_before_a_light_duct_is_not_taken_for_the_slot(frame):
    """The sill's is a dark line 0.3 mm wide, between the sill and a lighter duct."""
    p = profiles((0.0, 0.3), (SILL_MM - 0.3, 0.12), (SILL_MM, 0.35), (DOOR_MM, 0.4))
    assert all(c.edges_mm and c.edges_mm[1] < SILL_MM + 0.2 for c in cut_slot(p, frame))
    assert worst_mm(slot_cuts(p, frame)) < 0.3


def test_one_face_has_no_slot_of_either_kind(frame):
    assert {c.cause for c in slot_cuts(profiles((0.0, 0.3)), frame)} == {"no-contrast"}


def test_one_border_is_no_slot(frame):
    """A sill and a door of other brightness, with nothing between them."""
    cuts = slot_cuts(profiles((0.0, 0.3), (SILL_MM, 0.15)), frame)
    assert all(c.edges_mm is None for c in cuts)


def test_what_is_black_is_too_dark_for_either_kind(frame):
    black = [(start, 0.005 * light) for start, light in PLAIN]
    assert {c.cause for c in slot_cuts(profiles(*black), frame)} == {"dark"}


def test_dark_slots_that_leave_it_open_are_no_light_one(frame):
    """As near to the drawn place, as dark and as wide: the face between them is no light duct."""
    edge = frame.sill.edge_y_mm
    twice = ((0.0, 0.3), (edge - 0.8, 0.01), (edge - 0.2, 0.3), (edge + 0.4, 0.01), (edge + 1, 0.3))
    assert {c.cause for c in slot_cuts(profiles(*twice), frame)} == {"two-places"}
