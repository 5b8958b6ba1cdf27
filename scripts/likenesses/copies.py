"""What may be done to a photo before it is handed in again."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path

from PIL import Image, ImageFilter, ImageOps

#: Whether the copy keeps what the camera wrote: editors do, messengers and screens do not.
KEPT, DROPPED = True, False
Work = Callable[[Image.Image], Image.Image]


def copies(photo: Path) -> dict[str, tuple[bytes, str]]:
    """Each copy's file by its name: bytes and suffix."""
    with Image.open(photo) as image:
        upright = ImageOps.exif_transpose(image).convert("RGB")
        exif = image.getexif()
    exif[0x0112] = 1
    made = {}
    for name, (work, quality, kept) in _WORKS.items():
        done, out = work(upright), io.BytesIO()
        if quality is None:
            done.save(out, "PNG", compress_level=1)
        else:
            more = {"exif": exif} if kept else {}
            done.save(out, "JPEG", quality=quality, **more)
        made[name] = out.getvalue(), ".png" if quality is None else ".jpg"
    return made


def _resized(factor: float) -> Work:
    def work(image: Image.Image) -> Image.Image:
        size = round(image.width * factor), round(image.height * factor)
        return image.resize(size, Image.Resampling.LANCZOS)

    return work


def _long_side(image: Image.Image, side_px: int) -> Image.Image:
    factor = side_px / max(image.size)
    size = round(image.width * factor), round(image.height * factor)
    return image.resize(size, Image.Resampling.BILINEAR)


def _cropped(image: Image.Image) -> Image.Image:
    w, h = image.size
    return image.crop((int(0.03 * w), int(0.05 * h), int(0.98 * w), int(0.96 * h)))


def _stretched(image: Image.Image) -> Image.Image:
    size = image.width, round(image.height / 1.015)
    return image.resize(size, Image.Resampling.LANCZOS)


def _screenshot(image: Image.Image) -> Image.Image:
    """As a screen of 2400 px shows it, between bars."""
    shown = _long_side(image, 2400)
    screen = Image.new("RGB", (shown.width + 80, shown.height + 300), (20, 20, 20))
    screen.paste(shown, (40, 180))
    return screen


def _curve(function: Callable[[float], float]) -> Work:
    table = [min(255, max(0, round(255 * function(v / 255)))) for v in range(256)] * 3
    return lambda image: image.point(table)


def _same(image: Image.Image) -> Image.Image:
    return image


#: What is done, the JPEG quality it is saved with (None: PNG), and what becomes of its EXIF.
_WORKS: dict[str, tuple[Work, int | None, bool]] = {
    "JPEG 90": (_same, 90, KEPT),
    "JPEG 70": (_same, 70, KEPT),
    "JPEG 50": (_same, 50, KEPT),
    "JPEG 50, no EXIF": (_same, 50, DROPPED),
    "resized to 0.7": (_resized(0.7), 88, DROPPED),
    "resized to 0.5": (_resized(0.5), 88, DROPPED),
    "resized to 0.35": (_resized(0.35), 88, DROPPED),
    "cropped": (_cropped, 90, DROPPED),
    "stretched by 1.5 %": (_stretched, 88, DROPPED),
    "turned by 90 deg": (lambda i: i.transpose(Image.Transpose.ROTATE_90), 90, DROPPED),
    "turned by 180 deg": (lambda i: i.transpose(Image.Transpose.ROTATE_180), 90, KEPT),
    "turned by 2 deg": (lambda i: i.rotate(2, Image.Resampling.BICUBIC, True), 90, DROPPED),
    "brighter": (_curve(lambda v: 1.2 * v + 0.03), 90, KEPT),
    "gamma 0.7": (_curve(lambda v: v**0.7), 90, KEPT),
    "blurred by 1.2 px": (lambda i: i.filter(ImageFilter.GaussianBlur(1.2)), 90, KEPT),
    "messenger, 1600 px": (lambda i: _long_side(i, 1600), 70, DROPPED),
    "screenshot, PNG": (_screenshot, None, DROPPED),
}
