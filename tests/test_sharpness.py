"""The whole picture's sharpness and light, asked when no gauge was found."""

from pathlib import Path

import cv2
import numpy as np
import pytest

from rigvision import check
from rigvision.photo.exif import Exif
from rigvision.photo.picture import Picture
from rigvision.photo.sharpness import blur_px, lightest

SAMPLES = Path(__file__).parent.parent / "sample_images"


def picture_of(luma: np.ndarray) -> Picture:
    return Picture(Path("made.png"), "made.png", "0" * 64, luma, Exif())


def tilted_checks(sigma_px: float) -> np.ndarray:
    """A tilted checker board, blurred by a known Gaussian, 8 bit."""
    y, x = np.mgrid[0:600, 0:800].astype(np.float32)
    u, v = x * 0.985 - y * 0.174, x * 0.174 + y * 0.985  # 10 degrees
    board = np.where((np.floor(u / 60) + np.floor(v / 60)) % 2 == 0, 30.0, 210.0)
    return cv2.GaussianBlur(board.astype(np.float32), (0, 0), sigma_px).astype(np.uint8)


@pytest.mark.parametrize("sigma_px", [1.0, 2.0, 4.0])
def test_the_blur_of_a_known_picture_is_found(sigma_px):
    # A pixel's own width and the two-pixel difference add to it: half a pixel is allowed.
    assert blur_px(picture_of(tilted_checks(sigma_px))) == pytest.approx(sigma_px, abs=0.5)


def test_a_flat_picture_has_no_edges_at_all():
    assert blur_px(picture_of(np.full((400, 500), 128, np.uint8))) == float("inf")


def test_the_lightest_part_is_told_in_linear_light():
    # IEC 61966-2-1: code 188 of 255 is half of full light (0.5029).
    assert lightest(picture_of(np.full((400, 500), 188, np.uint8))) == pytest.approx(
        0.503, abs=1e-3
    )


@pytest.mark.parametrize(("change", "code"), [("blur", "blurred"), ("dark", "too-dark")])
def test_a_gauge_lost_in_blur_or_dark_is_blamed_on_that(tmp_path, change, code):
    photo = cv2.imread(str(SAMPLES / "nominal.jpg"))
    lost = cv2.GaussianBlur(photo, (0, 0), 14.0) if change == "blur" else (photo * 0.03)
    path = tmp_path / f"{change}.jpg"
    cv2.imwrite(str(path), np.asarray(lost, dtype=np.uint8))
    result = check(path)
    assert result.verdict == "retake"
    assert result.reasons[0].code == code


def test_a_picture_without_any_edge_is_not_called_blurred(tmp_path):
    path = tmp_path / "wall.png"
    cv2.imwrite(str(path), np.full((900, 1200), 128, np.uint8))
    assert [reason.code for reason in check(path).reasons] == ["no-gauge"]
