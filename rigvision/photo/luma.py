"""The luma of an opened image: codes in the file's own orientation and precision.

Each container goes to the decoder that tells most of damage: JPEG to libjpeg-turbo with its
warnings as errors, PNG, found whole already, to OpenCV, which keeps 16 bits of colours too,
HEIC to libheif. TIFF stays with Pillow, which turns it upright; OpenCV does so by
itself, whatever it is told, and 16 bits of grey are kept either way. Pictures whose codes are
no sRGB and have no curve either, printers' inks and profiles made of tables, are converted to
sRGB first.
"""

from __future__ import annotations

import io
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
from PIL import Image
from PIL.JpegImagePlugin import JpegImageFile

from rigvision.ground.errors import PhotoError
from rigvision.photo.colour import in_srgb, needs_conversion
from rigvision.photo.jpeg import decode_jpeg
from rigvision.photo.opened import damaged
from rigvision.photo.quantisation import Steps, check_steps
from rigvision.photo.shared_codes import shared_codes

LumaArray = npt.NDArray[np.uint8] | npt.NDArray[np.uint16]


def decode_luma(image: Image.Image, data: bytes, name: str) -> LumaArray:
    """Luma codes (H, W), 8 or 16 bit, as stored; a TIFF's upright.

    Raises PhotoError: ``damaged``, ``strange-pixels``.
    """
    if image.mode in ("F", "I"):  # 32 bit; Pillow has I;16 for integers that are no sums
        raise PhotoError(
            "strange-pixels",
            f"{name} holds 32-bit numbers instead of a photo's 8 or 16 bits a colour.",
            "Give the picture as the phone's camera wrote it.",
        )
    size = image.size
    try:
        luma = _decoded(image, data)
        if luma.shape != (size[1], size[0]):
            raise ValueError(f"{size[0]} x {size[1]} pixels were promised, others came")
    except (OSError, ValueError, SyntaxError, MemoryError, EOFError, RuntimeError) as error:
        raise damaged(name, error) from error
    return luma


def bits_per_channel(image: Image.Image, luma: LumaArray) -> int:
    """As the file holds them; HEIC's 10 bits are moved up into 16."""
    stated = image.info.get("bit_depth")
    return int(stated) if stated else luma.dtype.itemsize * 8


def _decoded(image: Image.Image, data: bytes) -> LumaArray:
    if image.format in ("JPEG", "MPO"):
        return _of_jpeg(image, data)
    if image.format == "HEIF" and image.info.get("bit_depth", 8) > 8:
        return _of_deep_heic(data)
    if needs_conversion(image):
        return np.asarray(in_srgb(image).convert("L"))
    if image.format == "PNG":
        return _of_png(data)
    image.load()
    if image.mode.startswith("I;16"):
        return np.asarray(image).astype(np.uint16)
    return shared_codes(image if image.mode == "L" else image.convert("L"))


def luma_steps(image: Image.Image) -> Steps | None:
    """Quantisation steps (64,) of a JPEG's first component, luma or grey; None for others."""
    return next(iter(_tables(image)), None)


def _tables(image: Image.Image) -> list[Steps]:
    """The quantisation table that each component of a JPEG names, as far as there are any."""
    if not isinstance(image, JpegImageFile):
        return []
    tables = (image.quantization.get(component[3]) for component in image.layer)
    return [tuple(table) for table in tables if table]


def _of_jpeg(image: Image.Image, data: bytes) -> LumaArray:
    converted = image.mode == "CMYK" or needs_conversion(image)
    for steps in _tables(image)[: None if converted else 1]:
        check_steps(steps)
    if image.mode == "CMYK":
        decode_jpeg(data, "CMYK")  # whether it is whole
        return np.asarray(in_srgb(image).convert("L"))
    luma = decode_jpeg(data)
    return np.asarray(in_srgb(image).convert("L")) if converted else luma


def _of_png(data: bytes) -> LumaArray:
    flags = cv2.IMREAD_GRAYSCALE | cv2.IMREAD_ANYDEPTH | cv2.IMREAD_IGNORE_ORIENTATION
    decoded: Any = cv2.imdecode(np.frombuffer(data, np.uint8), flags)
    if decoded is None or decoded.dtype not in (np.uint8, np.uint16):
        raise ValueError("its pixels are neither 8 nor 16 bit")
    return np.asarray(decoded)


def _of_deep_heic(data: bytes) -> LumaArray:
    """10 or 12 bits, kept: a phone that writes them has less noise than a step of 8 bits."""
    from pillow_heif import open_heif

    codes = np.asarray(open_heif(io.BytesIO(data), convert_hdr_to_8bit=False))
    if codes.ndim == 2:
        return codes
    to_grey = cv2.COLOR_RGBA2GRAY if codes.shape[2] == 4 else cv2.COLOR_RGB2GRAY
    return np.asarray(cv2.cvtColor(codes, to_grey), dtype=np.uint16)
