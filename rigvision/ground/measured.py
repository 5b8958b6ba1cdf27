"""A measured value with its standard uncertainty, and what it is made of (JCGM 100:2008)."""

from __future__ import annotations

from dataclasses import dataclass, field
from math import floor, hypot, inf, sqrt
from typing import Literal

from rigvision.ground.student import coverage_factor, cumulative_t

Kind = Literal["A", "B"]


def freedom_of(relative_doubt: float) -> float:
    """Degrees of freedom of an uncertainty that is itself known only so well.

    ``relative_doubt`` is the standard deviation of u over u: 0.25 gives 8 (JCGM 100:2008,
    G.4.2, equation G.3); 0 gives inf.
    """
    return inf if relative_doubt == 0.0 else 0.5 / relative_doubt**2


@dataclass(frozen=True, slots=True)
class Influence:
    """One line of an uncertainty budget; ``standard_uncertainty`` in the result's unit.

    ``kind`` is A where a statistical evaluation gave it, B otherwise (JCGM 100:2008, 4).
    An influence may be several correlated inputs, such as the lens: ``effects`` are then the
    signed shares of as many uncorrelated ones, and the standard uncertainty is their root sum
    of squares. ``inputs`` names the inputs where other results hang on the same ones: equal
    names in two results mean the same errors, which ``covariance`` adds up.
    """

    source: str
    kind: Kind
    standard_uncertainty: float  # the contribution |c| u(x)
    degrees_of_freedom: float = inf
    input_uncertainty: float | None = None  # u(x), in ``input_unit``
    input_unit: str = ""
    sensitivity: float | None = None  # c, the result's unit per unit of the input
    effects: tuple[float, ...] = ()
    inputs: str = ""


@dataclass(frozen=True, slots=True)
class Measured:
    """A value and the uncorrelated influences on it, in one unit named by its holder.

    What follows from the influences is worked out once: a check asks for it hundreds of times.
    """

    value: float
    influences: tuple[Influence, ...] = ()
    #: Combined: root sum of squares (JCGM 100:2008, 5.1.2).
    standard_uncertainty: float = field(init=False, repr=False, compare=False)
    #: Effective, by Welch and Satterthwaite, cut to a whole number (JCGM 100:2008, G.4.1).
    #: At least 1; inf where every influence's are, or nothing contributes.
    degrees_of_freedom: float = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        combined = hypot(*(i.standard_uncertainty for i in self.influences))
        object.__setattr__(self, "standard_uncertainty", combined)
        freedom = effective_degrees_of_freedom(self.influences)
        object.__setattr__(self, "degrees_of_freedom", freedom)

    @property
    def coverage_factor(self) -> float:
        """k for a coverage of 95 %, from Student's t (JCGM 100:2008, G.3.2)."""
        return coverage_factor(self.degrees_of_freedom)

    @property
    def expanded_uncertainty(self) -> float:
        return self.coverage_factor * self.standard_uncertainty

    def probability_inside(self, lower: float, upper: float) -> float:
        """Probability that the true value lies in [lower, upper] (JCGM 106:2012, 7.2).

        Student's t with the effective degrees of freedom, the normal distribution where
        they are infinite. Either limit may be infinite.
        """
        u, freedom = self.standard_uncertainty, self.degrees_of_freedom
        return probability_inside(self.value, u, freedom, lower, upper)


def probability_inside(value: float, u: float, freedom: float, lower: float, upper: float) -> float:
    """Probability that what was read as ``value`` lies in [lower, upper], as in ``Measured``."""
    if u == 0.0:
        return float(lower <= value <= upper)
    above, below = (upper - value) / u, (lower - value) / u
    # From the nearer tails: the difference of two probabilities near 1 would lose digits.
    if below > 0.0:
        return cumulative_t(-below, freedom) - cumulative_t(-above, freedom)
    return cumulative_t(above, freedom) - cumulative_t(below, freedom)


def effective_degrees_of_freedom(influences: tuple[Influence, ...]) -> float:
    """Welch-Satterthwaite formula, truncated (JCGM 100:2008, equation G.2b and G.4.1)."""
    u = hypot(*(i.standard_uncertainty for i in influences))
    spent = sum(i.standard_uncertainty**4 / i.degrees_of_freedom for i in influences)
    if spent == 0.0 or u == 0.0:
        return inf
    # A whole number may come out a rounding error short of itself.
    return float(max(floor(u**4 / spent + 1e-9), 1))


def covariance(a: Measured, b: Measured) -> float:
    """Covariance of two results through the inputs they share (JCGM 100:2008, F.1.2.3)."""
    known = {i.inputs: i.effects for i in a.influences if i.inputs}
    return sum(
        sum(x * y for x, y in zip(known[i.inputs], i.effects, strict=True))
        for i in b.influences
        if i.inputs in known
    )


def correlation(a: Measured, b: Measured) -> float:
    """Correlation coefficient of two results; 0 where either is certain."""
    variances = a.standard_uncertainty**2 * b.standard_uncertainty**2
    return covariance(a, b) / sqrt(variances) if variances > 0.0 else 0.0
