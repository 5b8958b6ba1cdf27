"""A photo's colours as quickly as they can be trusted, for pages that show many photos.

A plain JPEG is decoded once, as carefully as for a check, and keeps its own orientation and colour
space: only the parts that are shown are turned upright and taken into sRGB. To turn 12 megapixels
takes as long as to decode them.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
from PIL import Image

from rigvision.photo.colour import in_srgb
from rigvision.photo.file_bytes import file_bytes
from rigvision.photo.jpeg import decode_jpeg
from rigvision.photo.opened import damaged, opened
from rigvision.photo.picture import colour_of, shown_name, turn_needed, turned_upright

ColourArray = npt.NDArray[np.uint8]

#: Along which of the upright picture's ways stored rows and columns run, by EXIF's orientation
#: (EXIF 2.32, tag 0x0112); "-" is against it.
_WAYS = {
    1: ("y", "x"),
    2: ("y", "-x"),
    3: ("-y", "-x"),
    4: ("-y", "x"),
    5: ("x", "y"),
    6: ("-x", "y"),
    7: ("-x", "-y"),
    8: ("x", "-y"),
}


@dataclass(frozen=True, slots=True)
class ColourCodes:
    """RGB codes (h, w, 3) as stored, and EXIF's ``orientation`` that makes them upright.

    They are of the space that ``profile`` names; sRGB's where None.
    """

    stored: ColourArray
    profile: bytes | None = None
    orientation: int = 1

    @property
    def width_px(self) -> int:
        """Of the upright picture."""
        return int(self.stored.shape[0 if self.orientation >= 5 else 1])

    @property
    def height_px(self) -> int:
        """Of the upright picture."""
        return int(self.stored.shape[1 if self.orientation >= 5 else 0])

    def whole(self) -> ColourArray:
        """All of it, upright."""
        return self.part(0, 0, self.width_px, self.height_px)

    def part(self, left: int, top: int, right: int, bottom: int) -> ColourArray:
        """The box [top:bottom, left:right] of the upright picture, in which it lies."""
        spans = {
            "x": (left, right),
            "-x": (self.width_px - right, self.width_px - left),
            "y": (top, bottom),
            "-y": (self.height_px - bottom, self.height_px - top),
        }
        rows, columns = (spans[way] for way in _WAYS[self.orientation])
        piece = self.stored[rows[0] : rows[1], columns[0] : columns[1]]
        return np.asarray(turned_upright(piece, self.orientation))

    def srgb(self, part: ColourArray) -> ColourArray:
        """A part of the codes, however it was scaled, in sRGB."""
        if self.profile is None:
            return part
        image = Image.fromarray(part)
        image.info["icc_profile"] = self.profile
        return np.asarray(in_srgb(image))


def read_colour_codes(path: Path, *, guarded: bool = False) -> ColourCodes:
    """Read a photo. ``guarded`` decodes it in a locked-down process. Raises PhotoError."""
    if guarded:
        from rigvision.photo.guarded_picture import read_colour_guarded

        return ColourCodes(np.asarray(read_colour_guarded(path)))
    name = shown_name(path)
    return colour_codes_of(path, file_bytes(path, name))


def colour_codes_of(path: Path, data: bytes) -> ColourCodes:
    """The colours in a photo's bytes; ``path`` is only named. Raises PhotoError."""
    name = shown_name(path)
    with opened(data, name) as image:
        if image.format not in ("JPEG", "MPO") or image.mode != "RGB":
            return ColourCodes(np.asarray(colour_of(path, data)))
        try:
            codes = decode_jpeg(data, "RGB")
        except (ValueError, MemoryError) as error:
            raise damaged(name, error) from error
        return ColourCodes(codes, image.info.get("icc_profile"), turn_needed(image))
