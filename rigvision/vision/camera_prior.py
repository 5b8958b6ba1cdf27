"""What is known of the camera before the photo: from its file, and from what the photo says."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigvision.ground.conventions import FULL_FRAME_DIAGONAL_MM
from rigvision.photo.picture import Picture
from rigvision.world.camera import Camera


@dataclass(frozen=True, slots=True)
class CameraPrior:
    """What is known of the camera before the photo: values and standard uncertainties."""

    focal_px: float
    focal_relative_uncertainty: float
    principal_point_px: tuple[float, float]
    principal_point_uncertainty_px: float
    k1: float
    k1_uncertainty: float
    focal_known: bool = True


def camera_prior(camera: Camera, picture: Picture) -> CameraPrior:
    """Prior from the camera's file and, for a camera without calibration, the photo's EXIF."""
    width_px, height_px = picture.width_px, picture.height_px
    focal_px = picture.exif.focal_px(width_px, height_px)
    diagonal_px = float(np.hypot(width_px, height_px))
    focal = camera.focal
    if focal.calibrated_px_per_diagonal is not None:
        value = focal.calibrated_px_per_diagonal * diagonal_px
        relative = focal.calibrated_relative_uncertainty or focal.exif_relative_uncertainty
    elif focal_px is not None:
        value, relative = focal_px, focal.exif_relative_uncertainty
    else:
        value = focal.default_35mm * diagonal_px / FULL_FRAME_DIAGONAL_MM
        relative = focal.default_relative_uncertainty
    longer_px = max(width_px, height_px)
    offset = camera.principal_point.offset_px_per_width
    return CameraPrior(
        value,
        relative,
        ((width_px - 1) / 2 + offset[0] * longer_px, (height_px - 1) / 2 + offset[1] * longer_px),
        camera.principal_point.uncertainty_per_width * longer_px,
        camera.distortion.k1,
        camera.distortion.k1_uncertainty,
        focal_known=focal_px is not None or focal.calibrated_px_per_diagonal is not None,
    )
