"""The axis that both limbs of a barrel give together, from likelihoods made by hand."""

from __future__ import annotations

import numpy as np
import pytest

from rigvision.vision.barrel_axis import AxisTuning, LimbReading, consensus

TUNING = AxisTuning()
PLACES_MM = np.arange(-TUNING.limb_search_mm, TUNING.limb_search_mm + 1e-9, TUNING.place_step_mm)
AS_DRAWN = np.zeros(2)


def limb(sine, outwards_mm, strength=4.0, segments=12):
    """Segments that all show a border ``outwards_mm`` off, so many nats above anywhere else."""
    peak = strength * np.exp(-0.5 * ((PLACES_MM - outwards_mm) / 0.04) ** 2)
    return [LimbReading(sine, x, PLACES_MM, peak) for x in np.linspace(2.0, 36.0, segments)]


def test_limbs_that_agree_give_the_axis_sharply():
    """An axis 0.2 mm up: the upper outline goes outwards by as much, the lower one inwards."""
    moved, covariance = consensus([*limb(1.0, 0.2), *limb(-1.0, -0.2)], AS_DRAWN, TUNING)
    assert moved[0] == pytest.approx(0.2, abs=0.005)
    assert np.sqrt(covariance[0, 0]) < 0.025


def test_a_faint_limb_that_agrees_costs_nothing():
    alone = consensus(limb(1.0, 0.2), AS_DRAWN, TUNING)[1]
    both = consensus([*limb(1.0, 0.2), *limb(-1.0, -0.2, strength=0.3)], AS_DRAWN, TUNING)[1]
    assert both[0, 0] < alone[0, 0]


@pytest.mark.parametrize("false_mm", [-0.3, 0.45])
def test_limbs_that_disagree_leave_the_axis_open(false_mm):
    """One border is an outline, the other a shadow's all along: either may be the true one."""
    found, covariance = consensus([*limb(1.0, 0.2), *limb(-1.0, -false_mm)], AS_DRAWN, TUNING)
    assert abs(found[0] - 0.2) < 2.0 * np.sqrt(covariance[0, 0])
    assert np.sqrt(covariance[0, 0]) > 0.05


def test_a_barrel_of_which_one_limb_shows_is_not_taken_for_certain():
    """That limb may show a shadow's border: with a chance of 2 % anywhere within 0.6 mm."""
    sure = consensus([*limb(1.0, 0.1), *limb(-1.0, -0.1)], AS_DRAWN, TUNING)[1]
    alone = consensus(limb(1.0, 0.1), AS_DRAWN, TUNING)[1]
    assert np.sqrt(alone[0, 0]) > 1.5 * np.sqrt(sure[0, 0])
