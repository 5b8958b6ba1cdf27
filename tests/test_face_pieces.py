"""Costs of cutting a profile into straight pieces."""

from __future__ import annotations

import numpy as np
import pytest

from rigvision.vision.face_pieces import FacePieces, PieceTuning

TUNING = PieceTuning(unevenness=0.5, correlated=2.0, border=4.0, most_borders=3)
#: Residuals' squares are weighed by 1 / (2 0.25 2) = 1.
RAMP = 1.0 + 0.25 * np.arange(12.0)


def test_a_straight_piece_costs_nothing_and_as_a_level_its_spread():
    pieces = FacePieces(RAMP, TUNING)
    assert pieces.line[2, 10] == pytest.approx(0.0, abs=1e-4)
    # Eight places 0.25 apart: 0.0625 x 8 x 63 / 12 = 2.625.
    assert pieces.level[2, 10] == pytest.approx(2.625, abs=1e-4)


def test_no_stretch_ends_before_it_begins():
    pieces = FacePieces(RAMP, TUNING)
    assert np.isinf(pieces.line[5, 4])
    assert pieces.line[5, 5] == 0.0


def test_a_step_costs_one_border():
    step = np.where(np.arange(20) < 8, 0.0, 3.0)
    pieces = FacePieces(step, TUNING)
    assert pieces.before()[8] == pytest.approx(0.0, abs=1e-4)
    assert pieces.before()[20] == pytest.approx(4.0, abs=1e-4)
    assert pieces.beyond()[0] == pytest.approx(4.0, abs=1e-4)
    assert pieces.beyond()[8] == pytest.approx(0.0, abs=1e-4)


def test_a_step_too_small_to_pay_a_border_is_left_in_one_piece():
    step = np.where(np.arange(20) < 10, 0.0, 0.3)
    cost = FacePieces(step, TUNING).before()[20]
    assert 0.0 < cost < 4.0


def test_a_profile_turned_round_costs_the_same():
    values = np.random.default_rng(5).normal(0.0, 1.0, 30)
    there, back = FacePieces(values, TUNING), FacePieces(values[::-1], TUNING)
    np.testing.assert_allclose(there.before(), back.beyond()[::-1], rtol=0, atol=1e-3)


def test_a_round_costs_less_than_a_border():
    """A face, then a dip of three places at its end; a piece one darker is no round."""
    dip = np.where(np.arange(20) < 17, 0.0, -3.0)
    pieces = FacePieces(dip, TUNING)
    assert pieces.before_round(4, 1.0, drop=3.5)[20] == pytest.approx(1.0, abs=1e-3)
    assert pieces.before_round(4, 1.0, drop=1.5)[20] == pytest.approx(4.0, abs=1e-3)
    # Longer than a round may be.
    assert pieces.before_round(2, 1.0, drop=3.5)[20] == pytest.approx(4.0, abs=1e-3)


def test_rounds_of_a_profile_turned_round_cost_the_same():
    values = np.random.default_rng(6).normal(0.0, 1.0, 30)
    there, back = FacePieces(values, TUNING), FacePieces(values[::-1], TUNING)
    np.testing.assert_allclose(
        there.before_round(5, 1.0, 1.0), back.beyond_round(5, 1.0, 1.0)[::-1], rtol=0, atol=1e-3
    )
