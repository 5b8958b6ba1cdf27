"""Yoke against socket: lateral offset, tilt, seat gap and clock, each with its budget."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.ground.measured import Influence, Measured
from rigvision.metrology.sensitivity import plane_sensitivity, view_spreads
from rigvision.vision.pose import Pose
from rigvision.vision.yoke import SocketPlace, YokeFeatures, YokePlace
from rigvision.world.frame import Frame


@dataclass(frozen=True, slots=True)
class YokeTuning:
    """Type B influences, standard uncertainties: common practice, no source."""

    depth_mm: float = 0.06  # yoke's face and socket's axis, each off its drawn plane
    roll_deg: float = 0.4  # yoke about its own axis, which its line's direction hangs on


@dataclass(frozen=True, slots=True)
class YokeAlignment:
    """None for what could not be measured. Signs: ``decision.result``."""

    lateral_offset_mm: Measured | None = None
    tilt_deg: Measured | None = None
    seat_gap_mm: Measured | None = None
    clock_deg: Measured | None = None


def measure_yoke(
    features: YokeFeatures, pose: Pose, frame: Frame, tuning: YokeTuning | None = None
) -> YokeAlignment:
    """Alignment of yoke and socket from their places."""
    tuning = tuning or YokeTuning()
    yoke, socket = features.yoke, features.socket
    if socket is None:
        return YokeAlignment()
    clock = _clock(socket, pose, frame, tuning)
    if yoke is None:
        return YokeAlignment(clock_deg=clock)
    return YokeAlignment(
        _lateral_offset(yoke, socket, pose, tuning),
        _tilt(yoke, socket, pose, frame),
        _seat_gap(yoke, socket, pose, frame, tuning),
        clock,
    )


def _lateral_offset(
    yoke: YokePlace, socket: SocketPlace, pose: Pose, tuning: YokeTuning
) -> Measured:
    """Socket axis y minus yoke centreline y, at the socket's face."""
    run = float(socket.axis_mm[0] - yoke.shoulder_mm[0])
    centreline_y = float(yoke.shoulder_mm[1] + np.tan(yoke.angle_rad) * run)
    on_yoke = np.array([socket.axis_mm[0], centreline_y, yoke.shoulder_mm[2]])
    by_view = plane_sensitivity(pose, np.stack([socket.axis_mm, on_yoke]))[:, 1]
    lever = np.array([0.0, 1.0, run])
    slope = pose.view.ray_slope_y(socket.axis_mm)
    return _measured(
        float(socket.axis_mm[1]) - centreline_y,
        by_view[0] - by_view[1],
        pose,
        (
            Influence("socket outline", "A", float(np.sqrt(socket.covariance[0, 0]))),
            Influence("yoke tag", "A", float(np.sqrt(lever @ yoke.covariance @ lever))),
            Influence("plane depth", "B", abs(slope) * tuning.depth_mm * float(np.sqrt(2.0))),
        ),
    )


def _tilt(yoke: YokePlace, socket: SocketPlace, pose: Pose, frame: Frame) -> Measured:
    """From yoke centreline to socket axis, counter-clockwise positive, degrees."""
    assert frame.socket is not None
    length = frame.socket.barrel_end_x_mm - frame.socket.face_x_mm
    far = socket.axis_mm + np.array([length, np.tan(socket.angle_rad) * length, 0.0])
    back = yoke.shoulder_mm - length * np.array(
        [np.cos(yoke.angle_rad), np.sin(yoke.angle_rad), 0.0]
    )
    by_view = plane_sensitivity(pose, np.stack([socket.axis_mm, far, yoke.shoulder_mm, back]))
    turn = (by_view[1, 1] - by_view[0, 1]) / length - (by_view[2, 1] - by_view[3, 1]) / length
    degree = float(np.degrees(1.0))
    return _measured(
        degree * (socket.angle_rad - yoke.angle_rad),
        degree * turn,
        pose,
        (
            Influence("socket outline", "A", degree * float(np.sqrt(socket.covariance[1, 1]))),
            Influence("yoke tag", "A", degree * float(np.sqrt(yoke.covariance[2, 2]))),
        ),
    )


def _seat_gap(
    yoke: YokePlace, socket: SocketPlace, pose: Pose, frame: Frame, tuning: YokeTuning
) -> Measured | None:
    """Socket face x minus yoke shoulder x."""
    if socket.face_x_mm is None or socket.face_u_mm is None or frame.socket is None:
        return None
    crown = np.array(
        [socket.face_x_mm, socket.axis_mm[1], socket.axis_mm[2] + frame.socket.radius_mm]
    )
    by_view = plane_sensitivity(pose, np.stack([crown, yoke.shoulder_mm]))[:, 0]
    to_camera = pose.view.camera_centre_mm - crown
    slope = float(to_camera[0] / to_camera[2])
    return _measured(
        socket.face_x_mm - float(yoke.shoulder_mm[0]),
        by_view[0] - by_view[1],
        pose,
        (
            Influence("socket face", "A", socket.face_u_mm),
            Influence("yoke tag", "A", float(np.sqrt(yoke.covariance[0, 0]))),
            Influence("plane depth", "B", abs(slope) * tuning.depth_mm * float(np.sqrt(2.0))),
        ),
    )


def _clock(socket: SocketPlace, pose: Pose, frame: Frame, tuning: YokeTuning) -> Measured | None:
    """From the yoke's line (the gauge's normal) to the nearest socket line, degrees."""
    if socket.clock_rad is None or socket.clock_u_rad is None or frame.socket is None:
        return None
    radius = frame.socket.radius_mm
    degree = float(np.degrees(1.0))
    crown = socket.axis_mm + np.array([5.0, 0.0, radius])
    by_view = plane_sensitivity(pose, np.stack([crown, socket.axis_mm]))[:, 1]
    # A line's place on the barrel is read against the barrel's axis: y / r = sin(clock).
    per_mm = degree / (radius * max(float(np.cos(socket.clock_rad)), 0.5))
    by_axis = socket.clock_by_axis_rad_per_mm * float(np.sqrt(socket.covariance[0, 0]))
    return _measured(
        degree * socket.clock_rad,
        per_mm * (by_view[0] - by_view[1]),
        pose,
        (
            Influence("index lines", "A", degree * socket.clock_u_rad),
            Influence("socket outline", "A", degree * abs(by_axis)),
            Influence("yoke roll", "B", tuning.roll_deg),
        ),
    )


def _measured(
    value: float, by_view: FloatArray, pose: Pose, influences: tuple[Influence, ...]
) -> Measured:
    """A value with its own influences and those of the view."""
    where, focal, lens = view_spreads(by_view, pose.covariance)
    return Measured(
        value,
        (
            *influences,
            Influence("pose", "B", where),
            Influence("focal length", "B", focal),
            Influence("lens", "B", lens),
        ),
    )
