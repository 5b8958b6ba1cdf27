"""Figures as people read them: value, uncertainty and unit, rounded together."""

from __future__ import annotations

from math import floor, log10

#: Shown where a figure could not be measured; the reasons say why.
NOT_MEASURED = "not measured"


def decimals_for(expanded_uncertainty: float) -> int:
    """Decimals that a value deserves beside this uncertainty.

    The uncertainty keeps two digits while they lie in 10..35, else one, so that rounding
    changes it by no more than about a tenth (the rule of the Particle Data Group).
    """
    if expanded_uncertainty <= 0.0:
        return 2
    digits_left = floor(log10(expanded_uncertainty))
    leading = round(expanded_uncertainty / 10.0 ** (digits_left - 2))  # three digits: 100..1000
    if leading <= 354 or leading >= 950:
        digits_left -= 1 if leading <= 354 else 0
    return max(0, -digits_left)


def with_uncertainty(
    value: float | None, expanded: float | None, unit: str, most_decimals: int = 4
) -> str:
    """``0.82 ± 0.04 mm``; without an uncertainty two decimals; without a value, says so."""
    if value is None:
        return NOT_MEASURED
    if expanded is None:
        return f"{signed_zero(value, 2)} {unit}".rstrip()
    decimals = min(decimals_for(expanded), most_decimals)
    return f"{signed_zero(value, decimals)} ± {expanded:.{decimals}f} {unit}".rstrip()


def signed_zero(value: float, decimals: int) -> str:
    """Fixed decimals, and never ``-0.00``."""
    return f"{round(value, decimals) + 0.0:.{decimals}f}"


def percent(probability: float | None) -> str:
    """A probability in per cent; never rounded to a certainty."""
    if probability is None:
        return NOT_MEASURED
    if probability > 0.999:
        return "over 99.9 %"
    if probability < 0.001:
        return "under 0.1 %"
    return f"{100.0 * probability:.1f} %"
