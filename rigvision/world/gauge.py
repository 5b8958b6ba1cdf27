"""The rig gauge: its plate, windows, marks and yoke, in gauge axes and millimetres."""

from __future__ import annotations

from datetime import date
from typing import Any, Literal, Self

import numpy as np
from pydantic import Field, field_validator, model_validator

from rigvision.ground.conventions import CORNER_SIGNS, FloatArray
from rigvision.world.model import Name, NotNegative, Point, Positive, Range, Table

#: Ids of the AprilTag 36h11 family run from 0 to 586.
TAG_36H11_IDS = 587


class Plate(Table):
    x_mm: Range
    y_mm: Range
    z_mm: Range = Field(description="back and front; the front is the marks plane, 0")
    thermal_expansion_per_K: NotNegative = Field(lt=1e-3)


class Windows(Table):
    """Openings cut right through the plate, and so seen through its thickness."""

    gap_x_mm: Range
    gap_y_mm: Range
    yoke_x_mm: Range
    yoke_y_mm: Range


class Marks(Table):
    """AprilTags on the gauge's front face, each upright when +y is up."""

    family: Literal["36h11"]
    size_mm: Positive = Field(description="outer edge of the black border")
    pad_mm: Positive
    position_uncertainty_mm: NotNegative = Field(lt=1.0)
    centres_mm: dict[int, Point]

    @field_validator("centres_mm", mode="before")
    @classmethod
    def _ids_are_numbers(cls, value: Any) -> Any:
        if not isinstance(value, dict):
            return value
        wrong = [key for key in value if not (str(key).isascii() and str(key).isdigit())]
        if wrong:
            raise ValueError(f"mark id {wrong[0]!r} must be a whole number")
        return {int(key): centre for key, centre in value.items()}

    @model_validator(mode="after")
    def _enough_marks_of_the_family(self) -> Self:
        wrong = [i for i in self.centres_mm if not 0 <= i < TAG_36H11_IDS]
        if wrong:
            raise ValueError(f"mark id {wrong[0]}: the family has 0 to {TAG_36H11_IDS - 1}")
        if len(self.centres_mm) < 4:
            raise ValueError(f"{len(self.centres_mm)} marks: at least 4 are needed")
        if self.pad_mm <= self.size_mm:
            raise ValueError(f"pad_mm = {self.pad_mm}: the white pad must exceed the border")
        return self

    def corners_mm(self, mark_id: int) -> FloatArray:
        """Corners (4, 3) of one mark, in the order of ``CORNER_SIGNS``."""
        corners = np.zeros((4, 3))
        corners[:, :2] = np.asarray(self.centres_mm[mark_id]) + CORNER_SIGNS * self.size_mm / 2
        return corners


class Yoke(Table):
    """The yoke slides along x; its own axes have their origin in the middle of the shoulder."""

    tag_id: int | None = Field(default=None, ge=0, lt=TAG_36H11_IDS)
    tag_size_mm: Positive | None = None
    tag_pad_mm: Positive | None = None
    tag_centre_mm: Point | None = Field(default=None, description="in yoke axes")
    axis_y_mm: float
    face_z_mm: float
    body_length_mm: Positive
    body_width_mm: Positive
    tang_length_mm: Positive
    tang_width_mm: Positive
    index_line_width_mm: Positive | None = None
    index_line_length_mm: Positive | None = None

    @model_validator(mode="after")
    def _tag_is_whole_or_absent(self) -> Self:
        parts = (self.tag_id, self.tag_size_mm, self.tag_pad_mm, self.tag_centre_mm)
        if any(p is None for p in parts) and any(p is not None for p in parts):
            raise ValueError(
                "a yoke tag needs tag_id, tag_size_mm, tag_pad_mm and tag_centre_mm together"
            )
        return self

    def tag_corners_mm(self) -> FloatArray | None:
        """Corners (4, 2) of the yoke's tag in yoke axes; None where it carries no tag."""
        if self.tag_size_mm is None or self.tag_centre_mm is None:
            return None
        return np.asarray(self.tag_centre_mm) + CORNER_SIGNS * self.tag_size_mm / 2


class Calibration(Table):
    """When the gauge was last compared with a standard, and when it must be again."""

    certificate: str = Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9 ./_-]{0,63}$")
    calibrated_on: date
    due_on: date = Field(description="the last day on which it may be used")

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.due_on <= self.calibrated_on:
            raise ValueError(
                f"due_on = {self.due_on} must come after calibrated_on = {self.calibrated_on}"
            )
        return self


class Gauge(Table):
    """A rig gauge, read from ``models/gauges/NAME.toml``."""

    schema_: Literal["rigvision.gauge/1"] = Field(alias="schema")
    name: Name
    description: str = Field(max_length=200)
    plate: Plate
    windows: Windows
    marks: Marks
    yoke: Yoke | None = None
    calibration: Calibration | None = None

    @model_validator(mode="after")
    def _yoke_tag_is_its_own(self) -> Self:
        if self.yoke and self.yoke.tag_id in self.marks.centres_mm:
            raise ValueError(f"[yoke] tag_id = {self.yoke.tag_id} is also a mark of the plate")
        return self

    @property
    def tag_ids(self) -> frozenset[int]:
        """Ids of all tags that belong to this gauge, the yoke's included."""
        yoke_tag = {self.yoke.tag_id} if self.yoke and self.yoke.tag_id is not None else set()
        return frozenset(self.marks.centres_mm) | yoke_tag
