"""Edges, yoke and socket of one photo as a reading: values, and what pulls at them.

The influences and their sizes are those of a single photo (``metrology.gap``,
``metrology.yoke``); here each also says which photos it strikes alike.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import cos, degrees

import numpy as np

from rigvision.ground.conventions import FloatArray, fold_deg
from rigvision.metrology.reading import (
    CLOCK,
    DOOR,
    EDGES_DEPTH,
    FACE_X,
    SILL,
    SOCKET_ANGLE,
    SOCKET_DEPTH,
    SOCKET_Y,
    YOKE_ANGLE,
    YOKE_DEPTH,
    YOKE_X,
    YOKE_Y,
    Block,
    JointTuning,
    PhotoView,
    Place,
    Pull,
    Reading,
    factor,
    joined,
    shared_and_own,
)
from rigvision.metrology.sensitivity import plane_sensitivity
from rigvision.vision.slot import SlotEdges
from rigvision.vision.yoke import SocketPlace, YokePlace
from rigvision.world.frame import Frame, Socket
from rigvision.world.gauge import Gauge

#: A line at the barrel's limb tells little of the clock, but never nothing.
LEAST_COSINE = 0.5


@dataclass(frozen=True, slots=True)
class Common:
    """What the fits of all photos have in common: factors of covariance, None where unread."""

    edges: FloatArray | None  # (4, 4), offset and slope of the sill's line, then the door's
    outline: FloatArray | None  # (2, 2), socket y and angle
    face: FloatArray | None  # (1, 1), socket face x
    lines: FloatArray | None  # (1, 1), clock
    clock_rad: float | None  # the reading nearest zero; others lie within half a flat of it


def read_photos(
    views: Sequence[PhotoView], gauge: Gauge, frame: Frame, tuning: JointTuning | None = None
) -> tuple[Reading, ...]:
    """The readings of all photos that show something of gap or yoke."""
    tuning = tuning or JointTuning()
    common = _common(views, frame, tuning)
    readings = []
    for view in views:
        blocks = list(_blocks(view, common, gauge, frame, tuning))
        if blocks:
            readings.append(joined(view, blocks))
    return tuple(readings)


def edge_lines(x_mm: FloatArray, frame: Frame) -> FloatArray:
    """(2 S, 4): how sill and door at each x follow from both lines' offset and slope.

    Offsets are those at x = 0; slopes count over half the stations' span.
    """
    wanted = frame.gap.stations_x_mm
    line = np.column_stack([np.ones(len(x_mm)), x_mm / ((wanted[-1] - wanted[0]) / 2)])
    both = np.zeros((len(x_mm), 2, 4))
    both[:, 0, :2] = both[:, 1, 2:] = line
    return both.reshape(-1, 4)


def _blocks(
    view: PhotoView, common: Common, gauge: Gauge, frame: Frame, tuning: JointTuning
) -> Iterator[Block]:
    if view.slot and view.has_edges:
        yield _edge_block(view, view.slot, common, gauge, frame, tuning)
    if view.yoke and view.yoke.yoke and frame.socket:
        yield _yoke_block(view, view.yoke.yoke, frame.socket, tuning)
    if view.yoke and view.yoke.socket and frame.socket:
        yield _socket_block(view, view.yoke.socket, common, frame.socket, tuning)


def _common(views: Sequence[PhotoView], frame: Frame, tuning: JointTuning) -> Common:
    slots = [v.slot for v in views if v.slot and v.has_edges]
    sockets = [v.yoke.socket for v in views if v.yoke and v.yoke.socket]
    faces = [np.array([[s.face_u_mm**2]]) for s in sockets if s.face_u_mm is not None]
    lines = [np.array([[s.clock_u_rad**2]]) for s in sockets if s.clock_u_rad is not None]
    return Common(
        _in_common([_line_covariance(s, frame) for s in slots], tuning.edges_shared),
        _in_common([s.covariance for s in sockets], tuning.yoke_shared),
        _in_common(faces, tuning.yoke_shared),
        _in_common(lines, tuning.yoke_shared),
        min((s.clock_rad for s in sockets if s.clock_rad is not None), key=abs, default=None),
    )


def _line_covariance(slot: SlotEdges, frame: Frame) -> FloatArray:
    """The largest covariance (4, 4) of both lines that the stations' covariance contains."""
    lines = edge_lines(np.array([s.x_mm for s in slot.stations]), frame)
    return np.asarray(np.linalg.inv(lines.T @ np.linalg.solve(slot.covariance_mm2, lines)))


def _in_common(covariances: Sequence[FloatArray], part: float) -> FloatArray | None:
    """Factor of a part of the largest covariance that none of the photos' own falls short of.

    What is shared has the same size in all photos. Were it a part of each photo's own, a photo
    with twice the doubt would seem to err exactly twice as far, and the solve would
    extrapolate from the bad photo beyond the good one.
    """
    if not covariances:
        return None
    smallest, *others = sorted(covariances, key=lambda c: float(np.trace(c)))
    for other in others:
        smallest = _lower_bound(smallest, other)
    return factor(part * smallest)


def _lower_bound(a: FloatArray, b: FloatArray) -> FloatArray:
    """A covariance that neither of two exceeds in any direction: what both contain."""
    root = factor(a)
    inverse = np.linalg.inv(root)
    ratios, directions = np.linalg.eigh(inverse @ b @ inverse.T)
    bounded = root @ directions * np.sqrt(np.clip(ratios, 0.0, 1.0))
    return np.asarray(bounded @ bounded.T)


def _fit_pulls(
    source: str,
    view: PhotoView,
    covariance: FloatArray,
    rows: FloatArray,
    common: FloatArray | None,
) -> Iterator[Pull]:
    """Doubt of a fit, ``rows`` (R, n) times its covariance (n, n), of which part is common."""
    assert common is not None
    yield Pull(source, "A", source, rows @ common)
    yield Pull(source, "A", (view.key, source), rows @ factor(covariance - common @ common.T))


def _edge_block(
    view: PhotoView,
    slot: SlotEdges,
    common: Common,
    gauge: Gauge,
    frame: Frame,
    tuning: JointTuning,
) -> Block:
    x_mm = np.array([s.x_mm for s in slot.stations])
    y_mm = np.array([[s.sill_y_mm, s.door_y_mm] for s in slot.stations])
    points = np.column_stack(
        [np.repeat(x_mm, 2), y_mm.ravel(), np.full(2 * len(x_mm), slot.plane_z_mm)]
    )
    ray_slopes = np.array([view.pose.view.ray_slope_y(p) for p in points])
    edges = np.tile(np.eye(2), (len(x_mm), 1))  # (2 S, 2): which row is sill, which is door
    assert common.edges is not None
    lines = edge_lines(x_mm, frame) @ common.edges
    own = factor(slot.covariance_mm2 - lines @ lines.T)
    size, radius = tuning.gap, frame.sill.edge_radius_mm
    at_station = np.equal.outer(np.repeat(x_mm, 2), frame.gap.stations_x_mm).astype(float)
    stations = np.concatenate([at_station * edges[:, [k]] for k in range(2)], axis=1)
    heat = gauge.plate.thermal_expansion_per_K * size.temperature_K
    gap = np.repeat(y_mm[:, 1] - y_mm[:, 0], 2)[:, None]
    pulls = [
        Pull("edge fit", "A", "edge fit", lines),
        Pull("edge fit", "A", (view.key, "edge fit"), own),
        *shared_and_own(
            "edge definition",
            "B",
            radius
            * np.column_stack(
                [size.edge_definition_radii * edges, size.edge_station_radii * stations]
            ),
            tuning.edges_shared,
            view,
        ),
        Pull("edge radius", "B", "edge radius", _outline_pull(ray_slopes, edges, radius, tuning)),
        Pull("plane depth", "B", EDGES_DEPTH, -size.plane_depth_mm * ray_slopes[:, None]),
        Pull("temperature", "B", "temperature", heat * gap * edges[:, 1:]),
    ]
    places: tuple[Place, ...] = tuple(
        (name, s.x_mm) for s in slot.stations for name in (SILL, DOOR)
    )
    by_view = plane_sensitivity(view.pose, points)[:, 1]
    return Block(places, y_mm.ravel(), by_view, tuple(pulls))


def _outline_pull(
    ray_slopes: FloatArray, edges: FloatArray, radius_mm: float, tuning: JointTuning
) -> FloatArray:
    """(2 S, 2): a wrong radius of sill or door, where that edge shows its outline.

    Seen from above the door does, seen from below the sill: there it stands
    (sqrt(1 + t^2) - 1) r off the tangent plane, towards the slot.
    """
    off = (np.sqrt(1.0 + ray_slopes**2) - 1.0) * tuning.gap.radius_relative * radius_mm
    from_below, from_above = ray_slopes < 0.0, ray_slopes >= 0.0
    towards_slot = np.column_stack(
        [np.where(from_below, off, 0.0), np.where(from_above, -off, 0.0)]
    )
    return np.asarray(towards_slot * edges)


def _yoke_block(view: PhotoView, yoke: YokePlace, socket: Socket, tuning: JointTuning) -> Block:
    """Rows: the shoulder's x and y, and the centreline's angle, over the barrel's length."""
    values = np.array([yoke.shoulder_mm[0], yoke.shoulder_mm[1], yoke.angle_rad])
    length = socket.barrel_end_x_mm - socket.face_x_mm
    along = np.array([np.cos(yoke.angle_rad), np.sin(yoke.angle_rad), 0.0])
    back = yoke.shoulder_mm - length * along
    at_shoulder, behind = plane_sensitivity(view.pose, np.stack([yoke.shoulder_mm, back]))
    by_view = np.stack([*at_shoulder, (at_shoulder[1] - behind[1]) / length])
    depth = -tuning.yoke.depth_mm * _ray_slopes(view, yoke.shoulder_mm)
    pulls = (
        Pull("yoke tag", "A", (view.key, "yoke tag"), factor(yoke.covariance)),
        Pull("plane depth", "B", YOKE_DEPTH, np.append(depth, 0.0)[:, None]),
    )
    return Block((YOKE_X, YOKE_Y, YOKE_ANGLE), values, by_view, pulls)


def _socket_block(
    view: PhotoView, place: SocketPlace, common: Common, socket: Socket, tuning: JointTuning
) -> Block:
    """Rows: axis y, angle, and as far as they were read face x and clock."""
    rows: list[Place] = [SOCKET_Y, SOCKET_ANGLE]
    values = [float(place.axis_mm[1]), place.angle_rad]
    axis, crown = place.axis_mm, place.axis_mm + np.array([0.0, 0.0, socket.radius_mm])
    length = socket.barrel_end_x_mm - socket.face_x_mm
    far = axis + length * np.array([1.0, np.tan(place.angle_rad), 0.0])
    at_axis, at_end = plane_sensitivity(view.pose, np.stack([axis, far]))
    by_view = [at_axis[1], (at_end[1] - at_axis[1]) / length]
    outline = [np.array([1.0, 0.0]), np.array([0.0, 1.0])]
    depth = [float(-_ray_slopes(view, axis)[1]), 0.0]
    if place.face_x_mm is not None:
        crown[0] = place.face_x_mm
        rows.append(FACE_X)
        values.append(place.face_x_mm)
        by_view.append(plane_sensitivity(view.pose, crown[None, :])[0, 0])
        outline.append(np.zeros(2))
        depth.append(float(-_ray_slopes(view, crown)[0]))
    if place.clock_rad is not None:
        # A line's place on the barrel is read against the barrel's axis: y / r = sin(clock).
        per_mm = 1.0 / (socket.radius_mm * max(cos(place.clock_rad), LEAST_COSINE))
        on_line = crown + np.array([(socket.index_line_length_mm or 0.0) / 2, 0.0, 0.0])
        rows.append(CLOCK)
        values.append(_unfolded(place.clock_rad, common.clock_rad, socket.flats))
        by_view.append(per_mm * (plane_sensitivity(view.pose, on_line[None, :])[0, 1] - at_axis[1]))
        outline.append(np.array([-per_mm, 0.0]))
        depth.append(0.0)
    pulls = _socket_pulls(view, place, common, tuning, tuple(rows), np.stack(outline))
    depths = tuning.yoke.depth_mm * np.array(depth)[:, None]
    return Block(
        tuple(rows),
        np.array(values),
        np.stack(by_view),
        (*pulls, Pull("plane depth", "B", SOCKET_DEPTH, depths)),
    )


def _socket_pulls(
    view: PhotoView,
    place: SocketPlace,
    common: Common,
    tuning: JointTuning,
    rows: tuple[Place, ...],
    outline: FloatArray,
) -> Iterator[Pull]:
    yield from _fit_pulls("socket outline", view, place.covariance, outline, common.outline)
    if place.face_u_mm is not None:
        own = np.array([[place.face_u_mm**2]])
        yield from _fit_pulls("socket face", view, own, _only(rows, FACE_X), common.face)
    if place.clock_u_rad is not None:
        own = np.array([[place.clock_u_rad**2]])
        yield from _fit_pulls("index lines", view, own, _only(rows, CLOCK), common.lines)
        roll = float(np.radians(tuning.yoke.roll_deg))
        yield Pull("yoke roll", "B", "yoke roll", roll * _only(rows, CLOCK))


def _unfolded(clock_rad: float, near_rad: float | None, flats: int) -> float:
    """The same clock, counted past half a flat where another photo lies on that side."""
    assert near_rad is not None
    return near_rad + float(np.radians(fold_deg(degrees(clock_rad - near_rad), 360.0 / flats)))


def _only(rows: tuple[Place, ...], place: Place) -> FloatArray:
    """(R, 1): one for one row, else zero."""
    return np.array([[float(row == place)] for row in rows])


def _ray_slopes(view: PhotoView, point_mm: FloatArray) -> FloatArray:
    """dx/dz and dy/dz along the line of sight through a point."""
    to_camera = view.pose.view.camera_centre_mm - point_mm
    return np.asarray(to_camera[:2] / to_camera[2])
