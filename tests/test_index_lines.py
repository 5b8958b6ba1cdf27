"""Index lines on a barrel unrolled by hand: clock, and the axis where two lines are in view.

The ratio of painted to plain barrel is made by cutting lines of sight with a circle, many to
a sample; the module under test goes the other way, from angles to lines of sight.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from rigvision.vision.barrel_scene import Axis
from rigvision.vision.index_lines import LineReading, first_line_rad, read_lines, solve_clock
from rigvision.vision.unrolled import Unrolled

RADIUS_MM, WIDTH_MM, DISTANCE_MM, BLUR_MM, STEP_MM = 7.0, 0.8, 240.0, 0.05, 0.04
FLATS = 4
X_MM = np.array([6.0, 9.0, 12.0])
WIDE = np.diag([0.3, 0.01]) ** 2


def unrolled(clock_deg, psi_deg, axis_above_mm=0.0, noise=0.0, seed=1, tilt_deg=0.0):
    """A barrel whose axis truly lies ``axis_above_mm`` above the axis at hand at the middle of
    its lines, and rises by ``tilt_deg`` more than it.
    """
    psi = np.radians(psi_deg)
    reach = RADIUS_MM * np.sin(np.radians(87.0))
    across = np.arange(-reach, reach, STEP_MM)
    rises = np.tan(np.radians(tilt_deg)) * (X_MM - X_MM.mean())
    ratio = np.stack([darkened(across, clock_deg, psi, axis_above_mm + d) for d in rises], axis=1)
    ratio = ratio + noise * np.random.default_rng(seed).standard_normal(ratio.shape)
    axis = Axis(4.0, -20.0, 0.0, -10.0)
    return Unrolled(
        axis, X_MM, RADIUS_MM, WIDTH_MM, psi, DISTANCE_MM, BLUR_MM, STEP_MM, across, ratio
    )


def darkened(across, clock_deg, psi, above_mm):
    """Ratio (N,) of the painted barrel to the plain one, lines of sight cut with a circle."""
    fine = np.arange(across[0] - 0.3, across[-1] + 0.3, STEP_MM / 10)
    # In the plane across the axis, camera at the origin, axis at distance D along u.
    true = fine - above_mm * np.cos(psi)
    sine = np.clip(true / DISTANCE_MM, -1, 1)
    cosine = np.sqrt(1 - sine**2)
    root = np.sqrt(np.clip(RADIUS_MM**2 - true**2, 0.0, None))
    along = DISTANCE_MM * cosine - root  # to the near side of the circle
    u, v = along * cosine - DISTANCE_MM, along * sine
    angle = psi + np.arctan2(v, -u)
    period = 2 * np.pi / FLATS
    off = angle - np.radians(clock_deg)
    off -= period * np.round(off / period)
    on_line = (np.abs(off) * RADIUS_MM < WIDTH_MM / 2) & (np.abs(true) < RADIUS_MM)
    kernel = np.exp(-0.5 * (np.arange(-50, 51) * STEP_MM / 10 / BLUR_MM) ** 2)
    soft = np.convolve(np.pad(1.0 - 0.8 * on_line, 50, mode="edge"), kernel, "valid")
    return np.interp(across, fine, soft / kernel.sum())


@pytest.mark.parametrize(("clock_deg", "psi_deg"), [(3.0, 0.0), (-20.0, 12.0), (41.0, -15.0)])
def test_the_first_line_is_one_of_the_flats(clock_deg, psi_deg):
    found = np.degrees(first_line_rad(unrolled(clock_deg, psi_deg), FLATS))
    assert abs((found - clock_deg + 45.0) % 90.0 - 45.0) < 1.0


def test_a_plain_barrel_has_no_line():
    plain = unrolled(0.0, 0.0)
    nothing = replace(plain, ratio=np.ones_like(plain.ratio))
    assert first_line_rad(nothing, FLATS) is None


def test_angle_and_distance_across_are_each_other_s_inverse():
    view = unrolled(0.0, 17.0)
    across = np.linspace(-6.8, 6.8, 31)
    assert view.seen_at_mm(view.angle_rad(across)) == pytest.approx(across, abs=1e-9)


@pytest.mark.parametrize(("clock_deg", "psi_deg"), [(3.0, 0.0), (-20.0, 12.0), (41.0, -15.0)])
def test_lines_are_read_where_they_are_seen(clock_deg, psi_deg):
    view = unrolled(clock_deg, psi_deg)
    for reading in read_lines(view, np.radians(clock_deg), FLATS):
        angle = np.radians(clock_deg) + reading.flat * np.pi / 2
        expected = view.borders_mm(np.asarray(angle)).mean()
        assert reading.across_mm == pytest.approx(float(expected), abs=0.005)


@pytest.mark.parametrize(("clock_deg", "psi_deg"), [(12.0, -6.0), (-25.0, 14.0), (30.0, 20.0)])
@pytest.mark.parametrize("above_mm", [0.15, -0.12])
def test_two_lines_tell_the_axis_and_the_clock(clock_deg, psi_deg, above_mm):
    view = unrolled(clock_deg, psi_deg, above_mm, noise=0.01)
    first = first_line_rad(view, FLATS)
    readings = read_lines(view, first, FLATS)
    assert len({r.flat for r in readings}) == 2
    fit = solve_clock(view, readings, first, WIDE, FLATS)
    at_lines_mm = float(fit.axis.y_at(X_MM.mean()))
    assert at_lines_mm - -20.0 == pytest.approx(above_mm, abs=0.04)
    assert np.degrees(fit.clock_rad) == pytest.approx(clock_deg, abs=0.4)
    assert fit.covariance[0, 0] < 0.5 * WIDE[0, 0]


@pytest.mark.parametrize("tilt_deg", [0.8, -0.5])
def test_one_line_tells_the_axis_direction(tilt_deg):
    """Parts 6 mm apart, each known to about 0.01 mm: 0.1 deg."""
    view = unrolled(10.0, 5.0, noise=0.01, tilt_deg=tilt_deg)
    first = first_line_rad(view, FLATS)
    readings = tuple(r for r in read_lines(view, first, FLATS) if r.flat == 0)
    fit = solve_clock(view, readings, first, WIDE, FLATS)
    assert np.degrees(fit.axis.angle_rad) == pytest.approx(tilt_deg, abs=0.1)
    assert np.degrees(np.sqrt(fit.covariance[1, 1])) < 0.2


def test_one_line_s_middle_leaves_the_axis_alone_and_the_clock_goes_with_it():
    """A line at the crown, seen along +z: dclock = -dy / r."""
    view = unrolled(0.0, 0.0)
    readings = (LineReading(0, 9.0, 0.0, 0.01),)
    fit = solve_clock(view, readings, 0.0, WIDE, FLATS)
    assert fit.axis.y_mm == pytest.approx(-20.0, abs=1e-9)
    assert fit.covariance[:2, :2] == pytest.approx(WIDE, rel=1e-6, abs=1e-12)
    of_axis = WIDE[0, 0] + (9.0 - 4.0) ** 2 * WIDE[1, 1]
    # Seen from 240 mm, the crown's distance across turns into angle by 1 / r - 1 / D.
    per_mm = 1.0 / RADIUS_MM - 1.0 / DISTANCE_MM
    assert fit.covariance[2, 2] == pytest.approx(of_axis * per_mm**2, rel=0.01)


def test_a_scratch_that_fits_no_flat_is_left_out():
    view = unrolled(5.0, 0.0)
    good = read_lines(view, np.radians(5.0), FLATS)
    scratch = LineReading(1, 9.0, 3.0, 0.02)
    tight = np.diag([0.02, 0.001]) ** 2
    fit = solve_clock(view, (*good, scratch), np.radians(5.0), tight, FLATS)
    assert np.degrees(fit.clock_rad) == pytest.approx(5.0, abs=0.3)


def test_without_a_line_there_is_no_clock():
    assert solve_clock(unrolled(0.0, 0.0), (), 0.0, WIDE, FLATS) is None


def test_error_is_within_the_uncertainty_claimed():
    """Clock over its own standard uncertainty, RMS of forty axes drawn from the prior: below 1,
    as paint drawn by hand is less ragged than paint is believed to be.
    """
    rng = np.random.default_rng(21)
    prior = np.diag([0.05, 1e-4]) ** 2
    ratios = []
    for n in range(40):
        clock_deg, psi_deg = rng.uniform(-44, 44), rng.uniform(-25, 25)
        view = unrolled(clock_deg, psi_deg, rng.normal(0.0, 0.05), 0.02, seed=n)
        first = first_line_rad(view, FLATS)
        fit = solve_clock(view, read_lines(view, first, FLATS), first, prior, FLATS)
        error = (np.degrees(fit.clock_rad) - clock_deg + 45.0) % 90.0 - 45.0
        ratios.append(error / np.degrees(np.sqrt(fit.covariance[2, 2])))
    assert 0.35 < np.sqrt(np.mean(np.square(ratios))) < 1.1
