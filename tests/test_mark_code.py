"""A mark's known grid against the picture: clean, covered in part, in shadow, and not there."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from rigvision.vision.mark_code import grid, match_code

CELL = 12
#: Corners of the printed mark in ``printed``: cells 4 to 12, pixel centres at whole numbers.
CORNERS = np.array([[4, 4], [12, 4], [12, 12], [4, 12]]) * float(CELL) - 0.5


def printed(mark_id: int = 103, black: int = 40, white: int = 200) -> np.ndarray:
    """A mark amid 16 x 16 cells, its pad white."""
    cells = np.pad(grid(mark_id), 3, constant_values=True)
    codes = np.where(cells, white, black).astype(np.uint8)
    return np.kron(codes, np.ones((CELL, CELL), np.uint8))


def test_the_grid_is_what_opencv_decodes():
    detector = cv2.aruco.ArucoDetector(
        cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    )
    _, ids, _ = detector.detectMarkers(printed(217))
    assert np.ravel(ids).tolist() == [217]


def test_a_clean_mark_agrees_wholly_where_it_is():
    match = match_code(printed(), CORNERS, 103)
    assert match.agreement == 1.0
    np.testing.assert_allclose(match.corners_px, CORNERS, rtol=0, atol=1.0)
    np.testing.assert_array_equal(match.shown, [[0, 1]] * 4)


@pytest.mark.parametrize("off", [(14.0, -9.0), (-11.0, 15.0)])
def test_a_mark_is_found_beside_its_expected_place(off):
    """To half a cell: agreement has a flat top, on which the nearest place is taken."""
    match = match_code(printed(), CORNERS + off, 103)
    assert np.abs(match.corners_px - CORNERS).max() <= CELL / 2
    assert match.agreement > 0.9


def test_a_shadow_s_border_across_the_mark_changes_nothing():
    """Black in the light is as bright as white in the shade: no common threshold parts them."""
    codes = printed().astype(float)
    codes[:, : 8 * CELL] *= 0.2
    match = match_code(codes.astype(np.uint8), CORNERS, 103)
    assert match.agreement > 0.9


def test_a_covered_side_does_not_show_and_its_neighbours_do_in_part():
    codes = printed()
    codes[:, : 7 * CELL] = 110  # three cells of eight, and what lies left of the mark
    match = match_code(codes, CORNERS, 103)
    top, right, bottom, left = match.shown.tolist()
    assert match.agreement > 0.5
    assert left == [0, 0]
    assert right == [0, 1]
    assert 3 / 8 <= top[0] <= 5 / 8
    assert top[1] == 1
    assert 3 / 8 <= bottom[1] <= 5 / 8 or bottom[0] == 0
    assert bottom[1] < 1


def test_nothing_but_a_mark_agrees():
    """Noise of every coarseness, half a thousand places: below what is asked for near and far."""
    rng = np.random.default_rng(4)
    near, far = 0.0, 0.0
    for coarse in np.linspace(1.0, 12.0, 24):
        noise = cv2.GaussianBlur(rng.normal(0.0, 1.0, (400, 400)), (0, 0), float(coarse))
        codes = np.clip(110 + 50 * noise / noise.std(), 0, 255).astype(np.uint8)
        for place in rng.uniform(0.0, 200.0, (20, 2)):
            corners = CORNERS - CORNERS[0] + place
            near = max(near, match_code(codes, corners, 101, 0.5).agreement)
            far = max(far, match_code(codes, corners, 101, 1.5).agreement)
    assert near < 0.5
    assert far < 0.7
