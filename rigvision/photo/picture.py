"""A file into trustworthy pixels: checked, decoded once, upright, hashed.

The original file is opened for reading and never written.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
from PIL import Image

from rigvision.ground.shown import one_line
from rigvision.photo.colour import in_srgb
from rigvision.photo.exif import Exif, read_exif
from rigvision.photo.file_bytes import file_bytes
from rigvision.photo.lens_hint import LensHint, lens_hint
from rigvision.photo.luma import LumaArray, bits_per_channel, decode_luma, luma_steps
from rigvision.photo.opened import CONTAINERS, damaged, opened
from rigvision.photo.quantisation import ijg_quality
from rigvision.photo.stored import Stored
from rigvision.photo.tone_curve import LinearArray, light_table, srgb_light

IndexArray = npt.NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Picture:
    """A photo as a person sees it: upright luma codes (H, W), and what the file says.

    ``luma`` keeps the file's own precision, 8 or 16 bit. It is the encoded brightness;
    ``linear`` undoes the encoding.
    """

    path: Path
    name: str
    sha256: str
    luma: LumaArray
    exif: Exif
    container: str = "PNG"  # JPEG, HEIC, PNG, TIFF, WebP
    bits_per_channel: int = 8
    #: Quantisation steps (64) of a JPEG's luma, row by row; None for others.
    jpeg_luma_steps: tuple[int, ...] | None = None
    #: Light (256,) or (65536,) of each code; None for sRGB's own.
    light: LinearArray | None = None

    @property
    def width_px(self) -> int:
        return int(self.luma.shape[1])

    @property
    def height_px(self) -> int:
        return int(self.luma.shape[0])

    @property
    def jpeg_quality(self) -> int | None:
        """The quality, 1 to 100, of the usual encoder that loses about as much."""
        return ijg_quality(self.jpeg_luma_steps) if self.jpeg_luma_steps else None

    @property
    def stored(self) -> Stored:
        longer_px = max(self.width_px, self.height_px)
        by_camera = (self.exif.camera_name or self.exif.focal_35mm) is not None
        return Stored(self.jpeg_quality, longer_px, by_camera)

    @property
    def lens(self) -> LensHint:
        return lens_hint(self.exif.lens_tags, self.width_px, self.height_px)

    def linear(self, left: int, top: int, right: int, bottom: int) -> LinearArray:
        """Linear-light luminance, 0..1, of the box [top:bottom, left:right]."""
        box = self.luma[top:bottom, left:right]
        if box.dtype == np.uint8:
            return np.asarray(cv2.LUT(box, self._table()), dtype=np.float32)
        return np.asarray(self._table()[box])

    def linear_at(self, row: IndexArray, column: IndexArray) -> LinearArray:
        """Linear-light luminance, 0..1, of single pixels (...) of the picture."""
        return np.asarray(self._table().take(self.luma.ravel().take(row * self.width_px + column)))

    def _table(self) -> LinearArray:
        if self.light is not None:
            return self.light
        return _LINEAR_8BIT if self.luma.dtype == np.uint8 else _linear_16bit()


def read_picture(path: str | os.PathLike[str]) -> Picture:
    """Read a photo.

    Raises PhotoError with one sentence of cause and remedy for whatever is not a
    complete picture of a known format and sane size.
    """
    path = Path(path)
    return picture_of(path, file_bytes(path, shown_name(path)))


def picture_of(path: Path, data: bytes) -> Picture:
    """The picture in a photo's bytes; ``path`` is only named, never opened."""
    name = shown_name(path)
    with opened(data, name) as image:
        exif = read_exif(image)
        luma = decode_luma(image, data, name)
        return Picture(
            path=path,
            name=name,
            sha256=hashlib.sha256(data).hexdigest(),
            luma=np.asarray(_UPRIGHT[_turn_needed(image, exif)](luma)),
            exif=exif,
            container=CONTAINERS[image.format or ""],
            bits_per_channel=bits_per_channel(image, luma),
            jpeg_luma_steps=luma_steps(image),
            light=_light(image, luma),
        )


def read_colour(path: Path) -> Image.Image:
    """The same photo upright in sRGB, for drawing on."""
    return colour_of(path, file_bytes(path, shown_name(path)))


def colour_of(path: Path, data: bytes) -> Image.Image:
    """The colours in a photo's bytes; ``path`` is only named, never opened."""
    name = shown_name(path)
    with opened(data, name) as image:
        turn = _TURN.get(_turn_needed(image, read_exif(image)))
        try:
            colours = in_srgb(image)
        except (OSError, ValueError, SyntaxError, MemoryError, EOFError, RuntimeError) as error:
            raise damaged(name, error) from error
    return colours if turn is None else colours.transpose(turn)


def upright(codes: Any, image: Image.Image) -> Any:
    """Decoded codes (H, W) or (H, W, 3) as a person sees them, by what the file says."""
    return np.asarray(_UPRIGHT[_turn_needed(image, read_exif(image))](codes))


def _turn_needed(image: Image.Image, exif: Exif) -> int:
    """The EXIF orientation that decoding leaves to be done.

    Pillow turns TIFF itself. HEIC's boxes ``irot`` and ``imir`` turn it while it is decoded;
    its EXIF orientation is information only, also where there is no such box (ISO/IEC
    23008-12, 6.5.10, and its Annex A for EXIF): phones write both, and viewers follow the boxes.
    """
    return 1 if image.format in ("TIFF", "HEIF") else exif.orientation


def shown_name(path: Path) -> str:
    """A file's name as it is shown; a folder given as ``.`` or ``/`` has but its path."""
    return safe_name(path.name or str(path))


def safe_name(name: str) -> str:
    """A file name fit to be shown: one line, no control or direction marks, not too long."""
    return one_line(name, 80)


def _light(image: Image.Image, luma: LumaArray) -> LinearArray | None:
    """What was converted to sRGB by tables is sRGB now, and so says its profile: no curve."""
    return light_table(image, 256 if luma.dtype == np.uint8 else 65536)


#: What EXIF orientation n needs to stand upright (EXIF 2.32, tag 0x0112). OpenCV turns 12 MP
#: in 4 ms; numpy took 76, more than all the rest of a portrait picture's check.
_UPRIGHT: dict[int, Callable[[Any], Any]] = {
    1: lambda a: a,
    2: lambda a: cv2.flip(a, 1),
    3: lambda a: cv2.rotate(a, cv2.ROTATE_180),
    4: lambda a: cv2.flip(a, 0),
    5: cv2.transpose,
    6: lambda a: cv2.rotate(a, cv2.ROTATE_90_CLOCKWISE),
    7: lambda a: cv2.flip(cv2.transpose(a), -1),
    8: lambda a: cv2.rotate(a, cv2.ROTATE_90_COUNTERCLOCKWISE),
}


#: The same turns in Pillow's words.
_TURN = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}

_LINEAR_8BIT = srgb_light(np.arange(256) / 255.0).astype(np.float32)


@lru_cache(maxsize=1)
def _linear_16bit() -> LinearArray:
    return srgb_light(np.arange(65536) / 65535.0).astype(np.float32)
