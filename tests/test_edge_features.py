"""Features of a broken edge: no unit, no side, no hole in them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtr

from rigvision.vision.edge_features import (
    SAMPLES_RADII,
    EdgeProfiles,
    edge_features,
    spread_shape,
)
from rigvision.vision.edge_spread import SPREAD_PX, EdgeSpread

COUNT = 3
STARTS, OTHERS = np.array([0.02, -0.11, 0.07]), np.array([1.1, 0.6, 3.3])


def profiles(reach: float = 3.0) -> EdgeProfiles:
    """Three unlike faces that fall, at v = 0, into a dark slot; millimetres."""
    step = 0.03
    v = np.arange(-reach, reach, step)
    face = np.array([[0.5], [0.2], [0.8]]) * (1.0 + np.array([[0.05], [-0.02], [0.1]]) * v)
    return EdgeProfiles(
        first=np.full(COUNT, v[0]),
        step=step,
        light=face * ndtr(-v / np.array([[0.1], [0.15], [0.2]])) + 0.01,
        error=np.array([0.001, 0.002, 0.003]),
        radius=0.25,
        px_per_unit=np.array([9.0, 11.0, 14.0]),
        slope=np.array([0.3, -0.4, 0.1]),
        own_depth=np.array([5.0, 4.0, 3.0]),
        other_depth=np.array([3.0, 4.0, 5.0]),
        spread=EdgeSpread(ndtr(SPREAD_PX / 0.8)),
        focus=np.ones(COUNT),
    )


def features(of: EdgeProfiles, start=STARTS, other=OTHERS):
    return edge_features(of, start, other)


def test_there_is_a_row_for_each_edge_and_nothing_is_missing():
    found = features(profiles())
    assert found.shape == (COUNT, 2 * len(SAMPLES_RADII) + 11)
    assert np.isfinite(found).all()


@pytest.mark.parametrize("factor", [0.001, 1 / 25.4, 7.0])
def test_another_unit_of_length_changes_nothing(factor):
    mm = profiles()
    other = replace(
        mm,
        first=mm.first * factor,
        step=mm.step * factor,
        radius=mm.radius * factor,
        px_per_unit=mm.px_per_unit / factor,
        own_depth=mm.own_depth * factor,
        other_depth=mm.other_depth * factor,
    )
    found = features(other, STARTS * factor, OTHERS * factor)
    np.testing.assert_allclose(found, features(mm), rtol=0, atol=1e-9)


def test_a_shift_of_the_axis_changes_nothing():
    moved = replace(profiles(), first=profiles().first + 40.0)
    found = features(moved, STARTS + 40.0, OTHERS + 40.0)
    np.testing.assert_allclose(found, features(profiles()), rtol=0, atol=1e-9)


def test_another_exposure_changes_only_what_tells_of_the_exposure():
    """Twice the light, twice its error: all is as before but the face's own brightness."""
    one = profiles()
    two = replace(one, light=2.0 * one.light, error=2.0 * one.error)
    differs = np.abs(features(two) - features(one)).max(axis=0) > 1e-9
    assert differs.sum() == 1
    np.testing.assert_allclose((features(two) - features(one))[:, differs], np.log(2.0), atol=1e-9)


@pytest.mark.parametrize(("reach", "end"), [(0.5, 0), (0.5, -1)])
def test_beyond_what_is_in_view_the_last_value_holds(reach, end):
    """The window reaches 1.25 mm to either side, the profile 0.5 mm."""
    short = profiles(reach)
    found = features(short)[:, : len(SAMPLES_RADII)]
    beyond = SAMPLES_RADII < -2.6 if end == 0 else SAMPLES_RADII > 2.6
    outermost = found[:, beyond]
    assert outermost.shape[1] > 8
    face = np.median(short.light[:, :1], axis=1, keepdims=True)  # all of the face's samples
    expected = np.clip(short.light[:, [end]] / face, 0.01, 4.0)
    np.testing.assert_allclose(outermost, np.broadcast_to(expected, outermost.shape), atol=1e-3)


def test_what_is_out_of_view_at_the_ends_reads_as_an_end():
    """NaN beyond the window of the plate is the same as a profile that stops there."""
    whole, holes = profiles(), profiles().light.copy()
    holes[:, :40], holes[:, -50:] = np.nan, np.nan
    cut = replace(whole, first=whole.first + 40 * whole.step, light=whole.light[:, 40:-50])
    found = features(replace(whole, light=holes))
    np.testing.assert_allclose(found, features(cut), rtol=0, atol=1e-9)


def test_another_edge_out_of_sight_is_as_good_as_none():
    far, further = features(profiles(), other=STARTS + 2.3), features(profiles(), other=STARTS + 9)
    np.testing.assert_array_equal(far, further)
    assert not np.array_equal(far, features(profiles(), other=STARTS + 2.0))


@pytest.mark.parametrize("sigma_px", [0.6, 1.0, 1.6])
def test_the_width_of_a_gaussian_step_is_its_quartiles_distance(sigma_px):
    """Quartiles of the normal distribution lie 0.67449 sigma from the middle (tables)."""
    width, over, under = spread_shape(EdgeSpread(ndtr(SPREAD_PX / sigma_px)))
    assert width == pytest.approx(1.349 * sigma_px, abs=0.02)
    assert over == pytest.approx(0.0, abs=1e-3)
    assert under == pytest.approx(0.0, abs=1e-3)


def test_sharpening_shows_as_what_goes_beyond_the_levels():
    """A bump of 12 % above and one of 7 % below, each 2 px from the middle."""
    step = ndtr(SPREAD_PX / 0.8)
    bumps = 0.12 * np.exp(-((SPREAD_PX - 2.5) ** 2)) - 0.07 * np.exp(-((SPREAD_PX + 2.5) ** 2))
    _, over, under = spread_shape(EdgeSpread(step + bumps))
    assert over == pytest.approx(0.12, abs=0.005)
    assert under == pytest.approx(-0.07, abs=0.005)
