"""Yoke and socket in the lower window: the yoke from its tag, the socket from its barrel."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.photo.picture import Picture
from rigvision.vision.barrel import SocketPlace, find_socket
from rigvision.vision.barrel_scene import BarrelScene
from rigvision.vision.marks import Mark, Marks
from rigvision.vision.outward import corrected_corners
from rigvision.vision.pose import Pose
from rigvision.vision.pose_tuning import PoseTuning
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge, Yoke
from rigvision.world.recognise import has_index_lines

__all__ = ["SocketPlace", "YokeFeatures", "YokePlace", "find_yoke"]

#: A yoke tag whose size comes out further off than this is bent, covered or not in its plane.
SIZE_TOLERANCE = 0.02
#: Gauss-Newton steps from the unweighed fit, which is off by a pixel at most.
STEPS = 3


@dataclass(frozen=True, slots=True)
class YokePlace:
    """The yoke on its slide: middle of its shoulder, and its centreline's direction."""

    shoulder_mm: FloatArray  # (3,) gauge axes
    angle_rad: float  # from gauge x to the centreline, counter-clockwise
    covariance: FloatArray  # (3, 3) of shoulder x, shoulder y (mm) and angle (rad)


@dataclass(frozen=True, slots=True)
class YokeFeatures:
    """What was found in the lower window; None for what is hidden or not on this gauge."""

    yoke: YokePlace | None
    socket: SocketPlace | None


def find_yoke(
    picture: Picture, marks: Marks, pose: Pose, gauge: Gauge, frame: Frame
) -> YokeFeatures:
    """Place of the yoke and of the socket, in gauge axes."""
    yoke = None
    if gauge.yoke and (mark := marks.by_id(gauge.yoke.tag_id)):
        yoke = yoke_from_tag(mark, pose, gauge.yoke)
    socket = None
    if frame.socket:
        shoulder_x_mm = float(yoke.shoulder_mm[0]) if yoke else None
        scene = BarrelScene(picture, pose, gauge, frame.socket)
        socket = find_socket(scene, shoulder_x_mm, has_index_lines(gauge, frame))
    return YokeFeatures(yoke, socket)


def yoke_from_tag(mark: Mark, pose: Pose, yoke: Yoke) -> YokePlace | None:
    """The drawing laid onto the tag's corners, each weighed by how well it is known.

    A shadow or scratch on one side spoils two corners, and their covariance says so.
    """
    drawn = yoke.tag_corners_mm()
    if drawn is None:
        return None
    seen = pose.view.on_plane_z(corrected_corners(mark, pose.view), yoke.face_z_mm)[:, :2]
    drawn_out, seen_out = drawn - drawn.mean(axis=0), seen - seen.mean(axis=0)
    size_ratio = float(np.linalg.norm(seen_out) / np.linalg.norm(drawn_out))
    if abs(size_ratio - 1.0) > SIZE_TOLERANCE:
        return None
    cross = np.sum(drawn_out[:, 0] * seen_out[:, 1] - drawn_out[:, 1] * seen_out[:, 0])
    angle_rad = float(np.arctan2(cross, np.sum(drawn_out * seen_out)))
    shoulder = seen.mean(axis=0) - _turn(angle_rad) @ drawn.mean(axis=0)
    state = np.array([*shoulder, angle_rad])
    state, covariance = _weighed(state, mark, pose, drawn, yoke.face_z_mm)
    return YokePlace(np.append(state[:2], yoke.face_z_mm), float(state[2]), covariance)


def _weighed(
    state: FloatArray, mark: Mark, pose: Pose, drawn: FloatArray, z_mm: float
) -> tuple[FloatArray, FloatArray]:
    """Shoulder x, y (mm) and angle (rad) by least squares in pixels, and their covariance."""
    floor_px = PoseTuning().corner_floor_px  # a tag errs alike on the yoke and on the plate
    weight = np.linalg.inv(mark.covariance_px2 + np.eye(8) * floor_px**2)
    observed = corrected_corners(mark, pose.view)

    def misfit_px(at: FloatArray) -> FloatArray:
        flat = at[:2] + drawn @ _turn(float(at[2])).T
        points = np.column_stack([flat, np.full(len(flat), z_mm)])
        return (observed - pose.view.project(points)).ravel()

    steps = np.array([1e-4, 1e-4, 1e-5])
    for _ in range(STEPS):
        rest = misfit_px(state)
        slopes = [(rest - misfit_px(state + step)) / step.max() for step in np.diag(steps)]
        design = np.stack(slopes, axis=1)
        covariance = np.linalg.inv(design.T @ weight @ design)
        state = state + covariance @ design.T @ weight @ rest
    rest = misfit_px(state)
    # Corners that agree worse than they claim are less well known than they claim (Birge).
    spread = float(rest @ weight @ rest) / (rest.size - state.size)
    return state, covariance * max(1.0, spread)


def _turn(angle_rad: float) -> FloatArray:
    """Rotation (2, 2), counter-clockwise."""
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    return np.array([[c, -s], [s, c]])
