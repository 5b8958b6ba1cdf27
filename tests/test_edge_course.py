"""How edges run along a station, on strips of light drawn by hand."""

from __future__ import annotations

import numpy as np
import pytest

from rigvision.vision.edge_course import edge_course
from rigvision.vision.slot_profiles import SlotPixels

Y_MM = np.arange(10.0, 16.0, 0.07)
ALONG_MM = np.linspace(-2.4, 2.4, 25)
SILL_MM, DOOR_MM = 12.03, 13.11
EDGES = np.array([[SILL_MM, DOOR_MM]])


def strip(
    sill_wave_mm=0.0, door_wave_mm=0.0, sill=0.4, door=0.3, slot=0.02, length_mm=1.6
) -> SlotPixels:
    """One station whose edges run in waves; light falls over 0.28 mm."""
    wave = np.sin(2 * np.pi * ALONG_MM / length_mm)
    below = np.clip((SILL_MM + sill_wave_mm * wave - Y_MM[:, None]) / 0.28 + 0.5, 0, 1)
    above = np.clip((Y_MM[:, None] - DOOR_MM - door_wave_mm * wave) / 0.28 + 0.5, 0, 1)
    light = slot + (sill - slot) * below + (door - slot) * above
    return SlotPixels(light[None], Y_MM, ALONG_MM, 0.985)


def test_straight_edges_do_not_wander():
    course = edge_course(strip(), EDGES)
    assert course.wander_mm.shape == (1, 2)
    assert course.wander_mm.max() < 1e-3
    np.testing.assert_array_equal(course.clipped, 0.0)


def test_a_tilted_edge_is_straight():
    pixels = strip()
    tilted = np.stack(
        [np.interp(Y_MM, Y_MM + 0.04 * a, pixels.light[0, :, 3]) for a in ALONG_MM], axis=1
    )
    course = edge_course(SlotPixels(tilted[None], Y_MM, ALONG_MM, 0.985), EDGES)
    assert course.wander_mm.max() < 0.006


@pytest.mark.parametrize("edge", [0, 1], ids=["sill", "door"])
def test_a_wavy_edge_wanders_by_its_waves(edge):
    """0.2 mm: 0.141 mm RMS; averaging 0.4 of 1.6 mm leaves 0.9 of that, the line takes some."""
    waves = {("sill_wave_mm", "door_wave_mm")[edge]: 0.2}
    wander = edge_course(strip(**waves), EDGES).wander_mm[0]
    assert wander[edge] == pytest.approx(0.127, abs=0.03)
    assert wander[1 - edge] < 1e-3


@pytest.mark.parametrize("edge", [0, 1], ids=["sill", "door"])
def test_waves_are_what_neighbouring_pieces_share(edge):
    """Pieces 0.4 mm apart along a wave of 1.6 mm are 90 degrees apart: nothing shared; along one
    of 2.4 mm, 60 degrees: half of its square. 0.1 mm: 0.0707 mm RMS, 0.062 of it once pieces are
    averaged and the line has taken its part, of which 0.044 is shared."""
    waves = {("sill_wave_mm", "door_wave_mm")[edge]: 0.1}
    short = edge_course(strip(**waves), EDGES).waves_mm[0]
    long = edge_course(strip(**waves, length_mm=2.4), EDGES).waves_mm[0]
    assert short[edge] < 0.03
    assert long[edge] == pytest.approx(0.044, abs=0.012)
    assert max(short[1 - edge], long[1 - edge]) < 1e-3


def test_noise_wanders_but_makes_hardly_any_waves():
    pixels = strip()
    rng = np.random.default_rng(3)
    noisy = pixels.light + rng.normal(0.0, 0.02, (200, *pixels.light.shape[1:]))
    course = edge_course(
        SlotPixels(noisy, Y_MM, ALONG_MM, 0.985), np.repeat(EDGES, len(noisy), axis=0)
    )
    usual = np.median(course.wander_mm)
    assert usual > 0.005
    assert np.median(course.waves_mm) < 0.4 * usual


def test_a_face_at_the_sensor_s_limit_is_clipped():
    clipped = edge_course(strip(door=1.0), EDGES).clipped[0]
    assert clipped[0] == 0.0
    # Of 0.75 mm before the edge the last 0.14 mm are half-way down.
    assert clipped[1] == pytest.approx(0.8, abs=0.08)


def test_an_edge_out_of_view_is_not_straight():
    pixels = strip()
    light = pixels.light.copy()
    light[:, :, 3:] = np.nan
    wander = edge_course(SlotPixels(light, Y_MM, ALONG_MM, 0.985), EDGES).wander_mm
    assert np.isinf(wander).all()


LIT = np.array([True])


@pytest.mark.parametrize("slot", [0.02, 0.36, 0.9], ids=["dark", "between", "lighter"])
def test_before_a_light_duct_a_straight_edge_does_not_wander(slot):
    assert edge_course(strip(slot=slot), EDGES, LIT).wander_mm.max() < 1e-3


@pytest.mark.parametrize("slot", [0.1, 0.9], ids=["half-dark", "lighter"])
def test_before_a_light_duct_a_wavy_edge_wanders(slot):
    """0.05 mm: 0.035 mm RMS. Averaging takes a tenth of it; the light of all pieces together, by
    which it is measured, is softer for the waves, and gives it back.
    """
    wander = edge_course(strip(door_wave_mm=0.05, slot=slot), EDGES, LIT).wander_mm[0]
    assert wander[1] == pytest.approx(0.035, abs=0.006)
    assert wander[0] < 1e-3
