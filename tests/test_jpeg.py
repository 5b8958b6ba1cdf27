"""JPEG: what libjpeg only warns of is refused; what phones do without harm is not."""

from __future__ import annotations

import io
import random

import cv2
import numpy as np
import pytest
from PIL import Image

from rigvision.ground.errors import PhotoError
from rigvision.photo.jpeg import decode_jpeg
from rigvision.photo.limits import LIMITS
from rigvision.photo.picture import read_picture
from rigvision.photo.quantisation import ijg_quality
from tests.test_picture import saved, scene_rgb


def noisy() -> Image.Image:
    rng = np.random.default_rng(2)
    codes = np.clip(scene_rgb(800, 600) + rng.normal(0, 12, (600, 800, 1)), 0, 255)
    return Image.fromarray(codes.astype(np.uint8))


WHOLE = saved(noisy(), "JPEG", quality=90)
PROGRESSIVE = saved(noisy(), "JPEG", quality=90, progressive=True)
END = b"\xff\xd9"


def opencv_s(content: bytes) -> np.ndarray:
    return cv2.imdecode(np.frombuffer(content, np.uint8), cv2.IMREAD_GRAYSCALE)


@pytest.mark.parametrize("content", [WHOLE, PROGRESSIVE], ids=["sequential", "progressive"])
def test_luma_is_that_of_opencv_to_one_code(content):
    """Two builds of the inverse cosine transform (IEEE 1180 allows one code)."""
    assert np.abs(decode_jpeg(content).astype(int) - opencv_s(content)).max() <= 1


@pytest.mark.parametrize("content", [WHOLE, PROGRESSIVE], ids=["sequential", "progressive"])
def test_scrambled_data_is_refused_though_pillow_makes_a_picture_of_it(content, tmp_path):
    """A hundred bytes of the middle, replaced; no marker among them, the length as it was."""
    changed = bytearray(content)
    middle = len(content) // 2
    changed[middle : middle + 100] = random.Random(3).choices(range(1, 255), k=100)
    image = Image.open(io.BytesIO(bytes(changed)))
    image.load()  # no complaint
    assert image.size == (800, 600)
    (tmp_path / "s.jpg").write_bytes(bytes(changed))
    with pytest.raises(PhotoError) as caught:
        read_picture(tmp_path / "s.jpg")
    assert caught.value.code == "damaged"
    assert "Corrupt JPEG data" in caught.value.text


@pytest.mark.parametrize("missing", [2, 3, 500])
def test_not_even_the_end_mark_may_be_missing(missing):
    with pytest.raises(ValueError, match="Premature end"):
        decode_jpeg(WHOLE[:-missing])


@pytest.mark.parametrize("content", [WHOLE, PROGRESSIVE], ids=["sequential", "progressive"])
@pytest.mark.parametrize("tail", [b"\0" * 64, WHOLE, b"motion photo" * 50])
def test_what_follows_the_picture_is_no_damage(content, tail):
    np.testing.assert_array_equal(decode_jpeg(content + tail), decode_jpeg(content))


@pytest.mark.parametrize("zeros", [1, 16])
def test_zeros_before_the_end_mark_are_a_firmware_s_habit(zeros):
    padded = WHOLE[:-2] + bytes(zeros) + END
    np.testing.assert_array_equal(decode_jpeg(padded + WHOLE), decode_jpeg(WHOLE))


def test_anything_else_before_the_end_mark_is_damage():
    with pytest.raises(ValueError, match="extraneous bytes"):
        decode_jpeg(WHOLE[:-2] + bytes(range(1, 20)) + END)


def test_scan_parameters_that_mean_nothing_are_forgiven_but_damage_beside_them_is_not():
    start = WHOLE.index(b"\xff\xda")
    length = int.from_bytes(WHOLE[start + 2 : start + 4], "big")
    odd = bytearray(WHOLE)
    odd[start + 2 + length - 3 : start + 2 + length] = b"\0\0\0"
    np.testing.assert_array_equal(decode_jpeg(bytes(odd)), decode_jpeg(WHOLE))
    middle = len(odd) // 2
    odd[middle : middle + 100] = random.Random(3).choices(range(1, 255), k=100)
    with pytest.raises(ValueError, match="Corrupt"):
        decode_jpeg(bytes(odd))


def test_a_file_that_asks_for_thousands_of_passes_is_refused_before_decoding(tmp_path):
    """The progressive picture with its last scan over and over: 12 bytes a pass and more."""
    last = PROGRESSIVE.rindex(b"\xff\xda")
    bomb = PROGRESSIVE[:-2] + PROGRESSIVE[last:-2] * LIMITS.jpeg_scans + END
    (tmp_path / "b.jpg").write_bytes(bomb)
    with pytest.raises(PhotoError, match="passes"):
        read_picture(tmp_path / "b.jpg")


@pytest.mark.parametrize("quality", [5, 30, 50, 75, 92, 98])
def test_the_quality_of_the_usual_encoder_is_told(tmp_path, quality):
    """Pillow's encoder uses the IJG's tables: its own argument comes back."""
    (tmp_path / "q.jpg").write_bytes(saved(noisy(), "JPEG", quality=quality))
    picture = read_picture(tmp_path / "q.jpg")
    assert picture.jpeg_quality == quality
    assert len(picture.jpeg_luma_steps) == 64


def test_quality_50_is_the_standard_s_table_and_100_loses_least():
    """T.81, table K.1: 16 at the top left, 99 at the bottom right."""
    assert ijg_quality((1,) * 64) == 100
    assert ijg_quality((255,) * 64) < 10


def test_only_a_jpeg_has_a_quality(tmp_path):
    (tmp_path / "q.png").write_bytes(saved(noisy(), "PNG"))
    assert read_picture(tmp_path / "q.png").jpeg_quality is None
