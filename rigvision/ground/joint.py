"""Probability that several correlated normal variables all lie within their limits."""

from __future__ import annotations

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.ground.normal import cumulative_normal, normal_quantile

_POINTS = 2039  # of the lattice
#: To which the result is then right, about.
ACCURACY = 1e-4
_PRIMES = (2.0, 3.0, 5.0, 7.0, 11.0, 13.0, 17.0, 19.0, 23.0, 29.0)


def probability_all_inside(lower: FloatArray, upper: FloatArray, correlation: FloatArray) -> float:
    """P(lower < z < upper) for standard normal z (N,) with a correlation matrix (N, N).

    Genz's separation of variables (A. Genz, J. Comput. Graph. Stat. 1, 1992) over a lattice
    of square roots of primes: no chance in it. N is at most 10.
    """
    size = len(lower)
    # Fully correlated variables leave nothing to the last: a trace of their own keeps it whole.
    root = np.linalg.cholesky(correlation + 1e-9 * np.eye(size))
    steps = np.sqrt(_PRIMES[:size])
    lattice = np.abs(2.0 * np.mod(np.arange(1, _POINTS + 1)[:, None] * steps, 1.0) - 1.0)
    drawn = np.zeros((_POINTS, size))
    inside = np.ones(_POINTS)
    for k in range(size):
        shift = drawn[:, :k] @ root[k, :k]
        below = cumulative_normal((lower[k] - shift) / root[k, k])
        width = cumulative_normal((upper[k] - shift) / root[k, k]) - below
        inside *= width
        if k + 1 < size:  # none hangs on the last
            drawn[:, k] = normal_quantile(below + lattice[:, k] * width)
    return float(inside.mean())
