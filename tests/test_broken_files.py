"""Files broken at random: a picture or a sentence, never anything else."""

from __future__ import annotations

import pickle
import random
from collections.abc import Callable
from pathlib import Path

import pytest
from PIL import Image

from rigvision.ground.errors import PhotoError
from rigvision.photo.picture import Picture, read_colour, read_picture
from tests.test_formats import heic, srgb_icc
from tests.test_picture import oriented, saved, scene_rgb

IMAGE, EXIF = oriented(6)
KINDS = ("JPEG", "MPO", "PNG", "TIFF", "WEBP", "HEIC", "CMYK")


def whole(kind: str) -> bytes:
    if kind == "HEIC":
        return heic(scene_rgb(), 6)
    if kind == "CMYK":
        return saved(IMAGE.convert("CMYK"), "JPEG")
    options = {"TIFF": {"compression": "tiff_lzw"}}.get(kind, {})
    return saved(IMAGE, kind, exif=EXIF, icc_profile=srgb_icc(), **options)


def broken(content: bytes, rng: random.Random) -> bytes:
    """A few bits flipped, bytes set to the extreme, cut out or cut off; rather near the start."""
    changed = bytearray(content)
    for _ in range(rng.choice((1, 1, 3))):
        place = rng.randrange(4, min(len(changed), rng.choice((64, 700, len(changed)))))
        way = rng.random()
        if way < 0.5:
            changed[place] ^= 1 << rng.randrange(8)
        elif way < 0.75:
            changed[place : place + 4] = rng.choice((b"\xff" * 4, bytes(4), b"\x7f\xff\xff\xff"))
        elif way < 0.9:
            del changed[place : place + rng.randrange(1, 50)]
        else:
            del changed[max(place, 100) :]
    return bytes(changed)


def outcome(read: Callable[[Path], object], path: Path, wanted: type) -> bool:
    """Whether the file is refused; whatever else comes of it must be what was ``wanted``."""
    try:
        found = read(path)
    except PhotoError as error:
        said = str(error)
    else:
        assert isinstance(found, wanted)
        return False
    assert "\n" not in said
    return True


@pytest.mark.parametrize("kind", KINDS)
def test_a_broken_file_is_a_picture_or_a_sentence(tmp_path, kind, capfd):
    rng, content, path = random.Random(7), whole(kind), tmp_path / "b"
    refused = 0
    for _ in range(60):
        path.write_bytes(broken(content, rng))
        refused += outcome(read_picture, path, Picture)
        outcome(read_colour, path, Image.Image)
    capfd.readouterr()  # libtiff's and libpng's own words
    assert refused >= 20
    if kind == "PNG":
        assert refused == 60


@pytest.mark.parametrize("kind", KINDS)
def test_a_picture_can_be_handed_to_another_process(tmp_path, kind):
    (tmp_path / "w").write_bytes(whole(kind))
    picture = read_picture(tmp_path / "w")
    again = pickle.loads(pickle.dumps(picture))
    assert (again.luma == picture.luma).all()
    assert (again.exif, again.lens, again.sha256) == (picture.exif, picture.lens, picture.sha256)
