"""From light on the sensor to a phone's JPEG: exposure, noise, tone, sharpening, EXIF."""

from __future__ import annotations

import io
from collections.abc import Callable
from datetime import datetime, timedelta
from functools import lru_cache

import cv2
import numpy as np
import numpy.typing as npt
from PIL import Image

from rigvision.synthetic.camera import F32, Development, PhoneCamera
from rigvision.synthetic.picture import blurred

U8 = npt.NDArray[np.uint8]

#: Linear levels of the tone curve's table.
TONE_LEVELS = 1 << 14
#: Rows developed together, and rows of noise drawn to serve all of them.
BAND_ROWS = 256
NOISE_ROWS = 640
#: For each EXIF orientation: how the upright picture is turned into the stored one.
_STORED: dict[int, Callable[[U8], U8]] = {
    1: lambda a: a,
    2: lambda a: a[:, ::-1],
    3: lambda a: a[::-1, ::-1],
    4: lambda a: a[::-1],
    5: lambda a: a.T,
    6: lambda a: np.rot90(a, 1),
    7: lambda a: a[::-1, ::-1].T,
    8: lambda a: np.rot90(a, -1),
}


def develop(linear: F32, camera: PhoneCamera, rng: np.random.Generator) -> U8:
    """Encoded luminance (h, w) of the light on the sensor, white pads near 1."""
    dev = camera.development
    seen = linear * np.float32(dev.exposure) + np.float32(dev.flare)
    _vignette(seen, camera)
    if dev.shot_noise > 0 or dev.read_noise > 0:
        _add_noise(seen, dev, rng)
    encoded = _toned(seen, dev)
    if dev.sharpen > 0:
        soft = blurred(encoded, dev.sharpen_sigma_px)
        cv2.addWeighted(encoded, 1.0 + dev.sharpen, soft, -dev.sharpen, 0.0, dst=encoded)
    return np.asarray(cv2.convertScaleAbs(np.maximum(encoded, 0.0, out=encoded)), np.uint8)


def _vignette(seen: F32, camera: PhoneCamera) -> None:
    """Less light towards the corners, in place."""
    cx, cy = camera.principal_point_px
    u = (np.arange(camera.width_px) - cx) ** 2
    v = (np.arange(camera.height_px) - cy) ** 2
    loss = np.float32(camera.development.vignetting / (u.max() + v.max()))
    columns, rows = (loss * u).astype(np.float32), (1.0 - loss * v).astype(np.float32)
    for top in range(0, len(rows), BAND_ROWS):
        seen[top : top + BAND_ROWS] *= rows[top : top + BAND_ROWS, None] - columns[None]


def _add_noise(seen: F32, dev: Development, rng: np.random.Generator) -> None:
    """Shot and read noise with the grain that noise reduction leaves, in place.

    One strip of noise serves the whole picture, cut anew at random for every band.
    """
    height, width = seen.shape
    strip = rng.standard_normal((NOISE_ROWS, width + 512), dtype=np.float32)
    if dev.noise_grain_px > 0:
        strip = blurred(strip, dev.noise_grain_px)
    shot2, read2 = np.float32(dev.shot_noise**2), np.float32(dev.read_noise**2)
    for top in range(0, height, BAND_ROWS):
        band = seen[top : top + BAND_ROWS]
        row, column = int(rng.integers(NOISE_ROWS - BAND_ROWS)), int(rng.integers(512))
        spread = np.sqrt(np.maximum(band, 0) * shot2 + read2)
        band += spread * strip[row : row + len(band), column : column + width]


def _toned(seen: F32, dev: Development) -> F32:
    """Encoded luminance, 0 to 255, not yet rounded."""
    table = tone_table(dev.s_curve)
    result = np.empty_like(seen)
    for top in range(0, len(seen), BAND_ROWS):
        band = np.clip(seen[top : top + BAND_ROWS], 0.0, 1.0) * np.float32(TONE_LEVELS - 1)
        level = (band + np.float32(0.5)).astype(np.uint16)
        np.take(table, level, out=result[top : top + BAND_ROWS])
    return result


@lru_cache(maxsize=8)
def tone_table(s_curve: float | None) -> F32:
    """Encoded value (0 to 255) of each linear level: sRGB (IEC 61966-2-1), then an S-curve.

    Without a curve the encoded value is proportional to the light.
    """
    x = np.linspace(0.0, 1.0, TONE_LEVELS)
    if s_curve is None:
        return (255.0 * x).astype(np.float32)
    srgb = np.where(x <= 0.0031308, 12.92 * x, 1.055 * np.maximum(x, 1e-9) ** (1 / 2.4) - 0.055)
    photographic = srgb * srgb * (3.0 - 2.0 * srgb)
    return np.asarray(255.0 * ((1 - s_curve) * srgb + s_curve * photographic), np.float32)


def jpeg(encoded: U8, camera: PhoneCamera, taken_at_s: int, tint: tuple[float, float]) -> bytes:
    """The file: luminance with a faint tint, turned as the orientation says, EXIF by Pillow."""
    return packed(_planes(encoded, tint), camera, taken_at_s)


def tinted(encoded: U8, tint: tuple[float, float]) -> U8:
    """Luminance (h, w) as YCbCr (h, w, 3) with a faint tint."""
    return np.asarray(cv2.merge(_planes(encoded, tint)), np.uint8)


def _planes(encoded: U8, tint: tuple[float, float]) -> list[U8]:
    return [encoded, *(_chroma(encoded, t) for t in tint)]


def packed(planes: list[U8], camera: PhoneCamera, taken_at_s: int) -> bytes:
    """The file of an upright picture's Y, Cb and Cr (h, w) of any size; EXIF is the camera's."""
    dev = camera.development
    turn = _STORED[dev.orientation]
    stored = [Image.fromarray(np.ascontiguousarray(turn(plane))) for plane in planes]
    image = Image.merge("YCbCr", stored)
    out = io.BytesIO()
    exif = _exif(camera, taken_at_s) if dev.exif else Image.Exif()
    image.save(out, "JPEG", quality=dev.jpeg_quality, subsampling=2, exif=exif)
    return out.getvalue()


def _chroma(luma: U8, full: float) -> U8:
    """A colour plane whose shift from grey is proportional to luminance."""
    table = np.round(128.0 + full * np.arange(256) / 255.0).astype(np.uint8)
    return np.asarray(cv2.LUT(luma, table), np.uint8)


def _exif(camera: PhoneCamera, taken_at_s: int) -> Image.Exif:
    """EXIF of an invented phone."""
    moment = datetime(2026, 3, 2, 8, 0) + timedelta(seconds=taken_at_s)
    taken = moment.strftime("%Y:%m:%d %H:%M:%S")
    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = "Lumora", "Lumora F5"
    exif[0x0112] = camera.development.orientation
    exif[0x0132] = taken
    photo = exif.get_ifd(0x8769)
    photo[0x829A], photo[0x829D], photo[0x8827] = 1 / 60, 1.8, 125
    photo[0x9003] = taken
    dev = camera.development
    stated = camera.equivalent_mm if dev.stated_35mm is None else dev.stated_35mm
    if stated:
        photo[0x920A] = round(stated / 4.8, 2)
        photo[0xA405] = stated
    if dev.stated_zoom is not None:
        photo[0xA404] = dev.stated_zoom
    return exif
