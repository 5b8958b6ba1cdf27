"""The frame that the doors sit in: sill, door, socket, limits and drive, in gauge axes."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from rigvision.world.model import Name, NotNegative, Positive, Range, Table


class Sill(Table):
    """The edge that seats the gauge; its outer face is also the door's."""

    face_z_mm: float
    edge_y_mm: float
    edge_y_tolerance_mm: Positive
    edge_tilt_tolerance_deg: Positive
    edge_radius_mm: NotNegative
    thickness_mm: Positive


class Door(Table):
    span_x_mm: Range
    thickness_mm: Positive


class Surroundings(Table):
    duct_back_z_mm: float
    pocket_x_mm: Range
    pocket_y_mm: Range
    pocket_floor_z_mm: float


class GapLimits(Table):
    stations_x_mm: tuple[float, ...] = Field(min_length=2, max_length=101)
    nominal_mm: Positive
    lower_mm: NotNegative
    upper_mm: Positive
    taper_limit_mm: Positive

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if not self.lower_mm <= self.nominal_mm <= self.upper_mm:
            raise ValueError(
                f"nominal_mm = {self.nominal_mm} must lie between lower_mm = {self.lower_mm} "
                f"and upper_mm = {self.upper_mm}"
            )
        if list(self.stations_x_mm) != sorted(set(self.stations_x_mm)):
            raise ValueError("stations_x_mm must rise from left to right, none twice")
        return self


class YokeLimits(Table):
    lateral_offset_mm: Positive
    tilt_deg: Positive
    seat_gap_mm: Positive
    clock_deg: Positive


class Socket(Table):
    """End of the actuator's drive: a barrel with its axis along x."""

    axis_y_mm: float
    axis_z_mm: float
    radius_mm: Positive
    face_x_mm: float
    barrel_end_x_mm: float
    bore_mm: Positive
    flats: int = Field(ge=1, le=24)
    index_line_width_mm: Positive | None = None
    index_line_length_mm: Positive | None = None

    @model_validator(mode="after")
    def _lines_are_whole_or_absent(self) -> Self:
        if (self.index_line_width_mm is None) != (self.index_line_length_mm is None):
            raise ValueError("index lines need index_line_width_mm and index_line_length_mm")
        if self.barrel_end_x_mm <= self.face_x_mm:
            raise ValueError("barrel_end_x_mm must be greater than face_x_mm")
        return self


class Drive(Table):
    """From a turn of the wrench at the socket to a change of the gap."""

    screw_lead_mm: Positive
    socket_turns_per_screw_turn: Positive
    door_motion_ratio: Positive
    closing_direction: Literal["clockwise", "counter-clockwise"]
    backlash_turns: NotNegative
    gap_clock_spread_mm: NotNegative
    opening_moves_socket_front: Literal["+y", "-y"]

    @property
    def gap_per_socket_turn_mm(self) -> float:
        """Gap change for one turn of the wrench: lead / bevel ratio * door motion ratio."""
        return self.screw_lead_mm / self.socket_turns_per_screw_turn * self.door_motion_ratio


Probability = Annotated[float, Field(gt=0.0, lt=1.0)]


class DecisionRule(Table):
    """How figures near a limit are judged (JCGM 106:2012, 8; ISO 14253-1).

    ``guarded-acceptance``: a figure passes where it conforms with at least
    ``conformance_probability``; the risk at the guarded limit is 1 less that.
    ``simple-acceptance``: it passes where its value lies inside its limits.
    """

    rule: Literal["guarded-acceptance", "simple-acceptance"] = "guarded-acceptance"
    conformance_probability: float = Field(default=0.95, gt=0.5, lt=1.0)
    # Between these probabilities of conformity people would disagree: a borderline shot.
    borderline_probabilities: tuple[Probability, Probability] = (0.05, 0.95)
    # Below this probability of lying within its tolerances the gauge counts as not seated.
    # Less than even: the sill is read less surely than the gap, and a seat a little off moves
    # both edges.
    seated_probability: Probability = 0.2
    # Below this probability of being right a flat is not certain, and the next is named.
    flat_probability: float = Field(default=0.95, gt=0.5, lt=1.0)

    @model_validator(mode="after")
    def _borderline_in_order(self) -> Self:
        low, high = self.borderline_probabilities
        if low >= high:
            raise ValueError(
                f"borderline_probabilities = {[low, high]}: the first must be the smaller"
            )
        return self


class Frame(Table):
    """A frame with its doors, read from ``models/frames/NAME.toml``."""

    schema_: Literal["rigvision.frame/1"] = Field(alias="schema")
    name: Name
    description: str = Field(max_length=200)
    doors: int = Field(ge=1, le=999)
    gauges: tuple[Name, ...] = Field(min_length=1)
    sill: Sill
    door: Door
    surroundings: Surroundings
    gap: GapLimits
    yoke_limits: YokeLimits | None = None
    socket: Socket | None = None
    drive: Drive
    decision: DecisionRule = DecisionRule()
