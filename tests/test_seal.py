"""The record's seal in the analysed image: read back by another program, and by nothing lost."""

from __future__ import annotations

import io
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import ExifTags, Image

import rigvision
from rigvision.decision.result import CheckResult
from rigvision.report.analysed_image import as_jpeg, draw, write
from rigvision.report.seal import QUIET_MODULES, Seal, SealCode, code_modules, read_seal, seal_code

SAMPLE = Path(__file__).parents[1] / "sample_images" / "open-2.2mm.jpg"

SEAL = Seal(
    ledger="0123456789abcdef",
    record="K7Q2-M9XA",
    core_sha256="a1b2c3d4" * 8,
    count=41,
    head_hash="f0e1d2c3" * 8,
    job="J-0001",
    door=3,
    stage="before",
)
#: Written out by hand: the arrangement is what other programs rely on.
CODE = (
    "RIGVISION/1 0123456789ABCDEF K7Q2-M9XA "
    "A1B2C3D4A1B2C3D4A1B2C3D4A1B2C3D4A1B2C3D4A1B2C3D4A1B2C3D4A1B2C3D4 41 "
    "F0E1D2C3F0E1D2C3F0E1D2C3F0E1D2C3"
)


@pytest.fixture(scope="module")
def result() -> CheckResult:
    return rigvision.check(SAMPLE)


@pytest.fixture(scope="module")
def sealed(result: CheckResult) -> bytes:
    return as_jpeg(result, SEAL)


def read_by_opencv(content: bytes, scale: float = 1.0, quality: int | None = None) -> str:
    """What OpenCV's own reader finds, after shrinking and another JPEG."""
    picture = cv2.imdecode(np.frombuffer(content, np.uint8), cv2.IMREAD_GRAYSCALE)
    picture = cv2.resize(picture, None, None, scale, scale, cv2.INTER_AREA)
    if quality is not None:
        _, again = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, quality])
        picture = cv2.imdecode(again, cv2.IMREAD_GRAYSCALE)
    return str(cv2.QRCodeDetector().detectAndDecode(picture)[0])


# The code


def test_the_code_says_record_hash_and_head() -> None:
    assert seal_code(SEAL) == CODE
    assert read_seal(CODE) == SealCode(
        "0123456789abcdef", "K7Q2-M9XA", "a1b2c3d4" * 8, 41, "f0e1d2c3" * 4
    )


@pytest.mark.parametrize(
    "text",
    [
        "",
        CODE.lower(),
        CODE.replace("/1", "/2"),
        CODE.replace(" 41 ", " 041 "),
        CODE.replace("K7Q2", "U7Q2"),
        CODE[:-1],
        CODE + "0",
        CODE + " https://example.org",
        CODE.replace("4", "\N{ARABIC-INDIC DIGIT FOUR}"),
    ],
)
def test_other_texts_are_no_code_of_ours(text: str) -> None:
    assert read_seal(text) is None


@pytest.mark.parametrize(
    "wrong",
    [
        {"ledger": "0123"},
        {"record": "K7Q2-M9XA\x1b[2J"},
        {"core_sha256": "g" * 64},
        {"count": 0},
        {"count": -3},
        {"head_hash": "f0" * 31},
        {"head_hash": "f0" * 33},
    ],
)
def test_nothing_else_is_drawn_as_evidence(wrong: dict[str, object]) -> None:
    with pytest.raises(ValueError, match="seal"):
        replace(SEAL, **wrong)


@pytest.mark.parametrize("count", [1, 9_999_999_999_999_999])
def test_the_code_has_the_same_size_for_a_young_and_an_old_ledger(count: int) -> None:
    """41 modules (version 6) and 4 clear ones around (ISO/IEC 18004, from memory)."""
    modules = code_modules(replace(SEAL, count=count))
    assert modules.shape == (49, 49)
    assert QUIET_MODULES == 4
    border = np.ones((49, 49), bool)
    border[4:-4, 4:-4] = False
    assert (modules[border] == 255).all()
    assert set(np.unique(modules)) == {0, 255}
    # The corner of a finder pattern is dark, inside it a light ring.
    assert modules[4, 4:11].max() == 0
    assert modules[5, 5:10].min() == 255


# In the image


@pytest.mark.parametrize(("scale", "quality"), [(1.0, None), (1.0, 60), (0.5, 60), (0.5, None)])
def test_another_reader_reads_the_code(sealed: bytes, scale: float, quality: int | None) -> None:
    assert read_by_opencv(sealed, scale, quality) == CODE


def test_what_stands_above_the_record_is_the_plain_image_to_the_pixel(
    result: CheckResult,
) -> None:
    plain, drawn = np.asarray(draw(result)), np.asarray(draw(result, SEAL))
    assert drawn.shape[1:] == plain.shape[1:]
    assert (drawn[: plain.shape[0]] == plain).all()
    assert drawn.shape[0] - plain.shape[0] == 490 + 8  # 49 modules of 10 px, a line


def test_every_module_is_a_square_of_ten_pixels(result: CheckResult) -> None:
    code = np.asarray(draw(result, SEAL))[-490:, :490]
    blocks = code.reshape(49, 10, 49, 10, 3)
    assert (blocks == blocks[:, :1, :, :1, :1]).all()
    assert (blocks[:, 0, :, 0, 0] == code_modules(SEAL)).all()


def test_a_long_foreign_job_name_stays_in_its_panel(result: CheckResult) -> None:
    name = "</script>\x1b[31m\N{RIGHT-TO-LEFT OVERRIDE}" + "W" * 300
    drawn = draw(result, replace(SEAL, job=name))
    assert drawn.size == draw(result, SEAL).size
    content = io.BytesIO()
    drawn.save(content, "PNG")
    assert read_by_opencv(content.getvalue()) == CODE


# The file


def test_the_label_names_photo_and_record_and_nothing_else(
    result: CheckResult, sealed: bytes
) -> None:
    with Image.open(io.BytesIO(sealed)) as image:
        exif = image.getexif()
        assert dict(exif) == {
            ExifTags.Base.Software: f"rigvision {result.version}",
            ExifTags.Base.ImageDescription: f"photo sha256 {result.photo.sha256}, record {CODE}",
        }
        for ifd in (ExifTags.IFD.Exif, ExifTags.IFD.GPSInfo, ExifTags.IFD.IFD1):
            assert not exif.get_ifd(ifd)
        assert "icc_profile" not in image.info
        assert "comment" not in image.info


def test_the_file_has_the_segments_of_a_picture_and_one_label(sealed: bytes) -> None:
    """Walked by hand (ITU T.81, B.1): JFIF, one Exif, tables, frame, scan; the end is the end.

    So no XMP, no ICC profile, no maker's notes, no second picture behind the first.
    """
    kinds, at = [], 2
    while sealed[at + 1] != 0xDA:
        assert sealed[at] == 0xFF
        kinds.append(sealed[at + 1])
        at += 2 + int.from_bytes(sealed[at + 2 : at + 4], "big")
    assert kinds.count(0xE0) == kinds.count(0xE1) == 1
    assert set(kinds) <= {0xE0, 0xE1, 0xDB, 0xC0, 0xC4}
    assert sealed[:2] == b"\xff\xd8"
    assert sealed.index(b"\xff\xd9", at) == len(sealed) - 2


def test_the_same_record_makes_the_same_bytes(result: CheckResult, sealed: bytes) -> None:
    assert as_jpeg(result, SEAL) == sealed


def test_a_recorded_image_is_replaced_by_its_own_record_alone(
    result: CheckResult, tmp_path: Path
) -> None:
    other = replace(SEAL, record="0000-0001")
    names = [write(result, tmp_path, seal).name for seal in (SEAL, None, other, SEAL, None, other)]
    assert names[:3] == [f"open-2.2mm{n}.checked.jpg" for n in ("", "-2", "-3")]
    assert names[3:] == names[:3]
    assert read_by_opencv((tmp_path / names[0]).read_bytes()) == CODE


def test_what_makes_codes_and_pages_is_loaded_only_where_one_is_made() -> None:
    command = "import sys, rigvision.report.analysed_image, rigvision.cli.main; print(*sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", command], capture_output=True, text=True, check=True, timeout=60
    )
    assert not {"segno", "fpdf", "fontTools"} & set(done.stdout.split())
