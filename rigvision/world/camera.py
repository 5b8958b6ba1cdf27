"""What is known of a camera before the photo: focal length, centre, distortion, and how well."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from rigvision.world.model import Name, Point, Positive, Table


class Focal(Table):
    default_35mm: Positive
    default_relative_uncertainty: Positive
    exif_relative_uncertainty: Positive
    calibrated_px_per_diagonal: Positive | None = Field(
        default=None, description="focal length over the picture's diagonal, from a calibration"
    )
    calibrated_relative_uncertainty: Positive | None = None


class PrincipalPoint(Table):
    offset_px_per_width: Point
    uncertainty_per_width: Positive


class Distortion(Table):
    """x_distorted = x (1 + k1 r^2) in normalised image coordinates."""

    k1: float
    k1_uncertainty: Positive


class Camera(Table):
    """A camera or a kind of camera, read from ``models/cameras/NAME.toml``."""

    schema_: Literal["rigvision.camera/1"] = Field(alias="schema")
    name: Name
    description: str = Field(max_length=200)
    focal: Focal
    principal_point: PrincipalPoint
    distortion: Distortion
