"""The result of one check, as the command prints it and the library returns it.

Every figure that could not be measured is None, never 0 and never a guess; ``reasons``
says why. Signs and zero points are those of the gauge axes (``ground.conventions``):

gap        distance square to the sill between the planes tangent to the broken edges
taper      gap at the largest x minus gap at the smallest x
lateral    socket axis y minus yoke centreline y, at the socket's face
tilt       from yoke centreline to socket axis, counter-clockwise positive
seat gap   socket face x minus yoke shoulder x, on the yoke's centreline
clock      from the yoke's line to the nearest socket line, towards +y positive
turns      turns of the wrench at the socket, positive closes the door
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

from rigvision.decision.reasons import Reason

if TYPE_CHECKING:
    from rigvision.decision.joint_result import JointResult

SCHEMA = "rigvision.check/1"
Verdict = Literal["pass", "adjust", "retake"]
Direction = Literal["close", "open", "none"]


@dataclass(frozen=True, slots=True)
class PhotoFacts:
    name: str
    sha256: str
    width_px: int
    height_px: int
    taken_at: str | None


@dataclass(frozen=True, slots=True)
class StationResult:
    x_mm: float
    gap_mm: float | None
    expanded_uncertainty_mm: float | None
    coverage_factor: float | None = None


@dataclass(frozen=True, slots=True)
class GapResult:
    mean_mm: float | None
    expanded_uncertainty_mm: float | None
    coverage_factor: float | None
    conformance_probability: float | None
    lower_mm: float
    upper_mm: float
    taper_mm: float | None
    taper_expanded_uncertainty_mm: float | None
    stations: tuple[StationResult, ...]
    taper_coverage_factor: float | None = None
    acceptance_lower_mm: float | None = None
    acceptance_upper_mm: float | None = None


@dataclass(frozen=True, slots=True)
class YokeResult:
    lateral_offset_mm: float | None = None
    lateral_offset_expanded_uncertainty_mm: float | None = None
    tilt_deg: float | None = None
    tilt_expanded_uncertainty_deg: float | None = None
    seat_gap_mm: float | None = None
    seat_gap_expanded_uncertainty_mm: float | None = None
    clock_deg: float | None = None
    clock_expanded_uncertainty_deg: float | None = None
    engaged: bool | None = None
    lateral_offset_coverage_factor: float | None = None
    tilt_coverage_factor: float | None = None
    seat_gap_coverage_factor: float | None = None
    clock_coverage_factor: float | None = None


@dataclass(frozen=True, slots=True)
class TurnsResult:
    value: float | None
    expanded_uncertainty: float | None
    direction: Direction | None
    source: Literal["gap", "gap+clock"] | None
    instruction: str
    coverage_factor: float | None = None
    flat_probability: float | None = None
    gap_after_mm: float | None = None
    gap_after_expanded_uncertainty_mm: float | None = None


@dataclass(frozen=True, slots=True)
class BudgetLine:
    """One influence on one quantity; angular quantities carry degrees instead of mm.

    ``standard_uncertainty_*`` is the contribution, sensitivity times the input's standard
    uncertainty; the contributions add up in squares. ``degrees_of_freedom`` is None where
    they are infinite. A source that is several correlated inputs counts as one standardised
    input, without unit.
    """

    quantity: str
    source: str
    type: Literal["A", "B"]
    standard_uncertainty_mm: float | None
    standard_uncertainty_deg: float | None = None
    share: float | None = None  # of the quantity's variance
    sensitivity: float | None = None  # the quantity's unit per the input's
    input_standard_uncertainty: float | None = None
    input_unit: str = ""
    degrees_of_freedom: float | None = None


@dataclass(frozen=True, slots=True)
class CharacteristicResult:
    """A figure with its limits and the guarded ones; ``unit`` is mm or deg.

    ``acceptance_lower`` and ``acceptance_upper`` are None where the uncertainty leaves no room
    between the limits.
    """

    quantity: str
    unit: str
    value: float
    expanded_uncertainty: float
    lower: float
    upper: float
    acceptance_lower: float | None
    acceptance_upper: float | None
    conformance_probability: float
    accepted: bool


@dataclass(frozen=True, slots=True)
class DecisionResult:
    """The rule applied, and the risk that at least one characteristic does not conform.

    ``joint_risk`` allows for the inputs that figures share, ``joint_risk_at_most`` holds
    whatever goes together; both are None where nothing was judged.
    """

    rule: str
    conformance_probability: float
    joint_risk: float | None
    joint_risk_independent: float | None
    joint_risk_at_most: float | None
    characteristics: tuple[CharacteristicResult, ...]


@dataclass(frozen=True, slots=True)
class ViewResult:
    distance_mm: float | None
    tilt_deg: float | None
    px_per_mm: float | None
    marks_found: tuple[int, ...]
    marks_refused: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class CheckResult:
    """One photo checked. ``evidence`` holds what was found in the picture, for drawing.

    Several photos solved together are one result too: ``joint`` then says what each of them
    says, and ``photo`` and ``view`` are those of the first that was used.
    """

    photo: PhotoFacts
    gauge: str | None
    frame: str | None
    door: int | None
    camera: str
    verdict: Verdict
    borderline: bool
    reasons: tuple[Reason, ...]
    gap: GapResult | None
    yoke: YokeResult
    turns: TurnsResult
    uncertainty_budget: tuple[BudgetLine, ...]
    view: ViewResult
    version: str
    schema: str = SCHEMA
    decision: DecisionResult | None = None
    joint: JointResult | None = None
    evidence: object | None = field(default=None, repr=False, compare=False)
