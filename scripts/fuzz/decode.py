"""A photo's bytes into pixels."""

from contextlib import suppress
from pathlib import Path

from rigvision.ground.errors import PhotoError
from rigvision.photo.picture import picture_of

#: What a coverage-guided fuzzer watches.
WATCHED = ("rigvision.photo", "PIL", "pillow_heif", "simplejpeg")


def try_bytes(data: bytes) -> None:
    with suppress(PhotoError):
        picture_of(Path("file"), data)
