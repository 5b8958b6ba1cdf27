"""What a file says of the lens, weighed: a focal length to start from, or why there is none.

A focal length "equivalent to 35 mm film" names the angle of view of the whole frame that the
camera recorded. It says nothing of this picture once somebody cut a piece out of it, and half
the phones leave it as it was when they zoom by cutting. What contradicts itself is not
believed: the marks then tell the focal length, less well, but truly.

What the tags mean: EXIF 2.32 (CIPA DC-008), 4.6.5. How phones fill them in: common practice,
no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from rigvision.ground.conventions import FULL_FRAME_DIAGONAL_MM

#: Why the stated focal length is not believed.
Doubt = Literal["absent", "absurd", "contradictory", "zoomed", "cropped", "stitched"]
#: What the camera's software made of the shot, where it says so.
Rendering = Literal["panorama", "portrait"]


@dataclass(frozen=True, slots=True)
class LensTags:
    """What EXIF states, unweighed. None where absent; NaN where it is no number, as 0/0."""

    focal_35mm: float | None = None
    focal_mm: float | None = None
    zoom_ratio: float | None = None
    recorded_px: tuple[int, int] | None = None  # the picture's size as the camera wrote it
    rendering: Rendering | None = None


@dataclass(frozen=True, slots=True)
class LensHint:
    """A hint for the solve, never a truth.

    ``extra_relative_uncertainty`` is a standard uncertainty of ``focal_px`` on top of what
    the camera's file states for focal lengths from EXIF; they add up in squares. With a doubt
    other than "absent", nothing the file says of its focal length holds for this picture.
    """

    focal_px: float | None
    extra_relative_uncertainty: float
    doubt: Doubt | None
    off_centre: bool  # a piece of a larger picture: the optical axis may pierce it anywhere
    wide: bool  # by a lens that no firmware straightens fully, or none at all


@dataclass(frozen=True, slots=True)
class LensTuning:
    #: Lenses of phones and cameras, mm equivalent; what lies outside is a mistake. Wider: an
    #: inhuman lens is believed. Narrower: a true one is not, and the marks must do.
    plausible_35mm: tuple[float, float] = (10.0, 240.0)
    #: Equivalent over true focal length: 0.6 a sensor twice as large as film, 14 one of 3 mm.
    plausible_crop_factor: tuple[float, float] = (0.6, 14.0)
    #: A zoom ratio this near to 1 is none, relative. Firmware writes 1.01 for 1.
    zoom_slack: float = 0.02
    #: Below this, mm equivalent, lenses are ultra-wide: k1 is tens of per cent before the
    #: firmware's correction, and what is left of it is more than a main camera's.
    wide_35mm: float = 18.0
    #: A turn without loss drops the rest of a block of 16 pixels; that is no crop. px
    block_px: int = 16
    #: Shapes that cameras give pictures, longer over shorter side, with their slack, relative.
    #: Any other is a piece cut out by hand.
    shapes: tuple[float, ...] = (1.0, 1.25, 4 / 3, 1.5, 16 / 9)
    shape_slack: float = 0.01
    #: Screens are of every shape between these, and phones offer their own.
    screen_shapes: tuple[float, float] = (1.98, 2.35)
    #: Of phones' sensors; other shapes are cut from it.
    sensor_shape: float = 4 / 3
    #: Focal lengths are rounded to 1 mm; a camera's stated uncertainty holds at this one, mm.
    usual_35mm: float = 26.0


def lens_hint(
    tags: LensTags, width_px: int, height_px: int, tuning: LensTuning | None = None
) -> LensHint:
    """What is to be believed of ``tags`` for a picture of this size, either way up."""
    tuning = tuning or LensTuning()
    size_px = max(width_px, height_px), min(width_px, height_px)
    piece = _is_piece(tags, size_px, tuning)
    doubt = _doubt(tags, piece, tuning)
    focal_35mm = tags.focal_35mm
    if doubt or focal_35mm is None:
        wide = doubt in ("zoomed", "cropped") and (focal_35mm or math.inf) < tuning.wide_35mm
        return LensHint(None, 0.0, doubt, piece, wide)
    own, sensor = math.hypot(*size_px), _sensor_diagonal_px(size_px, tuning)
    # Equally likely to refer to either diagonal: their mean, and half their distance.
    focal_px = focal_35mm * (own + sensor) / 2 / FULL_FRAME_DIAGONAL_MM
    from_shape = (sensor - own) / (sensor + own)
    extra = math.hypot(from_shape, _rounding_beyond_usual(focal_35mm, tuning))
    return LensHint(focal_px, extra, None, False, focal_35mm < tuning.wide_35mm)


def _doubt(tags: LensTags, piece: bool, tuning: LensTuning) -> Doubt | None:
    """The first reason not to believe the equivalent focal length; 0 stands for unknown."""
    if tags.rendering == "panorama":
        return "stitched"
    if tags.focal_35mm is None or tags.focal_35mm == 0:
        return "absent"
    low, high = tuning.plausible_35mm
    if not low <= tags.focal_35mm <= high:  # nor is NaN
        return "absurd"
    if tags.focal_mm and not math.isnan(tags.focal_mm):
        low, high = tuning.plausible_crop_factor
        if not low <= tags.focal_35mm / tags.focal_mm <= high:
            return "contradictory"
    # A ratio of 0 says that there was no zoom, as does 1; 0/0 says nothing.
    if tags.zoom_ratio and abs(tags.zoom_ratio - 1.0) > tuning.zoom_slack:
        return "zoomed"
    return "cropped" if piece else None


def _is_piece(tags: LensTags, size_px: tuple[int, int], tuning: LensTuning) -> bool:
    """Whether the picture, (longer, shorter) px, is cut out of what the camera recorded.

    A copy in another size keeps its shape. A piece of the same shape as the whole cannot be
    told from it.
    """
    if tags.recorded_px:
        longer, shorter = max(tags.recorded_px), min(tags.recorded_px)
        alike = abs(size_px[1] - size_px[0] * shorter / longer) <= 1.0
        trimmed = (0 <= longer - size_px[0] < tuning.block_px) and (
            0 <= shorter - size_px[1] < tuning.block_px
        )
        if not (alike or trimmed):
            return True
    shape = size_px[0] / size_px[1]
    low, high = tuning.screen_shapes
    usual = any(abs(shape / s - 1.0) <= tuning.shape_slack for s in tuning.shapes)
    return not (usual or low <= shape <= high)


def _sensor_diagonal_px(size_px: tuple[int, int], tuning: LensTuning) -> float:
    """Diagonal of the smallest frame of a sensor's shape that holds the picture."""
    longer = max(size_px[0], size_px[1] * tuning.sensor_shape)
    shorter = longer / tuning.sensor_shape
    return math.hypot(longer, shorter)


def _rounding_beyond_usual(focal_35mm: float, tuning: LensTuning) -> float:
    """By how much rounding to 1 mm counts for more than at the usual length, relative."""
    here, usual = (1.0 / math.sqrt(12.0) / f for f in (focal_35mm, tuning.usual_35mm))
    return math.sqrt(max(here**2 - usual**2, 0.0))
