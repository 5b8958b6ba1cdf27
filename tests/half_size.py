"""Sample pictures at half their size, as a phone would have written them: quick to check."""

from __future__ import annotations

from functools import cache
from io import BytesIO
from pathlib import Path

from PIL import Image

SAMPLES = Path(__file__).resolve().parent.parent / "sample_images"


@cache
def half_size(name: str) -> bytes:
    """The JPEG of a sample halved, with its EXIF: 6 px a mm and more."""
    with Image.open(SAMPLES / name) as image:
        small = image.reduce(2)
        stream = BytesIO()
        small.save(stream, "JPEG", quality=95, exif=image.getexif())
    return stream.getvalue()


def half_size_file(name: str, folder: Path, as_name: str | None = None) -> Path:
    path = folder / (as_name or name)
    path.write_bytes(half_size(name))
    return path
