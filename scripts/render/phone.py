"""Linear light to the JPEG a phone would have written."""

from __future__ import annotations

import io
from datetime import datetime, timedelta
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image as Pillow
from PIL.ExifTags import IFD, Base

from .camera import F_NUMBER, SENSOR_DIAGONAL_MM
from .shots import Phone, Shot

Image = NDArray[np.float32]
WHITE_TARGET = 0.80
MAX_BYTES = 1_550_000
ELECTRONS_AT_ISO_50 = 14000.0
READ_NOISE_ELECTRONS = 3.0


def develop(linear: Image, shot: Shot, white_level: float) -> NDArray[np.uint8]:
    """Return 8-bit sRGB pixels as the phone's software makes them.

    ``white_level`` is the linear light of the gauge's white pads, which the phone keeps
    just below clipping.
    """
    phone = shot.phone
    rng = np.random.default_rng(shot.seed + 101)
    light = linear * _exposure(linear, white_level, phone)
    light = _optics(light, phone)
    light = _denoised(_sensor(light, phone, rng), phone)
    light *= np.array([1 + phone.warmth, 1.0, 1 - phone.warmth], np.float32)
    coded = _tone(np.clip(light, 0, 1), phone.contrast)
    return _sharpened(coded, phone.sharpen)


def _exposure(linear: Image, white_level: float, phone: Phone) -> float:
    """Return the gain: mid-grey on average, but pads below clipping, or else the middle."""
    if phone.meters_middle:
        height, width = linear.shape[:2]
        middle = linear[height // 3 : 2 * height // 3, width // 3 : 2 * width // 3].mean(axis=-1)
        return WHITE_TARGET / float(np.percentile(middle, 95)) * 2**phone.exposure_ev
    mean = float(np.mean(np.minimum(linear, 2 * white_level)))
    gain = min(0.23 / mean, WHITE_TARGET / white_level)
    return gain * 2**phone.exposure_ev


def _optics(light: Image, phone: Phone) -> Image:
    """Apply vignetting, the lens's blur and the hand's movement."""
    height, width = light.shape[:2]
    x = (np.arange(width, dtype=np.float32) - width / 2) / (width / 2)
    y = (np.arange(height, dtype=np.float32) - height / 2) / (width / 2)
    fall = 1 - phone.vignette * 0.5 * (x[None, :] ** 2 + y[:, None] ** 2)
    light = light * fall[..., None]
    # a little veiling glare, as every small lens has
    haze = cv2.resize(
        cv2.GaussianBlur(cv2.resize(light, (160, 120), interpolation=cv2.INTER_AREA), (0, 0), 12),
        (width, height),
    )
    light = 0.985 * light + 0.015 * haze
    light = cv2.GaussianBlur(light, (0, 0), phone.blur_px)
    if phone.motion_px:
        light = cv2.filter2D(light, -1, _motion_kernel(phone.motion_px, phone.motion_deg))
    return light


def _motion_kernel(length_px: float, direction_deg: float) -> Image:
    """Return a straight smear."""
    side = 2 * int(np.ceil(length_px / 2)) + 3
    kernel = np.zeros((side * 8, side * 8), np.float32)
    middle, reach = side * 4 - 0.5, length_px * 4
    turn = np.radians(direction_deg)
    step = np.array([np.cos(turn), -np.sin(turn)]) * reach
    ends = [tuple(np.round(middle + s * step).astype(int).tolist()) for s in (-1, 1)]
    cv2.line(kernel, ends[0], ends[1], 1.0, 9)
    kernel = cv2.resize(kernel, (side, side), interpolation=cv2.INTER_AREA)
    return kernel / kernel.sum()


def _sensor(light: Image, phone: Phone, rng: np.random.Generator) -> Image:
    """Add shot and read noise, and clip at full well."""
    well = ELECTRONS_AT_ISO_50 * 50 / phone.iso
    sigma = np.sqrt(np.maximum(light, 0) * well + READ_NOISE_ELECTRONS**2) / well
    noisy = light + sigma * rng.standard_normal(light.shape, dtype=np.float32)
    return np.clip(noisy, 0, 1.0).astype(np.float32)


def _denoised(light: Image, phone: Phone) -> Image:
    """Smooth colour noise strongly and brightness noise a little, keeping edges."""
    root = np.sqrt(light)
    code = cv2.cvtColor(root, cv2.COLOR_RGB2YCrCb)
    well = ELECTRONS_AT_ISO_50 * 50 / phone.iso
    step = float(1.6 * 0.5 / np.sqrt(well))
    luma = cv2.bilateralFilter(np.ascontiguousarray(code[..., 0]), 5, 2.2 * step, 1.1)
    chroma = [cv2.GaussianBlur(np.ascontiguousarray(code[..., c]), (0, 0), 1.6) for c in (1, 2)]
    root = cv2.cvtColor(np.dstack([luma, *chroma]).astype(np.float32), cv2.COLOR_YCrCb2RGB)
    return np.maximum(root, 0) ** 2


def _tone(light: Image, contrast: float) -> Image:
    """Encode with sRGB's curve, then a mild S."""
    low = light * 12.92
    high = 1.055 * np.power(np.maximum(light, 1e-6), 1 / 2.4) - 0.055
    coded = np.where(light <= 0.0031308, low, high)
    curve = coded * coded * (3 - 2 * coded)
    return ((1 - contrast) * coded + contrast * curve).astype(np.float32)


def _sharpened(coded: Image, amount: float) -> NDArray[np.uint8]:
    """Sharpen brightness with an unsharp mask; return 8 bits."""
    luma = coded @ np.array([0.299, 0.587, 0.114], np.float32)
    detail = luma - cv2.GaussianBlur(luma, (0, 0), 1.2)
    detail = np.clip(np.sign(detail) * np.maximum(np.abs(detail) - 0.004, 0), -0.12, 0.12)
    sharp = coded + amount * detail[..., None]
    return np.round(np.clip(sharp, 0, 1) * 255).astype(np.uint8)


def exif_of(shot: Shot) -> Pillow.Exif:
    """Return the EXIF an invented phone writes; no place, no serial numbers."""
    phone = shot.phone
    rng = np.random.default_rng(shot.seed)
    exif = Pillow.Exif()
    exif[Base.Make], exif[Base.Model] = "Halden", "Halden H2"
    exif[Base.Orientation] = phone.orientation
    taken = datetime(2026, 9, 14, 7, 5) + timedelta(minutes=int(rng.integers(0, 60 * 24 * 40)))
    stamp = taken.strftime("%Y:%m:%d %H:%M:%S")
    exif[Base.DateTime], exif[Base.Software] = stamp, "H2-5.1"
    detail = exif.get_ifd(IFD.Exif)
    detail[Base.DateTimeOriginal] = stamp
    detail[Base.ISOSpeedRatings] = phone.iso
    detail[Base.ExposureTime] = round(1 / float(rng.choice([33, 50, 60, 100, 120, 160])), 5)
    detail[Base.FNumber] = F_NUMBER
    detail[Base.LensModel] = "Halden H2 main camera"
    if phone.exif_focal:
        detail[Base.FocalLength] = round(shot.view.focal_35mm * SENSOR_DIAGONAL_MM / 43.27, 2)
        detail[Base.FocalLengthIn35mmFilm] = shot.view.focal_35mm
        detail[Base.DigitalZoomRatio] = 1.0
    return exif


def jpeg_bytes(pixels: NDArray[np.uint8], shot: Shot) -> bytes:
    """Encode as the phone does (4:2:0), under the size limit, stored in sensor orientation."""
    stored = np.rot90(pixels) if shot.phone.orientation == 6 else pixels
    picture = Pillow.fromarray(np.ascontiguousarray(stored))
    if shot.phone.earlier_quality:
        picture = _copied(picture, shot.phone.earlier_quality)
    extra = {"exif": exif_of(shot)} if shot.phone.exif else {}
    for quality in range(shot.phone.quality, min(40, shot.phone.quality - 1), -4):
        buffer = io.BytesIO()
        picture.save(buffer, "JPEG", quality=quality, subsampling=2, optimize=True, **extra)
        if buffer.tell() <= MAX_BYTES:
            break
    return buffer.getvalue()


def _copied(picture: Pillow.Image, quality: int) -> Pillow.Image:
    """Return what an earlier JPEG left, whose blocks began 3 px further left and 5 further up."""
    width, height = picture.size
    padded = np.pad(np.asarray(picture), ((5, 0), (3, 0), (0, 0)), mode="edge")
    buffer = io.BytesIO()
    Pillow.fromarray(padded).save(buffer, "JPEG", quality=quality, subsampling=2)
    return Pillow.open(buffer).convert("RGB").crop((3, 5, 3 + width, 5 + height))


def write_beside(path: Path, content: bytes) -> None:
    """Write a file under a temporary name and rename it."""
    partial = path.with_name(f".{path.name}.part")
    partial.write_bytes(content)
    partial.replace(path)
