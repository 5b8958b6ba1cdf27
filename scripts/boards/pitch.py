"""Known pitches of boards, measured as rigvision measures: one mark left out in turn.

The view is solved from all other marks; where the left-out mark's middle then comes to lie on
the board is compared with its drawing. The stated uncertainty is what the tool would state: the
view's covariance, the mark's own, and how well a mark's place on the board is known.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from boards.detection import codes_8bit
from boards.layout import CHARUCO, UNIT_MM, Board
from rigvision.ground.conventions import FloatArray
from rigvision.ground.errors import Unmeasurable
from rigvision.metrology.view_errors import FixedPixels
from rigvision.photo.picture import Picture
from rigvision.vision.camera_prior import CameraPrior, camera_prior
from rigvision.vision.marks import Mark, Marks, measure_marks
from rigvision.vision.outward import corrected_corners
from rigvision.vision.pose import Pose, solve_pose
from rigvision.vision.pose_tuning import PoseTuning
from rigvision.world.camera import Camera
from rigvision.world.catalogue import load
from rigvision.world.gauge import Gauge

#: What OpenCV's saddle points err on such pictures (``tests/test_real_board.py``), px.
SADDLE_PX = 0.12


@dataclass(frozen=True)
class Place:
    """A mark's middle on the board, found minus drawn, with what was stated; board units."""

    point: str
    error: FloatArray  # (2,)
    uncertainty: FloatArray  # (2,) standard
    px_per_unit: float


@dataclass(frozen=True)
class Pitches:
    """All places of one picture; none where the view could not be solved, with the reason."""

    set_name: str
    picture: str
    marks: int  # measured
    residual_px: float | None
    places: tuple[Place, ...]
    reason: str = ""


def measure_pitches(picture: Picture, board: Board) -> Pitches:
    """Each mark in turn from all others."""
    sightings = [s for s in board.sightings(picture) if s.mark_id in board.centres]
    if not sightings:
        return Pitches(board.set_name, picture.name, 0, None, (), "no mark found")
    marks, gauge, prior = measure_marks(picture, sightings), board.gauge(), _prior(picture, board)
    count = len(marks.measured)
    try:
        pose = solve_pose(marks, gauge, prior)
        places = tuple(
            _left_out(pose, marks, mark, gauge, prior) for mark in marks.measured if count > 4
        )
    except Unmeasurable as stopped:
        return Pitches(board.set_name, picture.name, count, None, (), stopped.code)
    if board is CHARUCO:
        places += _checker_corners(picture, pose)
    return Pitches(board.set_name, picture.name, count, pose.residual_px, places)


def _left_out(whole: Pose, marks: Marks, mark: Mark, gauge: Gauge, prior: CameraPrior) -> Place:
    """One mark placed by the others, less those that the solve of all had refused.

    They are not looked through for odd ones again: that would take as many solves once more.
    """
    others = tuple(
        m for m in marks.measured if m.mark_id in whole.used and m.mark_id != mark.mark_id
    )
    no_search = replace(PoseTuning(), suspicious_scatter=np.inf, refuse_chi2=np.inf)
    pose = solve_pose(replace(marks, measured=others), gauge, prior, no_search)
    drawn = np.asarray(gauge.marks.centres_mm[mark.mark_id])
    covariance = mark.covariance_px2 + np.eye(8) * PoseTuning().corner_floor_px ** 2
    return _place(
        str(mark.mark_id),
        pose,
        corrected_corners(mark, pose.view),
        covariance,
        drawn,
        gauge.marks.position_uncertainty_mm,
    )


def _checker_corners(picture: Picture, pose: Pose) -> tuple[Place, ...]:
    """Corners of a ChArUco's squares, by OpenCV's saddle points, in the view that its markers
    gave: nothing of them went into it.
    """
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_6X6_250)
    board = cv2.aruco.CharucoBoard((5, 7), 1.0, 0.5, family)
    corners, ids, _, _ = cv2.aruco.CharucoDetector(board).detectBoard(codes_8bit(picture))
    places = []
    for corner_px, corner in zip(
        np.asarray(corners, dtype=float).reshape(-1, 1, 2), np.ravel(ids).tolist(), strict=True
    ):
        drawn = UNIT_MM * np.array([corner % 4 - 1.5, 2.5 - corner // 4])
        covariance = np.eye(2) * SADDLE_PX**2
        position_mm = CHARUCO.uncertainty * UNIT_MM
        places.append(_place(f"corner {corner}", pose, corner_px, covariance, drawn, position_mm))
    return tuple(places)


def _place(
    point: str,
    pose: Pose,
    points_px: FloatArray,
    covariance_px2: FloatArray,
    drawn_mm: FloatArray,
    position_mm: float,
) -> Place:
    """Where the mean of points (N, 2) lies; covariance (2 N, 2 N) of their pixels."""
    on_board = pose.view.on_plane_z(points_px, 0.0)
    by_view = _by_view(pose, on_board)
    by_pixels = np.zeros((2, points_px.size))
    for k in range(points_px.size):
        step = np.zeros(points_px.size)
        step[k] = 0.01
        ends = [
            pose.view.on_plane_z(points_px + sign * step.reshape(-1, 2), 0.0).mean(axis=0)[:2]
            for sign in (1.0, -1.0)
        ]
        by_pixels[:, k] = (ends[0] - ends[1]) / 0.02
    covariance = by_view + by_pixels @ covariance_px2 @ by_pixels.T + np.eye(2) * position_mm**2
    px_per_unit = pose.view.px_per_mm(on_board.mean(axis=0), np.array([1.0, 0.0, 0.0])) * UNIT_MM
    return Place(
        point,
        (on_board.mean(axis=0)[:2] - drawn_mm) / UNIT_MM,
        np.sqrt(np.diag(covariance)) / UNIT_MM,
        px_per_unit,
    )


def _by_view(pose: Pose, on_board: FloatArray) -> FloatArray:
    """Covariance (2, 2) of the place that the view's covariance alone causes."""
    scale = np.sqrt(np.diag(pose.covariance))
    values, vectors = np.linalg.eigh(pose.covariance / np.outer(scale, scale))
    root = scale[:, None] * vectors * np.sqrt(values.clip(min=0.0))
    pixels, still = FixedPixels(pose, on_board), np.zeros((2 * len(scale), len(on_board)))
    moved = pixels.read(np.concatenate([root.T, -root.T]), still)[..., :2].mean(axis=1)
    by_view = (moved[: len(scale)] - moved[len(scale) :]) / 2.0
    return np.asarray(by_view.T @ by_view)


def _prior(picture: Picture, board: Board) -> CameraPrior:
    """The tool's own for a phone; of any other camera next to nothing is known."""
    if board.phone:
        return camera_prior(load(Camera, "generic-phone"), picture)
    width, height = picture.width_px, picture.height_px
    middle = ((width - 1) / 2, (height - 1) / 2)
    return CameraPrior(1.1 * max(width, height), 0.5, middle, 0.03 * max(width, height), 0.0, 0.2)
