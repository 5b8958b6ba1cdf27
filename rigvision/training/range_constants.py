"""Mean and spread of the range of normal readings, by integration: no table to mistype."""

from __future__ import annotations

from functools import lru_cache
from math import sqrt

import numpy as np

from rigvision.ground.conventions import FloatArray

#: Steps of 0.02 standard deviations; the integrands are smooth, and nothing beyond matters.
_STEP = 0.02
_FURTHEST = 9.0


@lru_cache(maxsize=64)
def range_mean_and_deviation(readings: int) -> tuple[float, float]:
    """d2 and d3: the range's mean and standard deviation, in standard deviations of a reading."""
    if readings < 2:
        raise ValueError(f"{readings} readings have no range")
    from scipy.special import ndtr

    x = np.arange(-_FURTHEST, _FURTHEST + _STEP, _STEP)
    density = np.exp(-0.5 * x**2) / sqrt(2.0 * np.pi)
    widths = np.arange(0.0, 2.0 * _FURTHEST + 0.5 * _STEP, _STEP)
    beyond = np.array(
        [
            1.0 - readings * _STEP * float(density @ (ndtr(x + w) - ndtr(x)) ** (readings - 1))
            for w in widths
        ]
    )
    mean = _integral(beyond)
    square = _integral(2.0 * widths * beyond)
    return mean, sqrt(square - mean**2)


def _integral(values: FloatArray) -> float:
    """By Simpson's rule; an odd number of values."""
    return float(values[0] + values[-1] + 4 * values[1::2].sum() + 2 * values[2:-1:2].sum()) * (
        _STEP / 3.0
    )


def range_constant(readings: int, ranges: int | None = None) -> float:
    """K in ``standard deviation = K * mean range``, to four digits as in published tables.

    ``ranges`` is how many ranges were averaged where they are few (1 for a single range);
    None where they are many. It is 1 / d2 or 1 / sqrt(d2^2 + d3^2 / ranges) (Duncan).
    """
    d2, d3 = range_mean_and_deviation(readings)
    return round(1.0 / (d2 if ranges is None else sqrt(d2**2 + d3**2 / ranges)), 4)


def range_limit(readings: int) -> float:
    """D4: ranges beyond so many mean ranges are no chance (three standard deviations)."""
    d2, d3 = range_mean_and_deviation(readings)
    return 1.0 + 3.0 * d3 / d2
