"""Features as the vision would hand them on, made by hand: nothing but arithmetic in them."""

from __future__ import annotations

from typing import Any

import numpy as np

from rigvision.ground.measured import Influence, Measured
from rigvision.metrology.gap import Gap, GapTuning, measure_gap
from rigvision.vision.focus import Focus
from rigvision.vision.lost_station import LostStation
from rigvision.vision.pose import Pose
from rigvision.vision.slot import SlotEdges, StationEdges
from rigvision.vision.view import View
from rigvision.vision.yoke import SocketPlace, YokePlace
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge
from tests.views import view_at

#: Everything blurred alike, by 0.9 px.
FOCUS = Focus(np.array([0.81, 0.0, 0.0]), 1.0 / 250.0, 0.05, 0.01, 4.0)
#: Rotation, translation, focal length, centre, distortion, border: variances of a good pose.
VARIANCES = np.array([1e-4] * 3 + [0.02, 0.02, 0.2, 0.005, 6.0, 6.0, 0.003, 0.02]) ** 2


def pose_at(view: View | None = None, scale: float = 1.0) -> Pose:
    """A pose known well; ``scale`` times worse in every parameter."""
    covariance = np.diag(VARIANCES) * scale**2
    return Pose(view or view_at(), covariance, (100, 101), (), 0.03, 9.0, 0.9, (), FOCUS)


def slot_of(
    frame: Frame,
    gaps_mm: np.ndarray,
    lost: tuple[int, ...] = (),
    sill_mm: np.ndarray | float = 0.0,
    sigma_mm: float = 0.005,
) -> SlotEdges:
    """Edges with the given gaps along y; ``sill_mm`` is the sill's place against the drawing."""
    stations = frame.gap.stations_x_mm
    sill = np.broadcast_to(np.asarray(sill_mm, dtype=float), (len(stations),))
    sill = sill + frame.sill.edge_y_mm
    kept = [i for i in range(len(stations)) if i not in lost]
    edges = tuple(
        StationEdges(stations[i], float(sill[i]), float(sill[i] + gaps_mm[i])) for i in kept
    )
    return SlotEdges(
        frame.sill.face_z_mm - frame.sill.edge_radius_mm,
        edges,
        np.eye(2 * len(kept)) * sigma_mm**2,
        tuple(LostStation(stations[i], "no-contrast") for i in lost),
    )


def gap_of(
    gauge: Gauge,
    frame: Frame,
    gaps_mm: np.ndarray,
    pose: Pose | None = None,
    tuning: GapTuning | None = None,
    **slot: Any,
) -> Gap:
    gap = measure_gap(slot_of(frame, gaps_mm, **slot), pose or pose_at(), gauge, frame, tuning)
    assert gap is not None
    return gap


def yoke_place(
    x_mm: float, y_mm: float, angle_deg: float = 0.0, z_mm: float = -3.0, sigma: float = 0.005
) -> YokePlace:
    return YokePlace(
        np.array([x_mm, y_mm, z_mm]), float(np.radians(angle_deg)), np.eye(3) * sigma**2
    )


def socket_place(
    y_mm: float,
    angle_deg: float = 0.0,
    face_x_mm: float | None = 4.0,
    clock_deg: float | None = 0.0,
    sigma: float = 0.005,
) -> SocketPlace:
    return SocketPlace(
        np.array([4.0, y_mm, -10.0]),
        float(np.radians(angle_deg)),
        np.eye(2) * sigma**2,
        (),
        face_x_mm,
        None if face_x_mm is None else sigma,
        () if clock_deg is None else (float(np.radians(clock_deg)),),
        None if clock_deg is None else float(np.radians(clock_deg)),
        None if clock_deg is None else float(np.radians(0.3)),
        0.0 if clock_deg is None else -1.0 / 7.0,  # a line at the crown of a radius of 7 mm
    )


def measured(value: float, u: float) -> Measured:
    return Measured(value, (Influence("by hand", "B", u),))


def influence(quantity: Measured, source: str) -> float:
    """The standard uncertainty that one source contributes."""
    (found,) = [i.standard_uncertainty for i in quantity.influences if i.source == source]
    return found
