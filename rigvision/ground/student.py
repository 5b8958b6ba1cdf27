"""Student's t distribution for whole degrees of freedom, and the quantiles that decide.

Exact, by the finite series for whole degrees of freedom (Abramowitz and Stegun, 26.7.3 and
26.7.4): no table to mistype, and SciPy need not be loaded at every start.
"""

from __future__ import annotations

from functools import lru_cache
from math import atan, cos, exp, inf, isinf, lgamma, log, log1p, pi, sin, sqrt

from rigvision.ground.normal import phi

#: From here on the normal deviate of equal probability (A&S 26.7.8) is right to 1e-7.
_NEARLY_NORMAL = 1000
_MOST_STEPS = 200
_SETTLED = 1e-14  # of t


def cumulative_t(t: float, freedom: float) -> float:
    """Probability that Student's t lies below ``t``.

    ``freedom``: whole degrees of freedom from 1, or inf for the normal distribution. ``t`` may
    be infinite.
    """
    if isinf(t):
        return float(t > 0.0)
    if freedom >= _NEARLY_NORMAL:
        return phi(t if freedom == inf else _normal_deviate(t, freedom))
    return 0.5 + 0.5 * _inside(t, int(freedom))


@lru_cache(maxsize=512)
def quantile_t(probability: float, freedom: float) -> float:
    """The t below which lies ``probability``, strictly between 0 and 1.

    Newton's steps from 0, where the distribution is steepest, stay short of the quantile and
    never overshoot, as it bends downwards all the way.
    """
    if probability < 0.5:
        return -quantile_t(1.0 - probability, freedom)
    t = 0.0
    for _ in range(_MOST_STEPS):
        step = (probability - cumulative_t(t, freedom)) / _density(t, freedom)
        t += step
        if step <= _SETTLED * t:
            break
    return t


def coverage_factor(freedom: float, coverage: float = 0.95) -> float:
    """k for an interval of this coverage, both tails cut alike (JCGM 100:2008, G.3)."""
    return quantile_t(0.5 * (1.0 + coverage), freedom)


def _inside(t: float, freedom: int) -> float:
    """Probability of (-|t|, |t|), with t's sign."""
    angle = atan(t / sqrt(freedom))
    sine, cosine = sin(angle), cos(angle)
    odd = freedom % 2
    term, total = (cosine, 0.0) if odd else (1.0, 0.0)
    # cos^1, cos^3, ... for odd, cos^0, cos^2, ... for even degrees of freedom
    for power in range(odd, freedom - 1, 2):
        total += term
        term *= cosine * cosine * (power + 1) / (power + 2)
    return 2.0 / pi * (angle + sine * total) if odd else sine * total


def _density(t: float, freedom: float) -> float:
    """Of Student's t; of the normal distribution where ``cumulative_t`` takes its integral."""
    if freedom >= _NEARLY_NORMAL:
        return exp(-0.5 * t * t) / sqrt(2.0 * pi)
    log_scale = lgamma(0.5 * (freedom + 1.0)) - lgamma(0.5 * freedom) - 0.5 * log(freedom * pi)
    return exp(log_scale - 0.5 * (freedom + 1.0) * log1p(t * t / freedom))


def _normal_deviate(t: float, freedom: float) -> float:
    """The normal deviate with t's probability, for many degrees of freedom (A&S 26.7.8)."""
    return t * (1.0 - 0.25 / freedom) / sqrt(1.0 + 0.5 * t * t / freedom)
