"""Steel's expansion against its published value, as model and budget use it."""

from __future__ import annotations

import numpy as np
import pytest

from rigvision.metrology.gap import GapTuning
from tests.hand_made import gap_of, influence


def test_100_mm_of_steel_grow_by_17_25_um_over_15_kelvin(gauge):
    """JCGM 100:2008, H.1: steel 11.5e-6 / K. 100 mm from 20 to 35 degC: 17.25 um (recomputed)."""
    grown_mm = gauge.plate.thermal_expansion_per_K * 100.0 * 15.0
    assert grown_mm == pytest.approx(0.01725, abs=1e-9)


@pytest.mark.parametrize("gap_mm", [0.5, 3.0])
def test_the_budget_carries_expansion_over_the_temperature_s_spread(gap_mm, gauge, frame):
    """A gap of 3 mm read on a plate 15 K off: 3 * 11.5e-6 * 15 mm = 0.0005175 mm."""
    gap = gap_of(gauge, frame, np.full(7, gap_mm), tuning=GapTuning(temperature_K=15.0))
    expected_mm = 11.5e-6 * 15.0 * gap_mm
    assert influence(gap.mean_mm, "temperature") == pytest.approx(expected_mm, abs=1e-9)
