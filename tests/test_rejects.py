"""Files and photos that cannot be used: each gets a sentence, and the others are still checked."""

from __future__ import annotations

import os
import struct
import zlib
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

import rigvision
from rigvision.ground.errors import PhotoError
from rigvision.synthetic import ideal_scene
from tests.photos import camera_at


def chunk(kind: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


def huge_png(width: int, height: int) -> bytes:
    """A PNG of a few hundred bytes that claims to be huge."""
    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    data = zlib.compress(b"\0" * 4096)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", data) + chunk(b"IEND", b"")
    )


def refused(path) -> PhotoError:
    with pytest.raises(PhotoError) as caught:
        rigvision.check(path)
    error = caught.value
    assert error.text.endswith(".")
    assert error.remedy.endswith(".")
    assert "\n" not in str(error)
    return error


@pytest.mark.parametrize(
    ("name", "content", "code"),
    [
        pytest.param("empty.jpg", b"", "empty", id="empty"),
        pytest.param("notes.jpg", b"gap looked fine\n" * 40, "not-a-photo", id="text"),
        pytest.param("page.jpg", b"<!doctype html><p>404</p>", "not-a-photo", id="web page"),
        pytest.param("head.jpg", b"\xff\xd8\xff\xe0\0\x10JFIF", "not-a-photo", id="header only"),
        pytest.param("zero.png", bytes(4096), "not-a-photo", id="zeros"),
        pytest.param("200mp.png", huge_png(16400, 12300), "too-many-pixels", id="200 MP"),
        pytest.param("bomb.png", huge_png(60000, 60000), "too-many-pixels", id="3600 MP"),
        pytest.param("thin.png", huge_png(200_000, 2), "too-small", id="thread"),
    ],
)
def test_a_file_that_is_no_photo_is_refused_by_name(tmp_path, name, content, code):
    path = tmp_path / name
    path.write_bytes(content)
    error = refused(path)
    assert error.code == code
    assert name in error.text


def test_a_single_pixel_is_refused(tmp_path):
    path = tmp_path / "dot.png"
    Image.new("L", (1, 1), 128).save(path)
    error = refused(path)
    assert error.code == "too-small"
    assert "1 x 1" in error.text


def test_a_picture_in_a_format_no_phone_writes_is_refused(tmp_path):
    """Fewer decoders are open to strangers' files."""
    path = tmp_path / "old.bmp"
    Image.new("L", (400, 300), 128).save(path)
    assert refused(path).code == "not-a-photo"


def test_a_file_of_more_than_100_mb_is_refused_before_it_is_read(tmp_path):
    path = tmp_path / "big.jpg"
    with path.open("wb") as file:
        file.truncate(100_000_001)  # sparse: takes no room
    error = refused(path)
    assert error.code == "too-large"
    assert "100 MB" in error.text


def test_a_folder_is_refused(tmp_path):
    (tmp_path / "folder.jpg").mkdir()
    error = refused(tmp_path / "folder.jpg")
    assert error.code == "not-a-file"
    assert "folder.jpg is a folder" in error.text


def test_a_missing_file_is_refused(tmp_path):
    error = refused(tmp_path / "nowhere.jpg")
    assert error.code == "missing"
    assert "nowhere.jpg" in error.text


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no FIFOs")
def test_a_fifo_is_refused_instead_of_waited_for(tmp_path):
    os.mkfifo(tmp_path / "pipe.jpg")
    assert refused(tmp_path / "pipe.jpg").code == "not-a-file"


def test_a_name_with_a_line_break_and_colours_is_shown_harmless(tmp_path):
    path = tmp_path / "a\nb\x1b[31mred.jpg"
    path.write_bytes(b"no picture")
    error = refused(path)
    assert "\n" not in error.text
    assert "\x1b" not in error.text
    assert "red.jpg" in error.text


@pytest.mark.parametrize("name", ["a\0b.jpg", "x" * 400 + ".jpg"])
def test_a_name_that_no_file_can_have_is_refused(tmp_path, name):
    assert refused(f"{tmp_path}/{name}").code in ("unreadable", "missing")


# ------------------------------------------------------- whole photos that show no usable gauge


def blank(path, width: int = 1000, height: int = 750) -> None:
    rng = np.random.default_rng(4)
    grey = rng.normal(120, 8, (height, width)).clip(0, 255).astype(np.uint8)
    Image.fromarray(grey).save(path, quality=90)


def codes(result) -> list[str]:
    return [r.code for r in result.reasons]


def test_a_photo_without_a_gauge_asks_for_one(tmp_path):
    blank(tmp_path / "wall.jpg")
    result = rigvision.check(tmp_path / "wall.jpg")
    assert result.verdict == "retake"
    assert codes(result) == ["no-gauge"]
    assert result.gauge is None
    assert result.gap is None
    assert result.turns.value is None


@pytest.fixture(scope="module")
def seated(shoot, gauge, frame):
    return shoot(ideal_scene(gauge, frame), camera_at())


@pytest.fixture(scope="module")
def strange(shoot, gauge, frame):
    """The same plate with tags of other ids."""
    renamed = {i + 200: c for i, c in gauge.marks.centres_mm.items()}
    marks = gauge.marks.model_copy(update={"centres_mm": renamed})
    yoke = gauge.yoke.model_copy(update={"tag_id": 308})
    other = gauge.model_copy(update={"marks": marks, "yoke": yoke, "name": "XX-1"})
    return shoot(ideal_scene(other, frame), camera_at(), rig=(other, frame))


@pytest.mark.parametrize("wanted", [None, "RG-10"])
def test_a_gauge_with_other_tags_is_the_wrong_gauge(strange, wanted):
    result = rigvision.check(strange.path, gauge=wanted)
    assert result.verdict == "retake"
    assert codes(result) == ["wrong-gauge"]
    assert "300" in result.reasons[0].text
    assert result.gap is None


def grey(path) -> Image.Image:
    with Image.open(path) as picture:
        return picture.convert("L")


def beside(left, right, path) -> None:
    both = Image.new("L", (2800, 1050))
    for x, shot in ((0, left), (1400, right)):
        both.paste(grey(shot.path).resize((1400, 1050)), (x, 0))
    both.save(path, quality=92)


def test_two_gauges_of_one_kind_are_refused(tmp_path, seated):
    beside(seated, seated, tmp_path / "two.jpg")
    result = rigvision.check(tmp_path / "two.jpg")
    assert result.verdict == "retake"
    assert codes(result) == ["two-gauges"]
    assert "one gauge alone" in result.reasons[0].remedy


def test_a_mirrored_photo_shows_no_gauge(tmp_path, seated):
    """36h11 tells a tag from its mirror image: a mirrored picture must not be measured."""
    grey(seated.path).transpose(Image.Transpose.FLIP_LEFT_RIGHT).save(
        tmp_path / "mirror.jpg", quality=92
    )
    result = rigvision.check(tmp_path / "mirror.jpg")
    assert result.verdict == "retake"
    assert result.gap is None


def test_too_few_marks_name_those_that_are_missing(shoot, gauge, frame):
    scene = replace(ideal_scene(gauge, frame), covered_marks=(100, 101, 103, 104, 106))
    result = rigvision.check(shoot(scene, camera_at()).path)
    assert result.verdict == "retake"
    assert codes(result) == ["too-few-marks"]
    assert "100 (upper left), 101 (upper)" in result.reasons[0].text
    assert "3 of 8" in result.reasons[0].text


def test_a_photo_reduced_to_a_thumbnail_is_too_far(tmp_path, seated):
    grey(seated.path).resize((800, 600)).save(tmp_path / "small.jpg", quality=92)
    result = rigvision.check(tmp_path / "small.jpg")
    assert result.verdict == "retake"
    assert codes(result)[0] in ("too-far", "no-gauge", "too-few-marks", "blurred")


def test_a_blurred_photo_says_so(shoot, gauge, frame):
    camera = camera_at()
    soft = replace(camera, development=replace(camera.development, blur_sigma_px=2.6))
    result = rigvision.check(shoot(ideal_scene(gauge, frame), soft).path)
    assert result.verdict == "retake"
    assert codes(result)[0] == "blurred"


@pytest.mark.parametrize(
    ("development", "code"),
    [
        pytest.param({"blur_sigma_px": 9.0}, "blurred", id="hopelessly blurred"),
        pytest.param({"exposure": 0.004, "flare": 0.0, "read_noise": 0.003}, "too-dark", id="dark"),
    ],
)
def test_a_gauge_lost_in_blur_or_dark_is_blamed_on_it(shoot, gauge, frame, development, code):
    """Not on a missing gauge: the remedy is another."""
    camera = camera_at()
    poor = replace(camera, development=replace(camera.development, **development))
    result = rigvision.check(shoot(ideal_scene(gauge, frame), poor).path)
    assert result.verdict == "retake"
    assert code in codes(result)


# -------------------------------------------------------------------------------- one after another


def test_the_other_photos_are_still_checked(tmp_path, seated):
    (tmp_path / "notes.jpg").write_text("no picture")
    blank(tmp_path / "wall.jpg")
    photos = [
        tmp_path / "notes.jpg",
        seated.path,
        tmp_path / "nowhere.jpg",
        tmp_path / "wall.jpg",
        seated.path,
    ]
    done: list[int] = []
    results = rigvision.check_many(photos, progress=done.append)
    assert [getattr(r, "code", None) for r in results] == [
        "not-a-photo",
        None,
        "missing",
        None,
        None,
    ]
    assert results[1].gap.mean_mm is not None
    assert results[1] == results[4]
    assert codes(results[3]) == ["no-gauge"]
    assert done == [1, 2, 3, 4, 5]


def test_nothing_to_check_is_an_empty_list():
    assert rigvision.check_many([]) == []


def test_each_reject_is_a_sentence_in_a_program_that_has_read_nothing_before(tmp_path):
    """In a fresh process: no decoder's plug-in is loaded yet, as for a mechanic's first photo."""
    import subprocess
    import sys

    for name, content in {
        "text.jpg": b"hello",
        "cut.png": b"\x89PNG\r\n\x1a\n" + b"\0" * 40,
    }.items():
        (tmp_path / name).write_bytes(content)
        done = subprocess.run(
            [sys.executable, "-m", "rigvision", "check", str(tmp_path / name)],
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 1
        assert name in done.stderr
        assert "not a photo" in done.stderr
