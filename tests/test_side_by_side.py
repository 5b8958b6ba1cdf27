"""Two analysed images beside each other: each on its side, the table under both."""

from __future__ import annotations

from io import BytesIO

import numpy as np
import pytest
from PIL import ExifTags, Image

from rigvision.report import side_by_side as module
from rigvision.report.side_by_side import WIDTH_PX, Side, TableRow, side_by_side

RED, BLUE = (200, 30, 30), (30, 30, 200)
HOSTILE = "\u202eevil\x1b[31m\nline " * 40


def jpeg(colour: tuple[int, int, int], width: int = 2000, height: int = 1000) -> bytes:
    stream = BytesIO()
    Image.new("RGB", (width, height), colour).save(stream, "JPEG", quality=95)
    return stream.getvalue()


def side(word: str, colour: tuple[int, int, int], height: int = 1000) -> Side:
    return Side(word, (90, 90, 90), ("record K7Q2-M9XA", "recorded"), jpeg(colour, 2000, height))


def drawn(left: Side, right: Side, rows: int = 3, note: str = "A note.") -> Image.Image:
    table = [TableRow(("Gap", "1.36 ± 0.11 mm", "0.79 ± 0.07 mm", "-0.57 ± 0.13 mm"), True)] * rows
    content = side_by_side("Engine ESN-7, door 3", (left, right), table, [note])
    return Image.open(BytesIO(content))


def box(image: Image.Image, left: int, right: int, top: int, bottom: int) -> np.ndarray:
    pixels = np.asarray(image.convert("RGB"), dtype=float)
    return pixels[top:bottom, left:right].reshape(-1, 3).mean(axis=0)


def test_each_image_is_on_its_side_half_as_large() -> None:
    image = drawn(side("BEFORE", RED), side("AFTER", BLUE))
    assert image.size[0] == WIDTH_PX
    # 494 rows of image under some 400 of title and heading.
    assert box(image, 40, 900, 500, 700) == pytest.approx(RED, abs=6)
    assert box(image, 1100, 1960, 500, 700) == pytest.approx(BLUE, abs=6)


def test_a_higher_image_pushes_the_table_down() -> None:
    low = drawn(side("BEFORE", RED, 1000), side("AFTER", BLUE, 1000)).size[1]
    high = drawn(side("BEFORE", RED, 1000), side("AFTER", BLUE, 2000)).size[1]
    assert high - low == round(2000 * 988 / 2000) - round(1000 * 988 / 2000)


def test_every_row_has_its_room() -> None:
    few = drawn(side("BEFORE", RED), side("AFTER", BLUE), 3).size[1]
    more = drawn(side("BEFORE", RED), side("AFTER", BLUE), 13).size[1]
    assert more - few == 10 * 69  # 1.5 times 46 px


def test_whatever_people_wrote_is_drawn_within_its_room() -> None:
    hostile = Side(HOSTILE, (90, 90, 90), (HOSTILE, HOSTILE), jpeg(RED))
    plain = drawn(side("BEFORE", RED), side("AFTER", BLUE))
    image = drawn(hostile, side("AFTER", BLUE))
    assert image.size == plain.size
    right = np.asarray(plain.convert("RGB"))[:, 1012:], np.asarray(image.convert("RGB"))[:, 1012:]
    assert np.abs(right[0].astype(int) - right[1].astype(int)).max() < 40


def test_it_carries_no_more_than_what_made_it() -> None:
    exif = drawn(side("BEFORE", RED), side("AFTER", BLUE)).getexif()
    assert set(exif) == {ExifTags.Base.Software}


@pytest.mark.parametrize("content", [b"", b"\xff\xd8\xff", b"GIF89a" + bytes(99), jpeg(RED)[:300]])
def test_what_is_no_image_is_refused(content: bytes) -> None:
    with pytest.raises(ValueError, match="no JPEG"):
        drawn(Side("BEFORE", RED, (), content), side("AFTER", BLUE))


def test_an_image_too_large_is_refused_before_it_is_decoded(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(module, "MOST_PIXELS", 1_999_999)
    with pytest.raises(ValueError, match="larger than any"):
        drawn(side("BEFORE", RED), side("AFTER", BLUE))
