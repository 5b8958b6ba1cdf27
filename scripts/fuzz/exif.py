"""An EXIF block, in a picture that is whole otherwise."""

import io
from contextlib import suppress
from functools import cache
from pathlib import Path

from PIL import Image

from rigvision.ground.errors import PhotoError
from rigvision.photo.picture import picture_of

WATCHED = ("rigvision.photo.exif", "rigvision.photo.lens_hint", "PIL.TiffImagePlugin")
#: A JPEG segment holds 65 535 bytes, its length and the block's name included.
MOST_BYTES = 65_000


@cache
def _picture() -> bytes:
    out = io.BytesIO()
    Image.new("L", (300, 250), 120).save(out, "JPEG")
    return out.getvalue()


def try_bytes(data: bytes) -> None:
    body = b"Exif\0\0" + data[:MOST_BYTES]
    segment = b"\xff\xe1" + (len(body) + 2).to_bytes(2, "big") + body
    whole = _picture()
    with suppress(PhotoError):
        exif = picture_of(Path("file"), whole[:2] + segment + whole[2:]).exif
        assert 1 <= exif.orientation <= 8
