"""What the camera says about the photo. Hints for the solver, never truths."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from PIL import ExifTags, Image

from rigvision.ground.conventions import FULL_FRAME_DIAGONAL_MM

_DATE = re.compile(r"(\d{4}):(\d\d):(\d\d) (\d\d):(\d\d):(\d\d)")
_OFFSET = re.compile(r"[+-]\d\d:\d\d")

#: Phones' main, wide and tele cameras lie well inside this; other values are mistakes.
PLAUSIBLE_35MM = (10.0, 240.0)


@dataclass(frozen=True, slots=True)
class Exif:
    """The few EXIF facts that are used; None where absent or absurd."""

    orientation: int = 1
    taken_at: str | None = None
    camera_name: str | None = None
    focal_35mm: float | None = None

    def focal_px(self, width_px: int, height_px: int) -> float | None:
        """Focal length in pixels from the 35-mm equivalent, which refers to the diagonal."""
        if self.focal_35mm is None:
            return None
        diagonal_px = float((width_px**2 + height_px**2) ** 0.5)
        return self.focal_35mm * diagonal_px / FULL_FRAME_DIAGONAL_MM


def read_exif(image: Image.Image) -> Exif:
    """EXIF facts of an opened image. Damaged EXIF counts as absent: it is a hint only."""
    try:
        main = image.getexif()
        detail = main.get_ifd(ExifTags.IFD.Exif)
    except (OSError, ValueError, SyntaxError, KeyError, TypeError, OverflowError):
        return Exif()
    orientation: Any = main.get(ExifTags.Base.Orientation)
    return Exif(
        orientation=int(orientation) if orientation in range(1, 9) else 1,
        taken_at=_taken_at(detail),
        camera_name=_camera_name(main),
        focal_35mm=_focal_35mm(detail),
    )


def _taken_at(detail: dict[int, Any]) -> str | None:
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


def _focal_35mm(detail: dict[int, Any]) -> float | None:
    try:
        focal = float(detail.get(ExifTags.Base.FocalLengthIn35mmFilm, 0))
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    low, high = PLAUSIBLE_35MM
    return focal if low <= focal <= high else None
