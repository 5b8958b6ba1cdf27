"""Yoke and socket in the lower window: the yoke from its tag, the socket from its barrel."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.photo.picture import Picture
from rigvision.vision.barrel import SocketPlace, find_socket
from rigvision.vision.barrel_scene import BarrelScene
from rigvision.vision.marks import Mark, Marks
from rigvision.vision.pose import Pose, PoseTuning, corrected_corners
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge, Yoke
from rigvision.world.recognise import has_index_lines

__all__ = ["SocketPlace", "YokeFeatures", "YokePlace", "find_yoke"]

#: A yoke tag whose size comes out further off than this is bent, covered or not in its plane.
SIZE_TOLERANCE = 0.02


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
        yoke = _yoke_from_tag(mark, pose, gauge.yoke)
    socket = None
    if frame.socket:
        shoulder_x_mm = float(yoke.shoulder_mm[0]) if yoke else None
        scene = BarrelScene(picture, pose, gauge, frame.socket)
        socket = find_socket(scene, shoulder_x_mm, has_index_lines(gauge, frame))
    return YokeFeatures(yoke, socket)


def _yoke_from_tag(mark: Mark, pose: Pose, yoke: Yoke) -> YokePlace | None:
    """The tag's corners carried to the yoke's plane, and the drawing laid onto them."""
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
    turn = np.array(
        [[np.cos(angle_rad), -np.sin(angle_rad)], [np.sin(angle_rad), np.cos(angle_rad)]]
    )
    lever = -turn @ drawn.mean(axis=0)  # from the tag's centre to the shoulder
    shoulder = seen.mean(axis=0) + lever
    scale = float(np.mean(np.linalg.norm(np.diff(mark.corners_px, axis=0), axis=1)))
    px_per_mm = scale / float(np.linalg.norm(drawn[1] - drawn[0]))
    floor_px = PoseTuning().corner_floor_px  # a tag errs alike on the yoke and on the plate
    variance_px = float(np.mean(np.diag(mark.covariance_px2))) + floor_px**2
    variance = variance_px / px_per_mm**2
    angle_variance = variance / float(np.sum(drawn_out**2))
    jacobian = np.array([[1.0, 0.0, -lever[1]], [0.0, 1.0, lever[0]], [0.0, 0.0, 1.0]])
    covariance = jacobian @ np.diag([variance / 4, variance / 4, angle_variance]) @ jacobian.T
    return YokePlace(np.append(shoulder, yoke.face_z_mm), angle_rad, covariance)
