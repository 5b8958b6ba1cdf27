"""A measured value with its standard uncertainty, and what it is made of."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot
from typing import Literal

from rigvision.ground.normal import phi

#: Coverage factor of every expanded uncertainty: about 95 % for a normal distribution
#: (JCGM 100:2008, 6.2 and G.1.3).
COVERAGE_FACTOR = 2.0


@dataclass(frozen=True, slots=True)
class Influence:
    """One line of an uncertainty budget, as a standard uncertainty in the result's unit.

    ``kind`` is A where a statistical evaluation gave it, B otherwise (JCGM 100:2008, 4).
    """

    source: str
    kind: Literal["A", "B"]
    standard_uncertainty: float


@dataclass(frozen=True, slots=True)
class Measured:
    """A value and the independent influences on it, in one unit named by its holder."""

    value: float
    influences: tuple[Influence, ...] = ()

    @property
    def standard_uncertainty(self) -> float:
        """Combined standard uncertainty: root sum of squares (JCGM 100:2008, 5.1.2)."""
        return hypot(*(i.standard_uncertainty for i in self.influences))

    @property
    def expanded_uncertainty(self) -> float:
        return COVERAGE_FACTOR * self.standard_uncertainty

    def probability_inside(self, lower: float, upper: float) -> float:
        """Probability that the true value lies in [lower, upper], normal distribution.

        JCGM 106:2012, 7.2. Either limit may be infinite.
        """
        u = self.standard_uncertainty
        if u == 0.0:
            return float(lower <= self.value <= upper)
        return phi((upper - self.value) / u) - phi((lower - self.value) / u)
