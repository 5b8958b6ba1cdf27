"""Which way a picture is smeared, against blurs made by known kernels."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from rigvision.photo.exif import Exif
from rigvision.photo.picture import Picture
from rigvision.synthetic import ideal_scene
from rigvision.synthetic.development import develop
from rigvision.synthetic.picture import render
from rigvision.vision.smear import Smear, find_smear
from rigvision.vision.view import View
from tests.photos import CLEAN, camera_at

FINER = 8  #: the path of a hand is drawn on a grid so much finer than the pixels


@pytest.fixture(scope="module")
def sharp(gauge, frame):
    """Light on the sensor, and the camera's own geometry as a view."""
    camera = camera_at(development=CLEAN)
    light = render(ideal_scene(gauge, frame), camera, gauge, frame, np.random.default_rng(1))
    rotation = np.asarray(cv2.Rodrigues(camera.axes)[0]).ravel()
    inner = [np.log(camera.lens_px), *camera.principal_point_px, camera.k1, 0.0]
    view = View(np.concatenate([rotation, -camera.axes @ camera.eye_mm, inner]))
    return light, camera, view


def path_kernel(length_px: float, angle_deg: float) -> np.ndarray:
    """A straight path of even speed, as a kernel of whole pixels."""
    side = 2 * int(np.ceil(length_px / 2)) + 3
    middle = np.array([1.0, 1.0]) * (side * FINER - 1) / 2
    turn = np.radians(angle_deg)
    reach = np.array([np.cos(turn), np.sin(turn)]) * length_px * FINER / 2
    kernel = np.zeros((side * FINER, side * FINER), np.float32)
    ends = [tuple(np.round(middle + s * reach).astype(int).tolist()) for s in (-1, 1)]
    cv2.line(kernel, ends[0], ends[1], 1.0, FINER)
    kernel = cv2.resize(kernel, (side, side), interpolation=cv2.INTER_AREA)
    return kernel / kernel.sum()


def smear_of(sharp, gauge, light: np.ndarray) -> Smear:
    _, camera, view = sharp
    codes = develop(light, camera, np.random.default_rng(2))
    picture = Picture(Path("made.png"), "made.png", "0" * 64, codes, Exif())
    found = find_smear(picture, view, gauge, tuple(gauge.marks.centres_mm))
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("length_px", "angle_deg"), [(4.0, 0.0), (4.0, 90.0), (6.0, 45.0), (6.0, -30.0), (9.0, 135.0)]
)
def test_a_moved_hand_is_told_by_way_and_length(sharp, gauge, length_px, angle_deg):
    """The drawn path is as wide as a pixel, which adds to it: a pixel is allowed."""
    light = cv2.filter2D(sharp[0], -1, path_kernel(length_px, angle_deg))
    found = smear_of(sharp, gauge, light)
    assert found.path_px == pytest.approx(length_px, abs=1.0)
    wanted = np.array([np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))])
    assert abs(float(wanted @ found.direction)) > np.cos(np.radians(6.0))


@pytest.mark.parametrize("sigma_px", [1.0, 2.0])
def test_a_blur_alike_all_ways_is_no_path(sharp, gauge, sigma_px):
    """The lens's own 0.8 px and the added blur add in squares. The window that ends at the pad's

    rim cuts the tails of a wide blur: a tenth of it is allowed.
    """
    found = smear_of(sharp, gauge, cv2.GaussianBlur(sharp[0], (0, 0), sigma_px))
    expected = float(np.hypot(0.8, sigma_px))
    assert found.along_px == pytest.approx(expected, rel=0.1)
    assert found.across_px == pytest.approx(expected, rel=0.1)


def test_no_mark_in_the_picture_tells_nothing(sharp, gauge):
    light, _, view = sharp
    picture = Picture(Path("a.png"), "a.png", "0" * 64, light.astype(np.uint8), Exif())
    away = view.parameters.copy()
    away[3] += 5000.0
    assert find_smear(picture, View(away), gauge, tuple(gauge.marks.centres_mm)) is None
    assert find_smear(picture, view, gauge, ()) is None
