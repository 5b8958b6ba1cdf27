"""Student's t against the GUM's table and SciPy."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from rigvision.ground.student import coverage_factor, cumulative_t, quantile_t


@pytest.mark.parametrize(
    ("coverage", "freedom", "t"),
    [
        (0.6827, 1, 1.84),
        (0.95, 1, 12.71),
        (0.9973, 5, 5.51),
        (0.90, 20, 1.72),
        (0.9545, 16, 2.17),
        (0.99, 16, 2.92),
        (0.95, 16, 2.12),
        (0.95, 5, 2.57),
        (0.95, math.inf, 1.960),
        (0.99, math.inf, 2.576),
    ],
)
def test_gum_table_g2(coverage, freedom, t):
    """JCGM 100:2008, Table G.2 (published), printed to two decimals; its last row, for infinitely

    many degrees of freedom, from memory.
    """
    assert coverage_factor(freedom, coverage) == pytest.approx(t, abs=0.005)


@given(st.floats(-30.0, 30.0), st.integers(1, 1500))
def test_the_distribution_is_scipy_s(t, freedom):
    """scipy.stats.t: exact below 1000 degrees of freedom, beyond to 1e-7."""
    assert cumulative_t(t, float(freedom)) == pytest.approx(stats.t.cdf(t, freedom), abs=1e-7)


@given(st.floats(0.0005, 0.9995), st.integers(1, 999))
def test_the_quantile_is_scipy_s(probability, freedom):
    expected = stats.t.ppf(probability, freedom)
    assert quantile_t(probability, float(freedom)) == pytest.approx(expected, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize(
    ("probability", "z"), [(0.95, 1.644854), (0.90, 1.281552), (0.99, 2.326348)]
)
def test_one_sided_guard_factors(probability, z):
    """ISO 14253-1's factor of 1.65 at 95 % (from memory); to six decimals by scipy.stats.norm."""
    assert quantile_t(probability, math.inf) == pytest.approx(z, abs=1e-6)
    assert quantile_t(1.0 - probability, math.inf) == pytest.approx(-z, abs=1e-6)


@pytest.mark.parametrize("freedom", [1, 2, 22, 999, 1000, 4000, math.inf])
def test_nothing_lies_beyond_infinity(freedom):
    """A figure with one limit has the other at infinity, whatever its degrees of freedom."""
    assert cumulative_t(-math.inf, freedom) == 0.0
    assert cumulative_t(math.inf, freedom) == 1.0
