"""Values with uncertainty against the GUM (JCGM 100:2008) and JCGM 106:2012."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigvision.ground.measured import (
    Influence,
    Measured,
    correlation,
    covariance,
    freedom_of,
)
from rigvision.ground.student import coverage_factor


def measured(value: float, *parts: float) -> Measured:
    return Measured(value, tuple(Influence(f"part {i}", "B", p) for i, p in enumerate(parts)))


def test_gum_h1_contributions_combine_to_32_nm():
    """JCGM 100:2008, H.1.4, Table H.1: contributions 25, 9.7, 2.9 and 16.6 nm, u_c = 32 nm.

    Recomputed from the rounded contributions: 31.67 nm. The standard prints whole nm.
    """
    combined = measured(50_000_838.0, 25.0, 9.7, 2.9, 16.6).standard_uncertainty
    assert combined == pytest.approx(31.67, abs=0.005)
    assert round(combined) == 32


def test_gum_h1_comparison_combines_to_9_7_nm():
    """JCGM 100:2008, H.1.3.2: 5.8, 3.9 and 6.7 nm give u(d) = 9.7 nm."""
    assert measured(215.0, 5.8, 3.9, 6.7).standard_uncertainty == pytest.approx(9.7, abs=0.05)


@pytest.mark.parametrize(
    ("probability", "z"),
    [(0.80, 0.84), (0.90, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)],
)
def test_probability_of_conformity_agrees_with_jcgm_106_table_1(probability, z):
    """JCGM 106:2012, 7.3, Table 1: one limit; y that many u inside it. z printed to 0.01.

    dp/dz at those z is at most 0.28, so 0.005 in z is 0.0014 in probability.
    """
    u = 0.04
    from_above = measured(0.80, u).probability_inside(-math.inf, 0.80 + z * u)
    from_below = measured(0.80, u).probability_inside(0.80 - z * u, math.inf)
    assert from_above == pytest.approx(probability, abs=0.0015)
    assert from_below == pytest.approx(probability, abs=0.0015)


def test_zener_voltage_conforms_with_92_percent():
    """JCGM 106:2012's Zener diode, from memory: limit -5.40 V, y -5.47 V, u 0.05 V: 0.92."""
    probability = measured(-5.47, 0.05).probability_inside(-math.inf, -5.40)
    assert probability == pytest.approx(0.919243, abs=1e-6)


def test_both_tails_count():
    """y in the middle of limits 2 u away: erf(2/sqrt 2) = 0.954500 (recomputed)."""
    assert measured(0.80, 0.125).probability_inside(0.55, 1.05) == pytest.approx(0.9545, abs=1e-6)


def test_limits_count_as_inside_where_there_is_no_uncertainty():
    assert Measured(1.05).probability_inside(0.55, 1.05) == 1.0
    assert Measured(1.0500001).probability_inside(0.55, 1.05) == 0.0


def test_expanded_uncertainty_covers_95_percent():
    """JCGM 100:2008, Table G.2, last row (from memory): t95 = 1.960."""
    assert measured(0.8, 0.03, 0.04).coverage_factor == pytest.approx(1.960, abs=5e-4)
    assert measured(0.8, 0.03, 0.04).expanded_uncertainty == pytest.approx(0.0980, abs=5e-5)


# ---------------------------------------------------------------------- degrees of freedom


def with_freedom(*parts: tuple[float, float]) -> Measured:
    """Contributions with their degrees of freedom."""
    return Measured(0.0, tuple(Influence(f"{k}", "A", u, nu) for k, (u, nu) in enumerate(parts)))


def test_gum_h1_has_16_effective_degrees_of_freedom():
    """JCGM 100:2008, H.1.6 (published): nu_eff = 16.7, cut to 16; k95 = 2.12, k99 = 2.92."""
    found = with_freedom((25.0, 18), (9.7, 25.6), (2.9, 50), (16.6, 2))
    assert found.degrees_of_freedom == 16.0
    assert found.coverage_factor == pytest.approx(2.12, abs=0.005)
    assert coverage_factor(16, 0.99) * 31.67 == pytest.approx(93.0, abs=0.6)


def test_gum_h1_comparison_alone_has_25_degrees_of_freedom():
    """JCGM 100:2008, H.1.3.2 prints 25.6; from its rounded parts 25.45 (recomputed): 25."""
    assert with_freedom((5.8, 24), (3.9, 5), (6.7, 8)).degrees_of_freedom == 25.0


def test_gum_g4_example_has_19_degrees_of_freedom():
    """JCGM 100:2008, G.4.1, example (from memory): 0.25, 0.57 and 0.82 % of 10, 5 and 15

    readings: u_c 1.03 %, nu_eff 19.0, U95 2.2 %.
    """
    found = with_freedom((0.25, 9), (0.57, 4), (0.82, 14))
    assert found.standard_uncertainty == pytest.approx(1.03, abs=0.005)
    assert found.degrees_of_freedom in (18.0, 19.0)  # 18.97 from the rounded parts
    assert found.expanded_uncertainty == pytest.approx(2.2, abs=0.05)


@pytest.mark.parametrize(
    ("parts", "freedom"),
    [
        # suncal 1.7.1, test_DEGF (published there): 12.8
        (((0.57, 9), (0.25, math.inf)), 12.0),
        (((0.3, 8),), 8.0),
        (((0.3, 8), (0.0, 1)), 8.0),
        (((0.1, math.inf), (0.2, math.inf)), math.inf),
        ((), math.inf),
    ],
)
def test_welch_satterthwaite(parts, freedom):
    assert with_freedom(*parts).degrees_of_freedom == freedom


def test_an_uncertainty_known_to_a_quarter_has_8_degrees_of_freedom():
    """JCGM 100:2008, G.4.2, example (from memory): 25 % gives 8."""
    assert freedom_of(0.25) == pytest.approx(8.0, abs=1e-12)
    assert freedom_of(0.0) == math.inf


def test_few_degrees_of_freedom_make_conformity_less_sure():
    """Two u inside: 97.7 % if u is known, t(8) 0.9597 (recomputed with scipy.stats.t)."""
    sure = with_freedom((0.1, math.inf)).probability_inside(-math.inf, 0.2)
    doubtful = with_freedom((0.1, 8)).probability_inside(-math.inf, 0.2)
    assert sure == pytest.approx(0.977250, abs=1e-6)
    assert doubtful == pytest.approx(0.959742, abs=1e-6)


# ------------------------------------------------------------------------------ correlation


def test_results_correlate_by_the_inputs_they_share():
    """y1 = 3 a + b, y2 = -2 a + c: covariance -6 u(a)^2 (JCGM 100:2008, F.1.2.3)."""
    y1 = Measured(
        0.0,
        (Influence("a", "B", 0.3, effects=(0.3,), inputs="a"), Influence("b", "B", 0.4)),
    )
    y2 = Measured(
        0.0,
        (Influence("a", "B", 0.2, effects=(-0.2,), inputs="a"), Influence("b", "B", 0.1)),
    )
    assert covariance(y1, y2) == pytest.approx(-0.06, abs=1e-12)
    assert correlation(y1, y2) == pytest.approx(-0.06 / (0.5 * math.sqrt(0.05)), abs=1e-12)
    assert correlation(y1, Measured(0.0)) == 0.0


@given(
    st.floats(0.3, 1.4),
    st.lists(st.floats(1e-3, 0.2), min_size=1, max_size=6),
    st.floats(1e-3, 0.3),
)
def test_inside_and_outside_make_one_and_wider_limits_never_conform_less(value, parts, wider):
    found = measured(value, *parts)
    inside = found.probability_inside(0.55, 1.05)
    below = found.probability_inside(-math.inf, 0.55)
    above = found.probability_inside(1.05, math.inf)
    assert inside + below + above == pytest.approx(1.0, abs=1e-12)
    assert found.probability_inside(0.55 - wider, 1.05 + wider) >= inside


def test_probability_agrees_with_drawn_values():
    """A million draws from the stated distribution: 3 sigma of the count is 0.0012."""
    rng = np.random.default_rng(5)
    found = measured(1.00, 0.03, 0.06, 0.02)
    draws = rng.normal(1.00, math.sqrt(0.03**2 + 0.06**2 + 0.02**2), 1_000_000)
    inside = np.mean((draws >= 0.55) & (draws <= 1.05))
    assert found.probability_inside(0.55, 1.05) == pytest.approx(inside, abs=0.0015)
