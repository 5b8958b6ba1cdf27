"""Confidence intervals of sums and differences of variances, by modified large samples.

For sums of mean squares Graybill and Wang (JASA 75, 1980, 869), for differences Ting, Burdick,
Graybill, Jeyaratnam and Lu (J. Statist. Comput. Simul. 35, 1990, 135), as in Burdick, Borror and
Montgomery, Design and Analysis of Gauge R&R Studies (2005); all from memory. They are exact
for a single mean square and close to what they claim for small studies, which large-sample
intervals are not.
"""

from __future__ import annotations

from math import inf, sqrt

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.training.quantiles import f_quantile

#: Coefficients below this part of the largest are rounding.
_NOTHING = 1e-12

Terms = list[tuple[float, float]]  # coefficient times mean square, degrees of freedom
Interval = tuple[float, float]


def variance_interval(
    coefficients: FloatArray, values: FloatArray, freedoms: FloatArray, confidence: float = 0.95
) -> Interval:
    """Both ends for ``coefficients @ E[values]``, the mean squares' expectations. All (K,).

    Ends may be negative where coefficients are.
    """
    largest = float(np.max(np.abs(coefficients)))
    kept = np.abs(coefficients) > _NOTHING * largest
    terms = list(zip((coefficients * values)[kept].tolist(), freedoms[kept].tolist(), strict=True))
    signs = np.sign(coefficients[kept])
    plus = [t for t, s in zip(terms, signs, strict=True) if s > 0]
    minus = [(-c, n) for (c, n), s in zip(terms, signs, strict=True) if s < 0]
    tail = 0.5 * (1.0 - confidence)
    estimate = sum(c for c, _ in plus) - sum(c for c, _ in minus)
    low = estimate - sqrt(max(_below(plus, minus, tail), 0.0))
    high = estimate + sqrt(max(_above(plus, minus, tail), 0.0))
    return low, high


def _below(plus: Terms, minus: Terms, tail: float) -> float:
    """Square of the way from the estimate down to the lower end."""
    total = sum((_g(n, tail) * c) ** 2 for c, n in plus)
    total += sum((_h(n, tail) * c) ** 2 for c, n in minus)
    for c, n in plus:
        for d, m in minus:
            f = f_quantile(1.0 - tail, n, m)
            cross = ((f - 1.0) ** 2 - (_g(n, tail) * f) ** 2 - _h(m, tail) ** 2) / f
            total += cross * c * d
    return total + (_pairs(plus, tail) if minus else 0.0)


def _above(plus: Terms, minus: Terms, tail: float) -> float:
    """Square of the way from the estimate up to the upper end."""
    total = sum((_h(n, tail) * c) ** 2 for c, n in plus)
    total += sum((_g(n, tail) * c) ** 2 for c, n in minus)
    for c, n in plus:
        for d, m in minus:
            f = f_quantile(tail, n, m)
            cross = ((1.0 - f) ** 2 - (_h(n, tail) * f) ** 2 - _g(m, tail) ** 2) / f
            total += cross * c * d
    return total + (_pairs(minus, tail) if plus else 0.0)


def _pairs(terms: Terms, tail: float) -> float:
    """The part of two mean squares of one sign, where there are others of the other sign."""
    total = 0.0
    for i, (c, n) in enumerate(terms):
        for d, m in terms[i + 1 :]:
            both = (_g(n + m, tail) * (n + m)) ** 2 / (n * m)
            apart = _g(n, tail) ** 2 * n / m + _g(m, tail) ** 2 * m / n
            total += (both - apart) * c * d / (len(terms) - 1)
    return total


def _g(freedom: float, tail: float) -> float:
    return 1.0 - 1.0 / f_quantile(1.0 - tail, freedom, inf)


def _h(freedom: float, tail: float) -> float:
    return 1.0 / f_quantile(tail, freedom, inf) - 1.0
