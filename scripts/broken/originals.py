"""The whole files that damage starts from: one small photo of the gauge in every format."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pillow_heif
from PIL import Image

from rigvision.synthetic import PhoneCamera, ideal_scene, make_photo
from rigvision.world.catalogue import load
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge

#: As few pixels as still give a pass with every figure: damaged files are read by the thousand.
CAMERA = PhoneCamera(
    width_px=800,
    height_px=600,
    distance_mm=180.0,
    tilt_deg=10.0,
    azimuth_deg=62.0,
    roll_deg=2.0,
    aim_mm=(1.0, -1.0),
)


def originals() -> dict[str, bytes]:
    """Name of the format to a whole file; the same bytes each time."""
    gauge, frame = load(Gauge, "RG-10"), load(Frame, "DF-10")
    jpeg = make_photo(ideal_scene(gauge, frame), CAMERA, gauge, frame, seed=3).jpeg
    with Image.open(io.BytesIO(jpeg)) as image:
        exif = image.getexif()
        rgb = image.convert("RGB")
    made = {"jpeg": jpeg}
    for name, save in _SAVERS.items():
        out = io.BytesIO()
        save(rgb, exif, out)
        made[name] = out.getvalue()
    return made


def kept_originals(folder: Path) -> dict[str, bytes]:
    """The whole files as they lie in a folder, made there if need be: drawing takes a second."""
    made = folder / "whole"
    if not made.exists():
        made.mkdir()
        for name, data in originals().items():
            (made / name).write_bytes(data)
    return {path.name: path.read_bytes() for path in sorted(made.iterdir())}


def _pillow(kind: str, mode: str = "RGB", **options: object) -> Callable[..., None]:
    def save(image: Image.Image, exif: Image.Exif, out: io.BytesIO) -> None:
        image.convert(mode).save(out, kind, exif=exif, **options)

    return save


def _packed_tiff(compression: str) -> Callable[..., None]:
    """Without EXIF: libtiff, which packs, cannot write it."""

    def save(image: Image.Image, exif: Image.Exif, out: io.BytesIO) -> None:
        image.save(out, "TIFF", compression=compression)

    return save


def _restarting_jpeg(image: Image.Image, exif: Image.Exif, out: io.BytesIO) -> None:
    image.save(out, "JPEG", quality=92, exif=exif, restart_marker_rows=1)


def _mpo(image: Image.Image, exif: Image.Exif, out: io.BytesIO) -> None:
    smaller = image.resize((400, 300))
    image.save(out, "MPO", quality=92, save_all=True, append_images=[smaller])


def _deep_png(image: Image.Image, exif: Image.Exif, out: io.BytesIO) -> None:
    codes = np.asarray(image.convert("L")).astype(np.uint16) * 257
    out.write(cv2.imencode(".png", codes)[1].tobytes())


def _deep_tiff(image: Image.Image, exif: Image.Exif, out: io.BytesIO) -> None:
    codes = np.asarray(image.convert("L")).astype(np.uint16) * 257
    out.write(cv2.imencode(".tiff", codes)[1].tobytes())


def _heic(image: Image.Image, exif: Image.Exif, out: io.BytesIO) -> None:
    pillow_heif.from_pillow(image).save(out, quality=90, exif=exif.tobytes())


_SAVERS: dict[str, Callable[[Image.Image, Image.Exif, io.BytesIO], None]] = {
    "jpeg progressive": _pillow("JPEG", quality=92, progressive=True),
    "jpeg restarts": _restarting_jpeg,
    "jpeg cmyk": _pillow("JPEG", "CMYK", quality=92),
    "jpeg grey": _pillow("JPEG", "L", quality=92),
    "mpo": _mpo,
    "png": _pillow("PNG"),
    "png grey": _pillow("PNG", "L"),
    "png 16 bit": _deep_png,
    "tiff raw": _pillow("TIFF"),
    "tiff lzw": _packed_tiff("tiff_lzw"),
    "tiff deflate": _packed_tiff("tiff_adobe_deflate"),
    "tiff 16 bit": _deep_tiff,
    "webp": _pillow("WEBP", quality=92),
    "webp lossless": _pillow("WEBP", lossless=True),
    "heic": _heic,
}
