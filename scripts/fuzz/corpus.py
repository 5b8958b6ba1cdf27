"""Small whole inputs to start fuzzing from: made here, so that none has to be kept as bytes."""

from __future__ import annotations

import io
import json
from pathlib import Path

import numpy as np
from PIL import Image

import rigvision
from fuzz.exported import exported
from rigvision.report.as_json import as_json
from rigvision.world.catalogue import shipped_models_folder

SIDE_PX = 240


def write_corpus(folder: Path) -> None:
    """A folder for each harness, with a few files of a few kB."""
    pictures = _pictures()
    parts = {
        "decode": pictures,
        "exif": {"phone": _exif().tobytes()[6:]},
        "toml": {p.stem: p.read_bytes() for p in shipped_models_folder().glob("*/*.toml")},
        "saved": {"retake": _saved(folder, pictures["jpeg"])},
        **{form: {"accepted": content} for form, content in exported().items()},
    }
    for name, files in parts.items():
        (folder / name).mkdir(parents=True, exist_ok=True)
        for file, data in files.items():
            (folder / name / file).write_bytes(data)


def _exif() -> Image.Exif:
    exif = Image.Exif()
    exif[0x0112], exif[0x0110] = 6, "Lumora F5"
    detail = exif.get_ifd(0x8769)
    detail[0xA405], detail[0x9003] = 26, "2026:03:02 08:15:30"
    return exif


def _pictures() -> dict[str, bytes]:
    from pillow_heif import from_pillow

    y, x = np.mgrid[:SIDE_PX, : SIDE_PX + 4]
    grey = (90 + 0.3 * x + 0.1 * y).astype(np.uint8)
    image = Image.fromarray(np.dstack([grey, grey, 255 - grey]))
    made = {}
    for name, kind, options in (
        ("jpeg", "JPEG", {}),
        ("progressive", "JPEG", {"progressive": True}),
        ("png", "PNG", {}),
        ("tiff", "TIFF", {"compression": "tiff_lzw"}),
        ("webp", "WEBP", {}),
    ):
        out = io.BytesIO()
        extra = {} if kind == "TIFF" else {"exif": _exif()}
        image.save(out, kind, **options, **extra)
        made[name] = out.getvalue()
    out = io.BytesIO()
    from_pillow(image).save(out, quality=60, exif=_exif().tobytes())
    return made | {"heic": out.getvalue()}


def _saved(folder: Path, jpeg: bytes) -> bytes:
    """What is printed of a photo that shows no gauge."""
    folder.mkdir(parents=True, exist_ok=True)
    photo = folder / "photo.jpg"
    photo.write_bytes(jpeg)
    result = rigvision.check(photo)
    photo.unlink()
    return json.dumps(as_json(result)).encode()
