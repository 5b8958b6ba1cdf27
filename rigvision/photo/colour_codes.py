"""A photo's colours as quickly as they can be trusted, for pages that show many photos.

A plain JPEG is decoded once, as carefully as for a check, and keeps its own colour space: the
parts that are shown are taken into sRGB, not all of its pixels.
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
from rigvision.photo.picture import colour_of, shown_name, upright

ColourArray = npt.NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class ColourCodes:
    """Upright RGB codes (H, W, 3), of the space that ``profile`` names; sRGB's where None."""

    codes: ColourArray
    profile: bytes | None = None

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
        return ColourCodes(upright(codes, image), image.info.get("icc_profile"))
