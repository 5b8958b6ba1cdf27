"""The chi-squared distribution's upper tail, in closed form for whole degrees of freedom."""

from __future__ import annotations

from math import erfc, exp, lgamma, log, sqrt


def chi_squared_tail(chi_squared: float, degrees_of_freedom: int) -> float:
    """Probability that chi-squared exceeds a value by chance.

    By the recurrence Q(a + 1, x) = Q(a, x) + x^a e^-x / Gamma(a + 1) of the incomplete gamma
    function (DLMF 8.8), from Q(1, x) = e^-x or Q(1/2, x) = erfc(sqrt(x)), x = chi^2 / 2.
    """
    if degrees_of_freedom < 1:
        raise ValueError(f"{degrees_of_freedom} degrees of freedom")
    x = chi_squared / 2.0
    if x <= 0.0:
        return 1.0
    even = degrees_of_freedom % 2 == 0
    a, tail = (1.0, exp(-x)) if even else (0.5, erfc(sqrt(x)))
    while a < degrees_of_freedom / 2.0:
        tail += exp(a * log(x) - x - lgamma(a + 1.0))
        a += 1.0
    return min(tail, 1.0)
