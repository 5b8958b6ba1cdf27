"""What the camera says about the photo. Hints for the solver, never truths."""

from __future__ import annotations

import math
import re
import warnings
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from PIL import ExifTags, Image

from rigvision.ground.conventions import FULL_FRAME_DIAGONAL_MM
from rigvision.photo.lens_hint import LensTags, LensTuning, Rendering

_DATE = re.compile(r"(\d{4}):(\d\d):(\d\d) (\d\d):(\d\d):(\d\d)")
_OFFSET = re.compile(r"[+-]\d\d:\d\d")

#: What the largest maker of phones writes into CustomRendered beyond the standard's 0 and 1
#: (ExifTool's table of EXIF tags, 0xa401).
_RENDERINGS: dict[object, Rendering] = {6: "panorama", 7: "portrait", 8: "portrait"}
#: Sides beyond this are no picture's, px.
_LONGEST_SIDE_PX = 100_000


@dataclass(frozen=True, slots=True)
class Exif:
    """The few EXIF facts that are used; None where absent or absurd."""

    orientation: int = 1
    taken_at: str | None = None
    camera_name: str | None = None
    focal_35mm: float | None = None
    lens_tags: LensTags = field(default_factory=LensTags)

    def focal_px(self, width_px: int, height_px: int) -> float | None:
        """Focal length in pixels from the 35-mm equivalent, which refers to the diagonal.

        Unweighed; ``lens_hint`` says whether it is to be believed.
        """
        if self.focal_35mm is None:
            return None
        return self.focal_35mm * math.hypot(width_px, height_px) / FULL_FRAME_DIAGONAL_MM


def read_exif(image: Image.Image) -> Exif:
    """EXIF facts of an opened image. Damaged EXIF counts as absent: it is a hint only."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # what is wrong in it shows by being absent
            main = image.getexif()
            detail = main.get_ifd(ExifTags.IFD.Exif)
        lens_tags = _lens_tags(detail)
        orientation: Any = main.get(ExifTags.Base.Orientation)
        return Exif(
            orientation=int(orientation) if orientation in range(1, 9) else 1,
            taken_at=_taken_at(detail),
            camera_name=_camera_name(main),
            focal_35mm=_plausible(lens_tags.focal_35mm),
            lens_tags=lens_tags,
        )
    except (OSError, ValueError, SyntaxError, LookupError, TypeError, ArithmeticError):
        return Exif()


def _taken_at(detail: Mapping[int, Any]) -> str | None:
    """DateTimeOriginal as ISO 8601, with the time zone where the phone wrote it."""
    found = _DATE.fullmatch(str(detail.get(ExifTags.Base.DateTimeOriginal, "")).strip("\0 "))
    if not found:
        return None
    year, month, day, hour, minute, second = found.groups()
    offset = str(detail.get(ExifTags.Base.OffsetTimeOriginal, "")).strip("\0 ")
    zone = offset if _OFFSET.fullmatch(offset) else ""
    return f"{year}-{month}-{day}T{hour}:{minute}:{second}{zone}"


def _camera_name(main: Image.Exif) -> str | None:
    model = str(main.get(ExifTags.Base.Model, ""))
    shown = "".join(c for c in model if c.isprintable()).strip()[:64]
    return shown or None


def _lens_tags(detail: Mapping[int, Any]) -> LensTags:
    rendering = _number(detail, ExifTags.Base.CustomRendered)
    return LensTags(
        focal_35mm=_number(detail, ExifTags.Base.FocalLengthIn35mmFilm),
        focal_mm=_number(detail, ExifTags.Base.FocalLength),
        zoom_ratio=_number(detail, ExifTags.Base.DigitalZoomRatio),
        recorded_px=_recorded_px(detail),
        rendering=_RENDERINGS.get(rendering),
    )


def _recorded_px(detail: Mapping[int, Any]) -> tuple[int, int] | None:
    width = _number(detail, ExifTags.Base.ExifImageWidth)
    height = _number(detail, ExifTags.Base.ExifImageHeight)
    if width is None or height is None:
        return None
    whole = 1 <= width <= _LONGEST_SIDE_PX and 1 <= height <= _LONGEST_SIDE_PX
    return (int(width), int(height)) if whole else None


def _number(detail: Mapping[int, Any], tag: int) -> float | None:
    """A tag's value; None where there is none, NaN where it is no number."""
    value = detail.get(tag)
    if value is None:
        return None
    try:
        return float(value)
    except (TypeError, ValueError, ArithmeticError):
        return math.nan


def _plausible(focal_35mm: float | None) -> float | None:
    low, high = LensTuning().plausible_35mm
    return focal_35mm if focal_35mm is not None and low <= focal_35mm <= high else None
