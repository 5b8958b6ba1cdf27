"""Conventions against arithmetic in the head and against OpenCV's own."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigvision.ground.conventions import (
    CORNER_SIGNS,
    FULL_FRAME_DIAGONAL_MM,
    REFERENCE_TEMPERATURE_DEGC,
    fold_deg,
    rotation_from_vector,
)
from rigvision.synthetic import ideal_scene
from rigvision.synthetic.truth import mark_corners_px
from tests.photos import camera_at


@pytest.mark.parametrize(
    ("angle_deg", "period_deg", "folded_deg"),
    [
        (0.0, 90.0, 0.0),
        (46.0, 90.0, -44.0),
        (-46.0, 90.0, 44.0),
        (45.0, 90.0, 45.0),
        (-45.0, 90.0, 45.0),  # the interval is open on the left
        (135.0, 90.0, 45.0),
        (-31.0, 60.0, 29.0),
        (725.0, 360.0, 5.0),
    ],
)
def test_an_angle_is_folded_into_one_period_open_on_the_left(angle_deg, period_deg, folded_deg):
    assert fold_deg(angle_deg, period_deg) == pytest.approx(folded_deg, abs=1e-12)


@given(st.floats(-5e3, 5e3), st.sampled_from([360.0, 90.0, 60.0, 45.0]))
def test_folding_changes_an_angle_by_whole_periods_only(angle_deg, period_deg):
    folded = fold_deg(angle_deg, period_deg)
    # 1e-9: an end of the interval may be met by rounding
    assert -period_deg / 2 - 1e-9 < folded <= period_deg / 2 + 1e-9
    periods = (angle_deg - folded) / period_deg
    assert periods == pytest.approx(round(periods), abs=1e-9)


def test_a_quarter_turn_about_z_takes_x_to_y():
    """A mirrored or transposed matrix would take it to -y."""
    turned = rotation_from_vector(np.array([0.0, 0.0, np.pi / 2])) @ [1.0, 0.0, 0.0]
    np.testing.assert_allclose(turned, [0.0, 1.0, 0.0], rtol=0, atol=1e-12)


@pytest.mark.parametrize(
    "vector_rad",
    [[0.3, -0.7, 1.1], [3.0, 0.4, -0.2], [-1e-7, 2e-7, 5e-8], [1e-14, 0.0, 0.0], [0, 0, 0]],
)
def test_rotations_are_those_of_opencv(vector_rad):
    vector = np.asarray(vector_rad, dtype=float)
    expected, _ = cv2.Rodrigues(vector)
    np.testing.assert_allclose(rotation_from_vector(vector), expected, rtol=0, atol=1e-12)


def test_corners_run_clockwise_as_seen_from_the_camera():
    """x right and y up in the gauge: clockwise has a negative area by the shoelace formula."""
    x, y = CORNER_SIGNS.T
    area = 0.5 * np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y)
    assert area == pytest.approx(-4.0, abs=1e-15)
    assert tuple(CORNER_SIGNS[0]) == (-1.0, 1.0)


def test_corners_run_clockwise_in_a_tilted_rolled_picture(gauge, frame):
    """Pixels have y down, which turns the sign of the area round."""
    camera = camera_at(roll_deg=40.0, tilt_deg=30.0)
    for corners in mark_corners_px(ideal_scene(gauge, frame), camera, gauge).values():
        x, y = np.array(corners).T
        assert 0.5 * np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y) > 0.0


def test_full_frame_diagonal_is_that_of_36_by_24_mm():
    """sqrt(36^2 + 24^2) = 12 sqrt(13) = 43.2666 mm (recomputed)."""
    assert pytest.approx(43.2666, abs=5e-5) == FULL_FRAME_DIAGONAL_MM


def test_lengths_hold_at_the_reference_temperature_of_iso_1():
    """ISO 1: 20 degC (Phillips et al., J. Res. NIST 121 (2016), doi 10.6028/jres.121.026)."""
    assert REFERENCE_TEMPERATURE_DEGC == 20.0
