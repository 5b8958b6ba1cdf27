"""A file into trustworthy pixels: checked, decoded once, upright, hashed.

The original file is opened for reading and never written.
"""

from __future__ import annotations

import hashlib
import io
import os
import stat
import unicodedata
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
from PIL import Image, ImageOps, UnidentifiedImageError

from rigvision.ground.errors import PhotoError
from rigvision.photo.exif import Exif, read_exif
from rigvision.photo.lens_hint import LensHint, lens_hint
from rigvision.photo.shared_codes import shared_codes

#: Decoders that untrusted files may reach. Many phones' JPEGs are really MPO, which the
#: JPEG decoder recognises by itself; only their first picture is read.
FORMATS = ("JPEG", "PNG", "TIFF", "WEBP")
MAX_BYTES = 100_000_000
MAX_PIXELS = 120_000_000
#: Below this the gauge's marks cannot be told apart, wherever they are.
MIN_SIDE_PX = 240

LumaArray = npt.NDArray[np.uint8] | npt.NDArray[np.uint16]
IndexArray = npt.NDArray[np.intp]
LinearArray = npt.NDArray[np.float32]


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

    @property
    def width_px(self) -> int:
        return int(self.luma.shape[1])

    @property
    def height_px(self) -> int:
        return int(self.luma.shape[0])

    @property
    def lens(self) -> LensHint:
        return lens_hint(self.exif.lens_tags, self.width_px, self.height_px)

    def linear(self, left: int, top: int, right: int, bottom: int) -> LinearArray:
        """Linear-light luminance, 0..1, of the box [top:bottom, left:right]."""
        box = self.luma[top:bottom, left:right]
        if box.dtype == np.uint8:
            return np.asarray(cv2.LUT(box, _LINEAR_8BIT), dtype=np.float32)
        return _linear_16bit()[box]

    def linear_at(self, row: IndexArray, column: IndexArray) -> LinearArray:
        """Linear-light luminance, 0..1, of single pixels (...) of the picture."""
        table = _LINEAR_8BIT if self.luma.dtype == np.uint8 else _linear_16bit()
        return np.asarray(table.take(self.luma.ravel().take(row * self.width_px + column)))


def read_picture(path: str | os.PathLike[str]) -> Picture:
    """Read a photo.

    Raises PhotoError with one sentence of cause and remedy for whatever is not a
    complete picture of a known format and sane size.
    """
    path = Path(path)
    return picture_of(path, read_bytes(path))


def picture_of(path: Path, data: bytes) -> Picture:
    """The picture in a photo's bytes; ``path`` is only named, never opened."""
    name = shown_name(path)
    with _opened(data, name) as image:
        exif = read_exif(image)
        luma = _decode_luma(image, data, name)
    upright = np.asarray(_UPRIGHT[exif.orientation](luma))
    return Picture(path, name, hashlib.sha256(data).hexdigest(), upright, exif)


def read_colour(path: Path) -> Image.Image:
    """The same photo upright in RGB, for drawing on."""
    return colour_of(path, read_bytes(path))


def colour_of(path: Path, data: bytes) -> Image.Image:
    """The colours in a photo's bytes; ``path`` is only named, never opened."""
    with _opened(data, shown_name(path)) as image:
        return ImageOps.exif_transpose(image).convert("RGB")


def shown_name(path: Path) -> str:
    """A file's name as it is shown; a folder given as ``.`` or ``/`` has but its path."""
    return safe_name(path.name or str(path))


def safe_name(name: str) -> str:
    """A file name fit to be shown: one line, no control or direction marks, not too long."""
    cleaned = "".join(
        c if unicodedata.category(c)[0] != "C" else "\N{REPLACEMENT CHARACTER}" for c in name
    )
    return cleaned if len(cleaned) <= 80 else cleaned[:50] + "…" + cleaned[-29:]


def read_bytes(path: Path) -> bytes:
    """All bytes of an ordinary file. Raises PhotoError for anything else, and beyond MAX_BYTES."""
    name = shown_name(path)
    try:
        status = path.stat()
        if not stat.S_ISREG(status.st_mode):
            kind = "a folder" if stat.S_ISDIR(status.st_mode) else "not an ordinary file"
            raise PhotoError("not-a-file", f"{name} is {kind}.", "Give the photo's own file.")
        if status.st_size > MAX_BYTES:
            raise PhotoError(
                "too-large",
                f"{name} has {status.st_size / 1e6:.0f} MB; at most {MAX_BYTES / 1e6:.0f} MB.",
                "Send the photo as the phone's camera wrote it.",
            )
        data = path.read_bytes()
    except FileNotFoundError as error:
        raise PhotoError("missing", f"{name} does not exist.", "Check the path.") from error
    except (OSError, ValueError) as error:
        cause = getattr(error, "strerror", None) or str(error)
        raise PhotoError("unreadable", f"{name} cannot be read: {cause}.", "Check it.") from error
    if not data:
        raise PhotoError("empty", f"{name} is empty.", "Copy it from the phone again.")
    return data


def _opened(data: bytes, name: str) -> Image.Image:
    """The image with its header checked and nothing decoded yet."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # size is checked below, before any decoding
            image = Image.open(io.BytesIO(data), formats=_decoders(data))
    except Image.DecompressionBombError as error:
        raise _too_many_pixels(name, "more than 178 million pixels") from error
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError, OverflowError) as error:
        raise PhotoError(
            "not-a-photo",
            f"{name} is not a photo in JPEG, HEIC, PNG, TIFF or WebP.",
            "Give the picture as the phone's camera wrote it.",
        ) from error
    width, height = image.size
    if width * height > MAX_PIXELS:
        raise _too_many_pixels(name, f"{width} x {height} pixels")
    if min(width, height) < MIN_SIDE_PX:
        raise PhotoError(
            "too-small",
            f"{name} has only {width} x {height} pixels; at least {MIN_SIDE_PX} a side.",
            "Send the original picture instead of a thumbnail.",
        )
    return image


def _too_many_pixels(name: str, found: str) -> PhotoError:
    return PhotoError(
        "too-many-pixels",
        f"{name} is too large to open ({found}); at most {MAX_PIXELS // 1_000_000} megapixels.",
        "Set the phone to 12 to 50 megapixels.",
    )


def _decode_luma(image: Image.Image, data: bytes, name: str) -> LumaArray:
    """Luma codes (H, W) in the file's orientation and precision.

    Pillow decodes, because it refuses a truncated JPEG, which OpenCV fills up with
    grey. Of a JPEG it decodes only the luma plane. PNG and TIFF may hold 16 bits a
    channel, which Pillow would cut to 8: once it found the file whole, OpenCV decodes.
    """
    try:
        if image.format in ("JPEG", "MPO"):
            image.draft("L", image.size)
        image.load()
        if image.format in ("PNG", "TIFF"):
            return _decode_deep(data, name)
        return shared_codes(image if image.mode == "L" else image.convert("L"))
    except (OSError, ValueError, SyntaxError, MemoryError, EOFError) as error:
        raise PhotoError(
            "damaged",
            f"{name} is damaged or incomplete: {error}.",
            "Copy or send the photo again; check that the transfer finished.",
        ) from error


def _decode_deep(data: bytes, name: str) -> LumaArray:
    flags = cv2.IMREAD_GRAYSCALE | cv2.IMREAD_ANYDEPTH | cv2.IMREAD_IGNORE_ORIENTATION
    decoded: Any = cv2.imdecode(np.frombuffer(data, np.uint8), flags)
    if decoded is None or decoded.dtype not in (np.uint8, np.uint16):
        raise ValueError("its pixels are neither 8 nor 16 bit")
    return np.asarray(decoded)


def _decoders(data: bytes) -> tuple[str, ...]:
    """The decoders that this file may reach. HEIC's is a plug-in, loaded for its container only."""
    if data[4:8] != b"ftyp":
        return FORMATS
    if "HEIF" not in Image.OPEN:
        from pillow_heif import register_heif_opener

        register_heif_opener(thumbnails=False)
    return ("HEIF",)


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


def _srgb_to_linear(codes: npt.NDArray[np.float64]) -> LinearArray:
    """IEC 61966-2-1: encoded value 0..1 to linear light 0..1."""
    low = codes / 12.92
    high = ((codes + 0.055) / 1.055) ** 2.4
    return np.where(codes <= 0.04045, low, high).astype(np.float32)


_LINEAR_8BIT = _srgb_to_linear(np.arange(256) / 255.0)


@lru_cache(maxsize=1)
def _linear_16bit() -> LinearArray:
    return _srgb_to_linear(np.arange(65536) / 65535.0)
