"""Is a characteristic accepted, and what risk goes with it (JCGM 106:2012, ISO 14253-1)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import inf, prod

import numpy as np

from rigvision.ground.joint import probability_all_inside
from rigvision.ground.measured import Measured, correlation
from rigvision.ground.student import cumulative_t, quantile_t
from rigvision.world.frame import DecisionRule

#: The further limit matters no more where it takes less than this of the probability.
_FAR_TAIL = 1e-7
_BISECTIONS = 40


@dataclass(frozen=True, slots=True)
class Characteristic:
    """A measured figure with its limits, in one unit."""

    quantity: str
    unit: str
    measured: Measured
    lower: float
    upper: float


@dataclass(frozen=True, slots=True)
class Judged:
    """A characteristic's probability of conformity, and whether the rule accepts it.

    ``acceptance`` are the limits between which a reading of this uncertainty is accepted;
    None where the uncertainty leaves no room between them.
    """

    characteristic: Characteristic
    probability: float
    accepted: bool
    acceptance: tuple[float, float] | None


@dataclass(frozen=True, slots=True)
class JointRisk:
    """Probability that at least one of several characteristics does not conform."""

    probability: float  # correlations through shared inputs allowed for
    independent: float  # were there none
    at_most: float  # whatever the correlations: the sum of all risks (Bonferroni)


def judge(characteristic: Characteristic, rule: DecisionRule) -> Judged:
    """Accept or not, by the frame's rule."""
    found, lower, upper = characteristic.measured, characteristic.lower, characteristic.upper
    probability = found.probability_inside(lower, upper)
    if rule.rule == "simple-acceptance":
        inside = lower <= found.value <= upper
        return Judged(characteristic, probability, inside, (lower, upper))
    least = rule.conformance_probability
    return Judged(
        characteristic,
        probability,
        probability >= least,
        guarded_limits(found, lower, upper, least),
    )


def guarded_limits(
    measured: Measured, lower: float, upper: float, probability: float
) -> tuple[float, float] | None:
    """Limits between which a reading of this uncertainty conforms with that probability.

    Each lies inside its tolerance limit by the guard band of one limit, Student's t times u
    (1.645 u for 95 % and known u: ISO 14253-1), and further where both limits are near.
    """
    u, freedom = measured.standard_uncertainty, measured.degrees_of_freedom
    guard = quantile_t(probability, freedom) * u
    if u == 0.0 or cumulative_t((guard - (upper - lower)) / u, freedom) < _FAR_TAIL:
        return lower + guard, upper - guard
    centred = replace(measured, value=(lower + upper) / 2)
    if centred.probability_inside(lower, upper) < probability:
        return None
    inner, outer = 0.0, (upper - lower) / 2 - guard  # distances from the middle
    for _ in range(_BISECTIONS):
        middle = (inner + outer) / 2
        moved = replace(centred, value=centred.value + middle)
        if moved.probability_inside(lower, upper) >= probability:
            inner = middle
        else:
            outer = middle
    return centred.value - inner, centred.value + inner


def joint_risk(judged: Sequence[Judged]) -> JointRisk | None:
    """Risk that at least one does not conform; None where nothing was judged.

    Each keeps its own probability at both limits; what correlates them are the inputs that
    their figures share (a Gaussian copula).
    """
    if not judged:
        return None
    risks = [1.0 - j.probability for j in judged]
    independent = 1.0 - prod(j.probability for j in judged)
    at_most = min(sum(risks), 1.0)
    ends = np.array([_normal_ends(j.characteristic) for j in judged])
    figures = [j.characteristic.measured for j in judged]
    together = np.array([[correlation(a, b) for b in figures] for a in figures])
    np.fill_diagonal(together, 1.0)
    probability = 1.0 - probability_all_inside(ends[:, 0], ends[:, 1], together)
    # The sum over a lattice errs by 1e-4; these bounds hold exactly.
    return JointRisk(min(max(probability, max(risks)), at_most), independent, at_most)


def _normal_ends(characteristic: Characteristic) -> tuple[float, float]:
    """Normal deviates that leave as much outside either limit as the figure itself does."""
    found = characteristic.measured
    below = found.probability_inside(-inf, characteristic.lower)
    above = found.probability_inside(characteristic.upper, inf)
    return _deviate(below), -_deviate(above)


def _deviate(probability: float) -> float:
    """Normal quantile of any probability, certainties included."""
    return quantile_t(min(max(probability, 1e-15), 1.0 - 1e-15), inf)
