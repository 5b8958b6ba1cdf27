"""Acceptance and its risks against JCGM 106:2012, ISO 14253-1 and SciPy."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from rigvision.decision.acceptance import Characteristic, guarded_limits, joint_risk, judge
from rigvision.ground.joint import probability_all_inside
from rigvision.ground.measured import Influence, Measured
from rigvision.world.frame import DecisionRule
from tests.hand_made import measured

GUARDED = DecisionRule()
SIMPLE = DecisionRule(rule="simple-acceptance")


def about(value: float, u: float, lower: float = 0.55, upper: float = 1.05) -> Characteristic:
    return Characteristic("gap", "mm", measured(value, u), lower, upper)


# --------------------------------------------------------------------------- guarded limits


@pytest.mark.parametrize(
    ("probability", "z"),
    [(0.80, 0.84), (0.90, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)],
)
def test_guard_bands_of_jcgm_106_table_1(probability, z):
    """JCGM 106:2012, 7.3, Table 1: z for conformance probabilities (recomputed, to 0.01)."""
    lower, upper = guarded_limits(measured(0.8, 0.01), 0.55, 1.05, probability)
    assert (lower - 0.55) / 0.01 == pytest.approx(z, abs=0.006)
    assert (1.05 - upper) / 0.01 == pytest.approx(z, abs=0.006)


def test_guard_band_of_iso_14253_1():
    """ISO 14253-1:2017's one-sided factor of 1.65 at 95 % (from memory; z = 1.644854)."""
    lower, upper = guarded_limits(measured(0.8, 0.03), 0.55, 1.05, 0.95)
    assert lower == pytest.approx(0.55 + 1.644854 * 0.03, abs=1e-7)
    assert upper == pytest.approx(1.05 - 1.644854 * 0.03, abs=1e-7)


def test_few_degrees_of_freedom_widen_the_guard_band():
    """t(90 %, 20) = 1.72 both-sided is 95 % one-sided (JCGM 100:2008, Table G.2)."""
    found = Measured(0.8, (Influence("x", "A", 0.02, 20),))
    lower, _ = guarded_limits(found, 0.55, 1.05, 0.95)
    assert (lower - 0.55) / 0.02 == pytest.approx(1.72, abs=0.005)


def test_a_speed_limit_known_to_2_percent():
    """JCGM 106:2012's example of a speed limit, from memory: 100 km/h, u = 2 % of v, and 99.9 %

    make it 106.588, so 107 km/h. There the limit is what is exceeded.
    """
    speed = 106.588
    _, upper = guarded_limits(measured(speed, 0.02 * speed), -1e6, speed, 0.999)
    assert upper == pytest.approx(100.0, abs=1e-3)


@pytest.mark.parametrize("u", [0.005, 0.03, 0.08, 0.12])
def test_at_a_guarded_limit_the_risk_is_what_the_rule_allows(u):
    """Also where both limits are near: half width 0.25 mm, u 0.12 mm leaves 0.006 mm."""
    _, upper = guarded_limits(measured(0.8, u), 0.55, 1.05, 0.95)
    assert measured(upper, u).probability_inside(0.55, 1.05) == pytest.approx(0.95, abs=1e-6)
    assert judge(about(upper - 1e-6, u), GUARDED).accepted is True
    assert judge(about(upper + 1e-6, u), GUARDED).accepted is False


def test_a_large_uncertainty_leaves_nothing_to_accept():
    """0.25 / 1.959964 = 0.12755 mm is the most at 95 % in the middle."""
    assert guarded_limits(measured(0.8, 0.1275), 0.55, 1.05, 0.95) is not None
    assert guarded_limits(measured(0.8, 0.1276), 0.55, 1.05, 0.95) is None


def test_without_uncertainty_the_limits_are_their_own_guard():
    assert guarded_limits(Measured(0.8), 0.55, 1.05, 0.95) == (0.55, 1.05)


def test_simple_acceptance_takes_the_value_at_its_word():
    """JCGM 106:2012, 8.2: half the readings at a limit are of parts outside."""
    found = judge(about(1.049, 0.03), SIMPLE)
    assert (found.accepted, found.acceptance) == (True, (0.55, 1.05))
    assert found.probability == pytest.approx(0.5133, abs=1e-4)
    assert judge(about(1.051, 0.03), SIMPLE).accepted is False
    assert judge(about(1.049, 0.03), GUARDED).accepted is False


# -------------------------------------------------------- what guarded acceptance is good for


def global_risks(accept_to: float, u: float) -> tuple[float, float]:
    """Consumer's and producer's risk of the bearing's runout with our own probabilities.

    Prior Gamma(4, 0.25 um), limit 2 um; integrated over the true runout on a fine grid.
    """
    true = np.linspace(1e-4, 12.0, 240_001)
    prior = stats.gamma(4.0, scale=0.25).pdf(true)
    accepted = np.array(
        [measured(t, u).probability_inside(-math.inf, accept_to) for t in true[::40]]
    )
    accepted = np.interp(true, true[::40], accepted)
    step = true[1] - true[0]
    bad = true > 2.0
    consumer = float(np.sum((prior * accepted)[bad]) * step)
    producer = float(np.sum((prior * (1.0 - accepted))[~bad]) * step)
    return consumer, producer


def test_jcgm_106_ball_bearing():
    """JCGM 106:2012, 9.5.4 (published to two digits, further digits recomputed): 4.2 % are bad;

    accepting to 2 um leaves R_C 0.8 % (0.008019) and R_P 0.017445; 0.1 % needs 1.67 um
    (1.67183), with R_P 0.075494.
    """
    assert stats.gamma(4.0, scale=0.25).sf(2.0) == pytest.approx(0.042380, abs=1e-6)
    consumer, producer = global_risks(2.0, 0.25)
    assert consumer == pytest.approx(0.008019, abs=2e-5)
    assert producer == pytest.approx(0.017445, abs=2e-5)
    consumer, producer = global_risks(1.67183, 0.25)
    assert consumer == pytest.approx(0.001, abs=1e-5)
    assert producer == pytest.approx(0.075494, abs=5e-5)


def test_zener_diode():
    """JCGM 106:2012's Zener diode, from memory: limit -5.40 V, y -5.47, u 0.05: 0.92."""
    found = judge(Characteristic("U", "V", measured(-5.47, 0.05), -math.inf, -5.40), GUARDED)
    assert found.probability == pytest.approx(0.919243, abs=1e-6)
    assert found.accepted is False
    assert found.acceptance[1] == pytest.approx(-5.40 - 1.644854 * 0.05, abs=1e-6)


# -------------------------------------------------------------------------------- joint risk


@pytest.mark.parametrize("size", [1, 2, 4, 6])
def test_all_inside_agrees_with_scipy(size):
    """scipy.stats.multivariate_normal, itself right to some 1e-5 here."""
    rng = np.random.default_rng(size)
    mixed = rng.normal(size=(size, size + 2))
    scale = np.sqrt(np.sum(mixed**2, axis=1))
    correlation = mixed @ mixed.T / np.outer(scale, scale)
    lower, upper = -rng.uniform(1.5, 4.0, size), rng.uniform(1.5, 4.0, size)
    theirs = stats.multivariate_normal(np.zeros(size), correlation).cdf(
        upper, lower_limit=lower, rng=np.random.default_rng(0)
    )
    ours = probability_all_inside(lower, upper, correlation)
    assert ours == pytest.approx(float(theirs), abs=4e-4)


def shared(value: float, u: float, common: float) -> Measured:
    """A figure of which ``common`` of the variance is shared by all made here."""
    part = u * math.sqrt(common)
    return Measured(
        value,
        (
            Influence("common", "B", part, effects=(part,), inputs="common"),
            Influence("own", "B", u * math.sqrt(1.0 - common)),
        ),
    )


def risks_of(common: float) -> tuple[float, float, float]:
    """Of two figures 1.645 u inside an upper limit: each has a risk of 5 %."""
    figures = [
        judge(Characteristic(q, "mm", shared(0.0, 1.0, common), -math.inf, 1.644854), GUARDED)
        for q in "ab"
    ]
    found = joint_risk(figures)
    return found.probability, found.independent, found.at_most


def test_independent_figures():
    """1 - 0.95^2 = 0.0975, at most 0.10."""
    assert risks_of(0.0) == pytest.approx((0.0975, 0.0975, 0.10), abs=1e-4)


def test_figures_that_err_together_carry_one_risk():
    """One error for both: 0.05; half of the variance shared: between (scipy: 0.08777)."""
    probability, independent, at_most = risks_of(1.0)
    assert (probability, at_most) == pytest.approx((0.05, 0.10), abs=1e-4)
    assert independent == pytest.approx(0.0975, abs=1e-4)
    both = stats.multivariate_normal([0, 0], [[1, 0.5], [0.5, 1]]).cdf([1.644854, 1.644854])
    assert risks_of(0.5)[0] == pytest.approx(1.0 - both, abs=2e-4)


def test_one_figure_has_its_own_risk_and_none_has_none():
    (alone,) = [joint_risk([judge(about(0.9, 0.1), GUARDED)])]
    own = 1.0 - measured(0.9, 0.1).probability_inside(0.55, 1.05)
    assert (alone.probability, alone.independent, alone.at_most) == pytest.approx((own, own, own))
    assert joint_risk([]) is None


def test_a_figure_surely_out_makes_the_risk_a_certainty():
    found = joint_risk([judge(about(3.0, 0.03), GUARDED), judge(about(0.8, 0.03), GUARDED)])
    assert found.probability == pytest.approx(1.0, abs=1e-9)


def test_a_rule_s_probabilities_must_rise():
    with pytest.raises(ValueError, match="first must be the smaller"):
        DecisionRule(borderline_probabilities=(0.9, 0.1))
