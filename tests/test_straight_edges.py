"""Stations of one straight edge, and those that are not on it."""

from __future__ import annotations

import numpy as np
import pytest

from rigvision.vision.straight_edges import StraightTuning, on_straight_edges

X_MM = np.array([-36.0, -24.0, -12.0, 0.0, 12.0, 24.0, 36.0])
SIGMA_MM = 0.03
VARIANCE = np.full((7, 2), SIGMA_MM**2)
#: A tilted sill and a tapered door.
EDGES = np.column_stack([12.0 + 0.002 * X_MM, 12.9 - 0.003 * X_MM])


def test_tilted_edges_are_straight():
    kept, more = on_straight_edges(X_MM, EDGES, VARIANCE)
    assert kept.all()
    np.testing.assert_array_equal(more, 0.0)


@pytest.mark.parametrize("station", range(7))
@pytest.mark.parametrize("edge", [0, 1])
@pytest.mark.parametrize("off_mm", [-0.3, 0.3])
def test_one_station_off_the_line_is_left_out(station, edge, off_mm):
    edges = EDGES.copy()
    edges[station, edge] += off_mm
    kept, _ = on_straight_edges(X_MM, edges, VARIANCE)
    assert kept.tolist() == [i != station for i in range(7)]


def test_where_many_stations_contradict_the_rest_none_is_believed():
    """Grease over five stations hides the edge behind a straight border of its own."""
    edges = EDGES.copy()
    edges[1:6, 1] -= 0.3
    kept, _ = on_straight_edges(X_MM, edges, VARIANCE)
    assert not kept.any()


@pytest.mark.parametrize(("edge", "inwards"), [(0, 1.0), (1, -1.0)], ids=["sill", "door"])
def test_grease_that_reaches_into_the_slot_at_two_stations_leaves_the_other_five(edge, inwards):
    """Outwards it would be the five that are covered."""
    for way in (1.0, -1.0):
        edges = EDGES.copy()
        edges[2:4, edge] += 0.3 * inwards * way
        kept, _ = on_straight_edges(X_MM, edges, VARIANCE)
        assert kept.tolist() == [way > 0 and i not in (2, 3) for i in range(7)]


def test_a_station_that_claims_little_is_left_out_where_it_spoils_the_line():
    """0.24 mm off, in agreement with its own doubt of 0.18 mm, six times that of the others."""
    edges, variance = EDGES.copy(), VARIANCE.copy()
    edges[4, 1] -= 0.24
    variance[4, 1] = 0.18**2
    kept, more = on_straight_edges(X_MM, edges, variance)
    assert kept.tolist() == [i != 4 for i in range(7)]
    np.testing.assert_array_equal(more, 0.0)


def test_a_station_that_claims_little_does_not_count_as_agreeing():
    """Grease over five: of the two that see the edge one claims little."""
    edges, variance = EDGES.copy(), VARIANCE.copy()
    edges[1:6, 1] -= 0.2
    variance[0, 1] = 0.1**2
    kept, _ = on_straight_edges(X_MM, edges, variance)
    assert not kept.any()


def test_scatter_beyond_what_is_claimed_is_claimed_then():
    """Readings zigzag by 0.03 mm: a variance of about 0.0012 mm^2 against 0.0004 claimed."""
    zigzag = 0.03 * np.array([1, -1, 1, -1, 1, -1, 1])
    edges = EDGES + np.column_stack([np.zeros(7), zigzag])
    kept, more = on_straight_edges(X_MM, edges, VARIANCE)
    assert kept.all()
    assert more[0] == 0.0
    claimed = 0.15 * SIGMA_MM**2 + StraightTuning().edge_mm ** 2
    # Off the line through it, (1, -1, ...) has squares of 48/7 in all, 5 degrees of freedom.
    assert more[1] == pytest.approx(0.0009 * 48.0 / 7.0 / 5.0 - claimed, abs=1e-6)


def test_an_edge_in_steps_is_none():
    """Grease of 0.24 mm over four of six: each lies on some line with a few others."""
    x_mm, variance = X_MM[1:], VARIANCE[1:]
    edges = EDGES[1:].copy()
    edges[:4, 0] += 0.24
    kept, _ = on_straight_edges(x_mm, edges, variance)
    assert not kept.any()


def test_two_stations_are_a_line():
    kept, more = on_straight_edges(X_MM[:2], EDGES[:2], VARIANCE[:2])
    assert kept.all()
    np.testing.assert_array_equal(more, 0.0)
