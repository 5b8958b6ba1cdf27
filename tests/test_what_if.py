"""What would turn a call, against hand arithmetic and the decision's own numbers."""

from __future__ import annotations

from dataclasses import replace
from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigvision.ground.student import coverage_factor
from rigvision.training.what_if import (
    WhatIf,
    freedom_of_factor,
    most_expanded,
    turning_points,
    what_ifs,
)
from tests.saved_shots import saved

CASE = WhatIf(
    "gap", "Gap", "mm", 0.9, 0.196, 0.0, 1.0, 1.96, None, 0.95, False, 0.84, (0.164, 0.836)
)


@given(st.integers(1, 150))
def test_a_saved_coverage_factor_tells_its_degrees_of_freedom(freedom):
    """Factors are saved to five decimals."""
    assert freedom_of_factor(round(coverage_factor(freedom), 5)) == freedom


def test_a_factor_of_the_normal_distribution_is_one_of_endless_freedom():
    assert freedom_of_factor(round(coverage_factor(inf), 5)) is None


def test_an_uncertainty_that_would_do_leaves_five_per_cent_beyond_the_limit():
    """0.1 mm from the limit, the other far away: u = 0.1 / 1.645, and 1.96 times that."""
    assert most_expanded(CASE) == pytest.approx(1.96 * 0.1 / 1.644854, abs=1e-6)


def test_it_is_said_from_where_to_where_and_by_how_much():
    by_value, by_uncertainty = turning_points(CASE)
    assert "from 0.164 mm to 0.836 mm" in by_value
    assert "0.064 mm outside" in by_value
    assert "± 0.119 mm or less" in by_uncertainty


def test_an_accepted_figure_says_its_margin_alone():
    (said,) = turning_points(replace(CASE, value=0.8, accepted=True, probability=0.98))
    assert "0.036 mm inside" in said


def test_where_no_room_is_left_nothing_read_would_do():
    said = turning_points(replace(CASE, acceptance=None, expanded=2.0))[0]
    assert "leaves no room" in said


def test_simple_acceptance_asks_for_no_probability():
    (said,) = turning_points(replace(CASE, wanted=None))
    assert "whatever its uncertainty" in said


def test_the_one_that_the_call_hangs_on_comes_first():
    assert [w.quantity for w in what_ifs(saved(0.9, 0.3, 0.99))] == [
        "taper",
        "gap",
        "lateral_offset",
    ]
    assert what_ifs(saved()) == []
