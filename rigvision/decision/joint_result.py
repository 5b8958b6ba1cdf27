"""What each of several photos of one set-up contributed to the joint result."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from rigvision.decision.reasons import Reason

if TYPE_CHECKING:
    from rigvision.decision.result import CheckResult


@dataclass(frozen=True, slots=True)
class PhotoShare:
    """One photo of a joint check. ``left_out`` says why it has no part in the figures.

    The gap is this photo's own; the deviation is its gap minus that of the other photos used,
    with an uncertainty from which what all photos share has gone. ``chi_squared`` tests all
    its figures against those of the others.
    """

    name: str
    sha256: str | None  # None where the file could not be read
    left_out: Reason | None = None
    gap_mm: float | None = None
    gap_expanded_uncertainty_mm: float | None = None
    deviation_mm: float | None = None
    deviation_expanded_uncertainty_mm: float | None = None
    chi_squared: float | None = None
    degrees_of_freedom: int = 0
    probability: float | None = None
    own: CheckResult | None = field(default=None, repr=False, compare=False)


@dataclass(frozen=True, slots=True)
class DepthResult:
    """How far a plane lies nearer to the camera than its drawing says, from parallax."""

    plane: str
    offset_mm: float
    expanded_uncertainty_mm: float


@dataclass(frozen=True, slots=True)
class ConsistencyResult:
    """Chi-squared of all photos that could be used, the odd ones included."""

    chi_squared: float
    degrees_of_freedom: int
    probability: float | None  # of as much disagreement by chance
    consistent: bool
    odd_photos: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class JointResult:
    """Photos in the order given. No consistency where fewer than two can be compared."""

    photos: tuple[PhotoShare, ...]
    plane_depths: tuple[DepthResult, ...] = ()
    consistency: ConsistencyResult | None = None
