"""Edges, yoke and socket of one photo as a reading: values, and what pulls at them.

The models are those of a single photo (``metrology.gap``, ``metrology.yoke``), with the same
sources of the same size; here each source also says with which photos it is shared.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import degrees, radians, sqrt

import numpy as np

from rigvision.ground.conventions import FloatArray, fold_deg
from rigvision.ground.propagation import Model, Source, linearised, root_of
from rigvision.metrology.edge_definition import edge_definition
from rigvision.metrology.gap import GapModel
from rigvision.metrology.reading import (
    CLOCK,
    DOOR,
    FACE_X,
    SILL,
    SOCKET_ANGLE,
    SOCKET_Y,
    YOKE_ANGLE,
    YOKE_X,
    YOKE_Y,
    JointTuning,
    PhotoView,
    Place,
    Pull,
    Reading,
    joined,
)
from rigvision.metrology.yoke import YokeModel
from rigvision.vision.slot import SlotEdges
from rigvision.vision.yoke import SocketPlace, YokePlace
from rigvision.world.frame import Frame, Socket
from rigvision.world.gauge import Gauge

#: A source's root in pieces, each with the key that tells who shares it.
Parts = Sequence[tuple[Hashable, FloatArray]]

#: Sources that are one error in all photos: one gauge, one seat, one door, one yoke, one day.
ONE_FOR_ALL = frozenset(
    {"edge radius", "plane depth", "door flush", "seating", "temperature", "yoke roll"}
)
#: Keys of the depths, which photos from several directions see by parallax. The second has two
#: variables, socket and yoke.
EDGES_DEPTH, YOKE_DEPTH = ("edges", "plane depth"), ("yoke", "plane depth")


@dataclass(frozen=True, slots=True)
class Common:
    """What the fits of all photos have in common: roots of covariance, None where unread."""

    # By photo, (4, 4): offset and slope of the sill's line, then the door's.
    edges: Mapping[str, FloatArray]
    outline: FloatArray | None  # (2, 2), socket y and angle
    face: FloatArray | None  # (1, 1), socket face x
    lines: FloatArray | None  # (1, 1), clock
    clock_rad: float | None  # the reading nearest zero; others lie within half a flat of it


def read_photos(
    views: Sequence[PhotoView], gauge: Gauge, frame: Frame, tuning: JointTuning | None = None
) -> tuple[Reading, ...]:
    """The readings of all photos that show something of gap or yoke, to be solved together.

    What is shared has the same size in all photos. Were it a part of each photo's own, a photo
    with twice the doubt would seem to err exactly twice as far, and the solve would
    extrapolate from the bad photo beyond the good one.
    """
    tuning = tuning or JointTuning()
    lines = [_line_covariance(v.slot, frame) for v in views if v.slot and v.has_edges]
    root = _in_common(lines, tuning.edges_shared)
    edges = {v.key: root for v in views if root is not None}
    return _read_all(views, _common(views, edges, tuning), gauge, frame, tuning)


def read_to_compare(
    views: Sequence[PhotoView], gauge: Gauge, frame: Frame, tuning: JointTuning | None = None
) -> tuple[Reading, ...]:
    """The same, to be tested against each other: each photo shares a part of its own doubt.

    That is what quick scenes show, and nothing is extrapolated here; sharing less would take
    photos for worse than they are, and let an odd one pass.
    """
    tuning = tuning or JointTuning()
    edges = {
        v.key: _symmetric_root(tuning.edges_shared * _line_covariance(v.slot, frame))
        for v in views
        if v.slot and v.has_edges
    }
    return _read_all(views, _common(views, edges, tuning), gauge, frame, tuning)


def edge_lines(x_mm: FloatArray, frame: Frame) -> FloatArray:
    """(2 S, 4): how sill and door at each x follow from both lines' offset and slope.

    Offsets are those at x = 0; slopes count over half the stations' span.
    """
    wanted = frame.gap.stations_x_mm
    line = np.column_stack([np.ones(len(x_mm)), x_mm / ((wanted[-1] - wanted[0]) / 2)])
    both = np.zeros((len(x_mm), 2, 4))
    both[:, 0, :2] = both[:, 1, 2:] = line
    return both.reshape(-1, 4)


def _read_all(
    views: Sequence[PhotoView], common: Common, gauge: Gauge, frame: Frame, tuning: JointTuning
) -> tuple[Reading, ...]:
    readings = []
    for view in views:
        parts = list(_read(view, common, gauge, frame, tuning))
        if parts:
            readings.append(joined(parts))
    return tuple(readings)


def _read(
    view: PhotoView, common: Common, gauge: Gauge, frame: Frame, tuning: JointTuning
) -> Iterator[Reading]:
    if view.slot and view.has_edges:
        yield _read_edges(view, view.slot, common, gauge, frame, tuning)
    if view.yoke and view.yoke.socket and frame.socket:
        places = view.yoke.yoke, view.yoke.socket
        yield _read_yoke(view, *places, common, frame.socket, tuning)


# What all photos have in common


def _common(
    views: Sequence[PhotoView], edges: Mapping[str, FloatArray], tuning: JointTuning
) -> Common:
    sockets = [v.yoke.socket for v in views if v.yoke and v.yoke.socket]
    faces = [np.array([[s.face_u_mm**2]]) for s in sockets if s.face_u_mm is not None]
    lines = [np.array([[s.clock_u_rad**2]]) for s in sockets if s.clock_u_rad is not None]
    return Common(
        edges,
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
    """Root of a part of the largest covariance that none of the photos' own falls short of."""
    if not covariances:
        return None
    smallest, *others = sorted(covariances, key=lambda c: float(np.trace(c)))
    for other in others:
        smallest = _lower_bound(smallest, other)
    return root_of(part * smallest)


def _symmetric_root(covariance: FloatArray) -> FloatArray:
    """The root that is alike for alike covariances, so that its variables mean the same."""
    values, vectors = np.linalg.eigh(covariance)
    return np.asarray(vectors * np.sqrt(np.maximum(values, 0.0)) @ vectors.T)


def _lower_bound(a: FloatArray, b: FloatArray) -> FloatArray:
    """A covariance that exceeds neither of two in any direction: what both contain."""
    root = root_of(a)
    inverse = np.linalg.inv(root)
    ratios, directions = np.linalg.eigh(inverse @ b @ inverse.T)
    bounded = root @ directions * np.sqrt(np.clip(ratios, 0.0, 1.0))
    return np.asarray(bounded @ bounded.T)


# One photo


def _read_edges(
    view: PhotoView,
    slot: SlotEdges,
    common: Common,
    gauge: Gauge,
    frame: Frame,
    tuning: JointTuning,
) -> Reading:
    """Sill and door at every station read, in turn."""
    model = GapModel(slot, view.pose, gauge, frame, tuning.gap)
    lines = edge_lines(model.x_mm, frame) @ common.edges[view.key]
    # Built for all stations of the frame, so that the same variable stands for the same place.
    wanted = frame.gap.stations_x_mm
    rows = [2 * wanted.index(x) + edge for x in model.x_mm.tolist() for edge in (0, 1)]
    whole = edge_definition(len(wanted), frame.sill.edge_radius_mm, tuning.gap.edge_definition)
    defined = whole.root[rows]
    own, shared = sqrt(1.0 - tuning.edges_shared), sqrt(tuning.edges_shared)
    parts: dict[str, Parts] = {
        "edge fit": _in_part("edge fit", view, lines, slot.covariance_mm2),
        "edge definition": [
            ("edge definition", shared * defined),
            ((view.key, "edge definition"), own * defined),
        ],
    }
    places: tuple[Place, ...] = tuple(
        (edge, x) for x in model.x_mm.tolist() for edge in (SILL, DOOR)
    )
    values = np.array([[s.sill_y_mm, s.door_y_mm] for s in slot.stations]).ravel()
    pulls = _pulls("edges", model.edges, model.sources, parts, view)
    return Reading(view.key, places, values, tuple(pulls))


def _read_yoke(
    view: PhotoView,
    yoke: YokePlace | None,
    place: SocketPlace,
    common: Common,
    socket: Socket,
    tuning: JointTuning,
) -> Reading:
    """The places of socket and yoke that were found."""
    model = YokeModel(yoke, place, view.pose, socket, tuning.yoke)
    parts: dict[str, Parts] = {
        "socket outline": _in_part(
            "socket outline", view, _known(common.outline), place.covariance
        ),
        "socket face": _scalar_part("socket face", view, common.face, place.face_u_mm),
        "index lines": _scalar_part("index lines", view, common.lines, place.clock_u_rad),
        "yoke tag": [((view.key, "yoke tag"), _root_of_source(model.sources, "yoke tag"))],
    }
    pulls = _pulls("yoke", model.places, model.sources, parts, view)
    shoulder = (None, None, None) if yoke is None else (*yoke.shoulder_mm[:2], yoke.angle_rad)
    clock = _unfolded(place.clock_rad, common.clock_rad, socket.flats)
    # In the order of ``YokeModel.places``.
    values = (float(place.axis_mm[1]), place.angle_rad, *shoulder, place.face_x_mm, clock)
    places = (SOCKET_Y, SOCKET_ANGLE, YOKE_X, YOKE_Y, YOKE_ANGLE, FACE_X, CLOCK)
    found = [k for k, value in enumerate(values) if value is not None]
    return Reading(
        view.key,
        tuple(places[k] for k in found),
        np.array([values[k] for k in found], dtype=float),
        tuple(replace(p, by_variable=p.by_variable[found]) for p in pulls),
    )


def _pulls(
    block: str,
    model: Model,
    sources: tuple[Source, ...],
    own_parts: Mapping[str, Parts],
    view: PhotoView,
) -> Iterator[Pull]:
    """How far every source moves the readings, cut into the parts that differ in who shares them.

    The model says what the truth is where an input is off by so much; a reading that takes the
    input as it should be is off the truth by as much the other way.
    """
    parts: dict[str, Parts] = {**own_parts, **_view_parts(view)}
    parts |= {s.name: [((block, s.name), s.root)] for s in sources if s.name in ONE_FOR_ALL}
    cut = tuple(replace(s, root=np.hstack([root for _, root in parts[s.name]])) for s in sources)
    _, effects = linearised(model, cut)
    for source, effect in zip(cut, effects, strict=True):
        start = 0
        for key, root in parts[source.name]:
            stop = start + root.shape[1]
            yield Pull(
                source.name, source.kind, key, -effect[start:stop].T, source.degrees_of_freedom
            )
            start = stop


def _view_parts(view: PhotoView) -> dict[str, Parts]:
    """Gauge and phone, which other photos share, then what is left of the pose."""
    shared = np.column_stack([view.shared.marks, view.shared.camera])
    own = root_of(view.pose.covariance - shared @ shared.T)
    camera = view.shared.camera
    return {
        "mark positions": [("mark positions", view.shared.marks)],
        "focal length": [((view.prior, "focal length"), camera[:, :1])],
        "lens": [((view.prior, "lens"), camera[:, 1:])],
        "pose": [((view.key, "pose"), own)],
    }


def _in_part(
    name: str, view: PhotoView, shared: FloatArray, covariance: FloatArray
) -> list[tuple[Hashable, FloatArray]]:
    """A fit's covariance, of which the part with this root is common to all photos."""
    own = root_of(covariance - shared @ shared.T)
    return [(name, shared), ((view.key, name), own)]


def _scalar_part(
    name: str, view: PhotoView, shared: FloatArray | None, u: float | None
) -> list[tuple[Hashable, FloatArray]]:
    if u is None:
        return [((view.key, name), np.zeros((1, 1)))]
    return _in_part(name, view, _known(shared), np.array([[u**2]]))


def _known(root: FloatArray | None) -> FloatArray:
    assert root is not None, "a photo that shows this had a part in what is common"
    return root


def _root_of_source(sources: tuple[Source, ...], name: str) -> FloatArray:
    return next(s.root for s in sources if s.name == name)


def _unfolded(clock_rad: float | None, near_rad: float | None, flats: int) -> float | None:
    """The same clock, counted past half a flat where another photo lies on that side."""
    if clock_rad is None or near_rad is None:
        return None
    return near_rad + radians(fold_deg(degrees(clock_rad - near_rad), 360.0 / flats))
