"""Is a characteristic accepted, and what risk goes with it (JCGM 106:2012, ISO 14253-1)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from math import inf, prod

import numpy as np

from rigvision.ground.joint import ACCURACY, probability_all_inside
from rigvision.ground.measured import Measured, correlation, probability_inside
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
    centre = (lower + upper) / 2
    if probability_inside(centre, u, freedom, lower, upper) < probability:
        return None
    inner, outer = 0.0, (upper - lower) / 2 - guard  # distances from the middle
    for _ in range(_BISECTIONS):
        middle = (inner + outer) / 2
        if probability_inside(centre + middle, u, freedom, lower, upper) >= probability:
            inner = middle
        else:
            outer = middle
    return centre - inner, centre + inner


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
    if at_most - max(risks) < ACCURACY:  # nothing is left that the lattice could tell
        return JointRisk(independent, independent, at_most)
    doubtful = [j.characteristic for j in _doubtful(judged)]
    ends = np.array([_normal_ends(c) for c in doubtful])
    together = np.eye(len(doubtful))
    for (i, a), (k, b) in combinations(enumerate(c.measured for c in doubtful), 2):
        together[i, k] = together[k, i] = correlation(a, b)
    probability = 1.0 - probability_all_inside(ends[:, 0], ends[:, 1], together)
    # The sum over a lattice errs; these bounds hold exactly.
    return JointRisk(min(max(probability, max(risks)), at_most), independent, at_most)


def _doubtful(judged: Sequence[Judged]) -> list[Judged]:
    """Those without which the joint risk would come out otherwise: not the surest ones."""
    rising = sorted(judged, key=lambda j: 1.0 - j.probability)
    risk = np.cumsum([1.0 - j.probability for j in rising])
    return rising[int(np.searchsorted(risk, 0.1 * ACCURACY)) :]


def _normal_ends(characteristic: Characteristic) -> tuple[float, float]:
    """Normal deviates that leave as much outside either limit as the figure itself does."""
    found = characteristic.measured
    below = found.probability_inside(-inf, characteristic.lower)
    above = found.probability_inside(characteristic.upper, inf)
    return _deviate(below), -_deviate(above)


def _deviate(probability: float) -> float:
    """Normal quantile of any probability, certainties included."""
    return quantile_t(min(max(probability, 1e-15), 1.0 - 1e-15), inf)
