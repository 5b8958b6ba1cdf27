"""Yoke against socket: lateral offset, tilt, seat gap and clock, each with its budget.

As with the gap, one model says what the figures become when their inputs err.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.ground.measured import Measured, freedom_of
from rigvision.ground.propagation import Source, propagate, root_of, single
from rigvision.metrology.view_errors import FixedPixels, view_sources
from rigvision.vision.pose import Pose
from rigvision.vision.yoke import SocketPlace, YokeFeatures, YokePlace
from rigvision.world.frame import Frame, Socket

#: Figures of ``YokeModel`` in their order.
LATERAL, TILT, SEAT, CLOCK = range(4)

# The model's points, in their order.
_AXIS, _FAR, _CROWN, _LINE, _SHOULDER, _BACK = range(6)


@dataclass(frozen=True, slots=True)
class YokeTuning:
    """Type B influences, standard uncertainties: common practice, no source."""

    # Of the drive's end from the gauge's seat: both are of the frame, machined to +-0.1 mm.
    socket_depth_mm: float = 0.06
    # Of the yoke's face from the marks' plane: both are of the gauge, ground to +-0.03 mm, and
    # the slide has some hundredths of play.
    yoke_depth_mm: float = 0.03
    # Of the yoke's line about the yoke's axis: a slide with 0.06 mm of play (a running fit) rocks
    # by up to 0.2 deg over the yoke's 16 mm, uniformly 0.12; the line's own place is within that.
    roll_deg: float = 0.12
    # How well the readings' own uncertainties are known: judged from campaigns
    # (docs/accuracy.md), in which error over stated uncertainty exceeded 1 by 0.09 at most.
    relative_doubt: float = 0.15


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
    if features.socket is None or frame.socket is None:
        return YokeAlignment()
    model = YokeModel(features.yoke, features.socket, pose, frame.socket, tuning)
    figures = propagate(model, model.sources)
    return YokeAlignment(*(f if k in model.known else None for k, f in enumerate(figures)))


class YokeModel:
    """From errors of the inputs to lateral offset (mm), tilt (deg), seat gap (mm), clock (deg).

    The places of yoke and socket are pixels, carried back to their planes by the view as it
    may really have been. Figures that are not in ``known`` mean nothing.
    """

    def __init__(
        self,
        yoke: YokePlace | None,
        place: SocketPlace,
        pose: Pose,
        socket: Socket,
        tuning: YokeTuning | None = None,
    ) -> None:
        tuning = tuning or YokeTuning()
        self._socket, self._place = socket, place
        self._length_mm = socket.barrel_end_x_mm - socket.face_x_mm
        self._lines_mm = (socket.index_line_length_mm or 0.0) / 2.0  # middle of the lines
        self.known = _known(yoke, place)
        self._points = self._places(yoke or _drawn_yoke(place))
        self._pixels = FixedPixels(pose, self._points)
        self.sources = (*_place_sources(yoke, place, tuning), *view_sources(pose))
        nothing = {s.name: np.zeros((1, len(s.root))) for s in self.sources}
        self._off = np.zeros(4)
        self._off = self._as_read(yoke or _drawn_yoke(place)) - self(nothing)[0]

    def __call__(self, errors: Mapping[str, FloatArray]) -> FloatArray:
        """Figures (B, 4) for errors of every source's inputs, each (B, n)."""
        axis_y, axis_rad, shoulder_x, shoulder_y, yoke_rad, crown_x, clock = self.places(errors).T
        yoke_y = shoulder_y + np.tan(yoke_rad) * (self._socket.face_x_mm - shoulder_x)
        figures = np.column_stack(
            [
                axis_y - yoke_y,
                np.degrees(axis_rad - yoke_rad),
                crown_x - shoulder_x,
                np.degrees(clock),
            ]
        )
        return np.asarray(figures + self._off)

    def places(self, errors: Mapping[str, FloatArray]) -> FloatArray:
        """Places (B, 7) from which the figures follow, mm and rad, for errors of the inputs.

        The socket axis' y at its drawn face and its angle; the shoulder's x and y and the
        centreline's angle; the socket face's x; the clock.
        """
        view = sum(errors[name] for name in ("mark positions", "lens", "focal length", "pose"))
        socket_depth, yoke_depth = errors["plane depth"].T
        depth = np.empty((len(socket_depth), 6))
        depth[:, :_SHOULDER] = socket_depth[:, None]
        depth[:, _SHOULDER:] = yoke_depth[:, None]
        read = self._pixels.read(np.asarray(view), depth)
        at = [read[:, k, :2] for k in range(6)]
        axis_dy, axis_turn = errors["socket outline"].T
        yoke_dx, yoke_dy, yoke_turn = errors["yoke tag"].T
        seen_rad = _angle(at[_AXIS], at[_FAR])
        seen_y = at[_AXIS][:, 1] + np.tan(seen_rad) * (self._socket.face_x_mm - at[_AXIS][:, 0])
        axis_y, axis_rad = seen_y + axis_dy, seen_rad + axis_turn
        yoke_rad = _angle(at[_BACK], at[_SHOULDER]) + yoke_turn
        shoulder_x = at[_SHOULDER][:, 0] + yoke_dx
        shoulder_y = at[_SHOULDER][:, 1] + yoke_dy
        crown_x = at[_CROWN][:, 0] + errors["socket face"][:, 0]
        # The lines' place on the barrel, against its axis below them. Lines and axis were solved
        # together, which says how the clock goes with what is wrong with the axis.
        below_y = seen_y + np.tan(seen_rad) * self._lines_mm
        clock = self._about_axis(at[_LINE][:, 1] - below_y, read[:, _LINE, 3])
        clock += self._place.clock_by_axis_rad_per_mm * axis_dy
        clock += errors["index lines"][:, 0] + errors["yoke roll"][:, 0]
        return np.column_stack([axis_y, axis_rad, shoulder_x, shoulder_y, yoke_rad, crown_x, clock])

    def _about_axis(self, off_y: FloatArray, slopes: FloatArray) -> FloatArray:
        """Angle (B,) about the axis of what a line of sight meets on the barrel.

        ``off_y`` is where the line passes the axis in the plane z of the index line's point as
        solved, ``slopes`` its dy/dz.
        """
        radius = self._socket.radius_mm
        across = off_y - slopes * self._above_axis_mm
        reach = np.sqrt(np.maximum(radius**2 * (1.0 + slopes**2) - across**2, 0.0))
        up = (reach - across * slopes) / (1.0 + slopes**2)
        return np.asarray(np.arctan2(across + slopes * up, up))

    @property
    def _above_axis_mm(self) -> float:
        return float(self._points[_LINE, 2] - self._points[_AXIS, 2])

    @property
    def _face_x_mm(self) -> float:
        found = self._place.face_x_mm
        return self._socket.face_x_mm if found is None else found

    def _places(self, yoke: YokePlace) -> FloatArray:
        """The model's points (6, 3) as solved."""
        place, socket = self._place, self._socket
        along = np.array([1.0, np.tan(place.angle_rad), 0.0])
        clock = place.clock_rad or 0.0
        radial = socket.radius_mm * np.array([0.0, np.sin(clock), np.cos(clock)])
        back = np.array([np.cos(yoke.angle_rad), np.sin(yoke.angle_rad), 0.0])
        return np.stack(
            [
                place.axis_mm,
                place.axis_mm + self._length_mm * along,
                [self._face_x_mm, place.axis_mm[1], place.axis_mm[2] + socket.radius_mm],
                place.axis_mm + self._lines_mm * along + radial,
                yoke.shoulder_mm,
                yoke.shoulder_mm - self._length_mm * back,
            ]
        )

    def _as_read(self, yoke: YokePlace) -> FloatArray:
        """The figures (4,) themselves; as drawn where not known."""
        place = self._place
        run = float(place.axis_mm[0] - yoke.shoulder_mm[0])
        centreline_y = float(yoke.shoulder_mm[1]) + np.tan(yoke.angle_rad) * run
        return np.array(
            [
                float(place.axis_mm[1]) - centreline_y,
                np.degrees(place.angle_rad - yoke.angle_rad),
                self._face_x_mm - float(yoke.shoulder_mm[0]),
                np.degrees(place.clock_rad or 0.0),
            ]
        )


def _known(yoke: YokePlace | None, place: SocketPlace) -> tuple[int, ...]:
    """Which figures can be told from what was found."""
    known = [LATERAL, TILT] if yoke else []
    if yoke and place.face_x_mm is not None:
        known.append(SEAT)
    if place.clock_rad is not None:
        known.append(CLOCK)
    return tuple(known)


def _drawn_yoke(place: SocketPlace) -> YokePlace:
    """A yoke in line with the socket: where none was read, its figures are not known."""
    return YokePlace(place.axis_mm, place.angle_rad, np.zeros((3, 3)))


def _place_sources(
    yoke: YokePlace | None, place: SocketPlace, tuning: YokeTuning
) -> tuple[Source, ...]:
    """What may be wrong with yoke and socket beside the view."""
    freedom = freedom_of(tuning.relative_doubt)
    tag = np.zeros((3, 3)) if yoke is None else root_of(yoke.covariance)
    return (
        # Shared by lateral offset, tilt and clock.
        Source(
            "socket outline", "A", root_of(place.covariance), freedom, inputs="yoke/socket outline"
        ),
        Source("yoke tag", "A", tag, inputs="yoke/yoke tag"),
        single("socket face", "A", place.face_u_mm or 0.0, "mm", freedom),
        single("index lines", "A", place.clock_u_rad or 0.0, "rad", freedom),
        single("yoke roll", "B", float(np.radians(tuning.roll_deg)), "rad"),
        Source(
            "plane depth",
            "B",
            np.diag([tuning.socket_depth_mm, tuning.yoke_depth_mm]),
            inputs="yoke/plane depth",
        ),
    )


def _angle(start: FloatArray, end: FloatArray) -> FloatArray:
    """Direction (B,) from one point (B, 2) to another, radians from x."""
    apart = end - start
    return np.asarray(np.arctan2(apart[:, 1], apart[:, 0]))
