"""What is known of the camera before the photo: from its file, and from what the photo says."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot
from typing import Literal

import numpy as np

from rigvision.ground.conventions import FULL_FRAME_DIAGONAL_MM
from rigvision.photo.picture import Picture
from rigvision.world.camera import Camera

#: Where a focal length comes from: a calibration of this camera, what the photo's file says, the
#: marks in the picture themselves, or a guess at the usual phone.
FocalSource = Literal["calibration", "exif", "picture", "assumed"]

#: Standard uncertainty of the principal point of a piece cut out of a larger picture, part of its
#: longer side: half of the pieces of half a picture lie further out than a third of that side.
PIECE_PER_WIDTH = 0.35
#: Of the distortion of an ultra-wide lens, of which no firmware takes off all.
WIDE_K1 = 0.05
#: By how much a file may be off that looks right, relative standard uncertainty: zoomed by cutting,
#: from another lens of the phone, or written by a program. Common practice, no source: 10 % within
#: 95 %; what is much further off shows. It counts as far as the picture does not confirm it.
UNCONFIRMED_FOCAL = 0.05


@dataclass(frozen=True, slots=True)
class CameraPrior:
    """What is known of the camera before the photo: values and standard uncertainties."""

    focal_px: float
    focal_relative_uncertainty: float
    principal_point_px: tuple[float, float]
    principal_point_uncertainty_px: float
    k1: float
    k1_uncertainty: float
    focal_source: FocalSource = "exif"
    #: Of the focal length, on top of its uncertainty, as far as the picture leaves it to the prior:
    #: not weighed in the solve, but claimed.
    focal_unconfirmed: float = 0.0

    @property
    def focal_known(self) -> bool:
        """Whether anything but a guess stands behind the focal length."""
        return self.focal_source != "assumed"


def camera_prior(camera: Camera, picture: Picture) -> CameraPrior:
    """Prior from the camera's file and, for a camera without calibration, the photo's EXIF."""
    width_px, height_px = picture.width_px, picture.height_px
    lens, focal = picture.lens, camera.focal
    diagonal_px = float(np.hypot(width_px, height_px))
    source: FocalSource = "assumed"
    value = focal.default_35mm * diagonal_px / FULL_FRAME_DIAGONAL_MM
    relative = focal.default_relative_uncertainty
    # A calibration holds for the whole frame, not for a piece or a zoom.
    if focal.calibrated_px_per_diagonal is not None and lens.doubt in (None, "absent"):
        source, value = "calibration", focal.calibrated_px_per_diagonal * diagonal_px
        relative = focal.calibrated_relative_uncertainty or focal.exif_relative_uncertainty
    elif lens.focal_px is not None:
        source, value = "exif", lens.focal_px
        relative = hypot(focal.exif_relative_uncertainty, lens.extra_relative_uncertainty)
    longer_px = max(width_px, height_px)
    offset, centre = camera.principal_point.offset_px_per_width, camera.principal_point
    apart = PIECE_PER_WIDTH if lens.off_centre else centre.uncertainty_per_width
    k1_uncertainty = camera.distortion.k1_uncertainty
    return CameraPrior(
        value,
        relative,
        ((width_px - 1) / 2 + offset[0] * longer_px, (height_px - 1) / 2 + offset[1] * longer_px),
        apart * longer_px,
        camera.distortion.k1,
        max(k1_uncertainty, WIDE_K1) if lens.wide else k1_uncertainty,
        source,
        UNCONFIRMED_FOCAL if source == "exif" else 0.0,
    )
