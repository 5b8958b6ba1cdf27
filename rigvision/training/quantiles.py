"""Quantiles and tails that studies need, from SciPy, which is loaded at the first call only."""

from __future__ import annotations

from functools import lru_cache
from math import inf


def chi_squared_quantile(probability: float, freedom: float) -> float:
    """The chi-squared value below which lies ``probability``."""
    from scipy.special import chdtri

    return float(chdtri(freedom, 1.0 - probability))


@lru_cache(maxsize=4096)
def f_quantile(probability: float, numerator: float, denominator: float = inf) -> float:
    """The F value below which lies ``probability``; infinite degrees of freedom are allowed."""
    if denominator == inf:
        return chi_squared_quantile(probability, numerator) / numerator
    from scipy.special import fdtri

    return float(fdtri(numerator, denominator, probability))


def f_tail(value: float, numerator: float, denominator: float) -> float:
    """Probability that F exceeds a value by chance."""
    from scipy.special import fdtrc

    return float(fdtrc(numerator, denominator, value))


def t_quantile(probability: float, freedom: float) -> float:
    """Student's t below which lies ``probability``; ``freedom`` need not be whole."""
    from scipy.special import stdtrit

    return float(stdtrit(freedom, probability))


def t_tail(value: float, freedom: float) -> float:
    """Probability that Student's t is further from 0 than ``value``, either way."""
    from scipy.special import stdtr

    return float(2.0 * stdtr(freedom, -abs(value)))


def beta_quantile(probability: float, a: float, b: float) -> float:
    from scipy.special import betaincinv

    return float(betaincinv(a, b, probability))
