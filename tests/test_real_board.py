"""Real photographs of boards with known proportions, by other people (see tests/data/README.md)."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest
from boards.detection import FAMILY, codes_8bit
from boards.layout import CHARUCO, SCREEN, STEREO, Board
from boards.pitch import Pitches, measure_pitches

from rigvision.photo.picture import Picture, read_picture
from rigvision.vision.camera_prior import CameraPrior
from rigvision.vision.marks import Marks, measure_marks
from rigvision.vision.outward import corrected_corners
from rigvision.vision.pose import Pose, solve_pose
from rigvision.vision.sighting import Sighting, find_tags
from rigvision.world.gauge import Gauge

DATA = Path(__file__).parent / "data"
PHOTO = DATA / "charuco-photo.jpg"
SQUARE_MM = 40.0
COLUMNS, ROWS = 5, 7


@pytest.fixture(scope="module")
def picture() -> Picture:
    return read_picture(PHOTO)


@pytest.fixture(scope="module")
def squares(picture) -> Marks:
    """The board's black squares, each measured as a mark is; ids count column and row."""
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_6X6_250)
    board = cv2.aruco.CharucoBoard((COLUMNS, ROWS), 1.0, 0.5, family)
    corners, ids, _, _ = cv2.aruco.CharucoDetector(board).detectBoard(picture.luma)
    assert corners is not None
    inner = dict(zip(np.ravel(ids).tolist(), corners.reshape(-1, 2), strict=True))
    per_row = COLUMNS - 1
    seen = []
    for row in range(1, ROWS - 1):
        for column in range(1, COLUMNS - 1):
            if (row + column) % 2:
                continue  # a white square, with a marker in it
            around = [(row - 1, column - 1), (row - 1, column), (row, column), (row, column - 1)]
            keys = [r * per_row + c for r, c in around]
            if all(k in inner for k in keys):
                quad = np.array([inner[k] for k in keys], dtype=float)
                seen.append(Sighting(10 * row + column, quad))
    assert len(seen) >= 6
    return measure_marks(picture, seen)


def drawing(gauge: Gauge, marks: Marks, taller: float = 1.0) -> Gauge:
    """The board as a gauge: square marks, pitch equal to their size; rows run down."""
    centres = {
        m.mark_id: (
            SQUARE_MM * (m.mark_id % 10 - (COLUMNS - 1) / 2),
            taller * SQUARE_MM * ((ROWS - 1) / 2 - m.mark_id // 10),
        )
        for m in marks.measured
    }
    shown = gauge.marks.model_copy(
        update={
            "size_mm": SQUARE_MM,
            "pad_mm": 1.5 * SQUARE_MM,
            "centres_mm": centres,
            "position_uncertainty_mm": 0.02,
        }
    )
    return gauge.model_copy(update={"marks": shown, "yoke": None})


def prior(picture: Picture) -> CameraPrior:
    """A webcam of which next to nothing is known."""
    width, height = picture.width_px, picture.height_px
    return CameraPrior(700.0, 0.5, ((width - 1) / 2, (height - 1) / 2), 20.0, 0.0, 0.2)


@pytest.fixture(scope="module")
def pose(squares, gauge, picture) -> Pose:
    return solve_pose(squares, drawing(gauge, squares), prior(picture))


def test_every_square_of_the_printed_board_is_measured(squares):
    assert squares.unreadable == ()
    assert len(squares.measured) >= 6


def test_the_squares_fit_the_board_s_drawing(pose, squares):
    """OpenCV's own saddle points leave 0.12 px RMS on this picture.

    It is not blurred by as much as half a pixel, printed on paper and not quite flat (measured with
    ``cv2.calibrateCamera``, one focal length and k1 free). Lines get half as much again.
    """
    assert pose.used == tuple(sorted(m.mark_id for m in squares.measured))
    assert pose.refused == ()
    assert pose.residual_px < 0.18


def test_corners_are_those_of_opencv_s_saddle_points(picture, squares, pose):
    """Where two black squares touch, ``cv2.cornerSubPix`` finds the saddle between them.

    It is symmetric in black and white, so tone and sharpening do not move it. Tolerance of the
    mean: 64 coordinates of 0.12 px. Of the scatter: what either leaves over, 0.12 px, once more.
    """
    ours = np.concatenate([corrected_corners(m, pose.view) for m in squares.measured])
    start = ours.astype(np.float32).reshape(-1, 1, 2).copy()
    rule = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 60, 1e-4)
    saddles = cv2.cornerSubPix(picture.luma, start, (7, 7), (-1, -1), rule).reshape(-1, 2)
    apart = ours - saddles
    assert np.abs(apart.mean(axis=0)).max() < 0.05  # half a pixel's shift would be 0.5
    assert np.sqrt(np.mean(apart**2)) < 0.17


def test_the_pitch_of_the_printed_squares_is_right_in_both_directions(squares, pose):
    """Centres of squares two apart: 80 mm along x and along y.

    0.06 px in 106 px of two squares, four lengths at least in the mean: 0.1 mm, and the
    printer's own scale error is common to both.
    """
    places = {
        m.mark_id: pose.view.on_plane_z(corrected_corners(m, pose.view), 0.0).mean(axis=0)
        for m in squares.measured
    }
    for step in (2, 20):
        lengths = [
            float(np.linalg.norm(places[i + step] - places[i]))
            for i in places
            if i + step in places
        ]
        assert len(lengths) >= 2
        assert np.mean(lengths) == pytest.approx(2 * SQUARE_MM, abs=0.12)


@pytest.mark.parametrize("taller", [0.97, 1.03])
def test_a_drawing_with_the_wrong_pitch_ratio_fits_far_worse(taller, squares, pose, gauge, picture):
    """3 % over five rows of 53 px is 8 px, of which an unknown camera takes up nearly all."""
    other = solve_pose(squares, drawing(gauge, squares, taller), prior(picture))
    assert other.residual_px > 2.0 * pose.residual_px


#: Photographs of boards, and the RMS in board units that their places may err: a fifth of a
#: pixel, the most that the pose's residual may be, over some 50 pixels a unit; 100 of the screen.
BOARDS = {
    "checker-left.jpg": (STEREO, 0.2 / 35),
    "charuco-covered.jpg": (CHARUCO, 0.4 / 50),
    "screen-tags.jpg": (SCREEN, 0.2 / 100),
}


@pytest.fixture(scope="module")
def placed() -> dict[str, Pitches]:
    """Every mark of each board, placed by all others of the same picture."""
    return {n: measure_pitches(read_picture(DATA / n), board) for n, (board, _) in BOARDS.items()}


@pytest.mark.parametrize("name", BOARDS)
def test_known_pitches_are_right_within_what_is_stated(name, placed):
    """95 % should be covered: of 40 coordinates two lie outside on average, and five in one
    picture of twenty.
    """
    error = np.array([place.error for place in placed[name].places])
    u = np.array([place.uncertainty for place in placed[name].places])
    assert len(error) >= 20
    assert np.sqrt(np.mean(error**2)) < BOARDS[name][1]
    assert np.mean(np.abs(error) <= 1.96 * u) >= 0.88


def test_what_is_stated_is_no_more_than_a_hundredth_of_a_pitch(placed):
    """So that the test above could fail: a pitch is 35 to 100 px."""
    for name, pitches in placed.items():
        u = np.median([place.uncertainty for place in pitches.places])
        assert u < 0.01, name


def test_a_board_drawn_two_per_cent_too_tall_is_not_covered(placed):
    """2 % over a board of 5 squares is 0.05 squares at its ends: the view takes up most of it,
    the rest is far more than what was stated.
    """
    taller = {i: (x, 1.02 * y) for i, (x, y) in STEREO.centres.items()}
    wrong = Board("stereo", "square", 1.0, taller, 0.002, STEREO.sightings, "wrong on purpose")
    right = placed["checker-left.jpg"]
    other = measure_pitches(read_picture(DATA / "checker-left.jpg"), wrong)
    assert right.residual_px is not None
    assert other.residual_px is None or other.residual_px > 1.3 * right.residual_px


def test_no_tag_is_found_on_boards_that_have_none():
    for name in ("checker-left.jpg", "charuco-covered.jpg"):
        assert find_tags(read_picture(DATA / name)) == []


def test_tags_of_a_phone_s_picture_are_where_opencv_has_them():
    """Their borders are two modules wide: detectors put quads inside them, each its own way,
    but about the same middle. A module is 9 px.
    """
    picture = read_picture(DATA / "screen-tags.jpg")
    corners, ids, _ = cv2.aruco.ArucoDetector(FAMILY).detectMarkers(codes_8bit(picture))
    theirs = {
        int(i): np.asarray(c).reshape(4, 2).mean(axis=0)
        for i, c in zip(np.ravel(ids), corners, strict=True)
    }
    found = find_tags(picture)
    assert len({tag.mark_id for tag in found}) >= 4
    assert all(tag.mark_id in theirs for tag in found)
    apart = [np.linalg.norm(t.corners_px.mean(axis=0) - theirs[t.mark_id]) for t in found]
    assert max(apart) < 9.0
