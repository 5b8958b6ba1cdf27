"""Gap, yoke and depths from a joint solution, each figure with its budget.

The figures are those that ``metrology.gap`` and ``metrology.yoke`` take from a single photo,
by the same formulas.
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass
from math import atan, cos, degrees, tan

import numpy as np

from rigvision.ground.conventions import FloatArray, fold_deg
from rigvision.ground.measured import Influence, Measured
from rigvision.metrology.gap import Gap, SillLine, Station, mean_weights, slope_weights, tells_taper
from rigvision.metrology.joint import JointSolution
from rigvision.metrology.photo_reading import EDGES_DEPTH, YOKE_DEPTH
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
    Place,
)
from rigvision.metrology.yoke import YokeAlignment
from rigvision.world.frame import Frame


@dataclass(frozen=True, slots=True)
class PlaneDepth:
    """How far a plane lies from where the drawing puts it, towards the camera."""

    plane: str
    offset_mm: Measured


def joint_gap(solution: JointSolution, frame: Frame) -> Gap | None:
    """The gap of the set-up; None where no photo shows the edges."""
    x_mm = np.array(sorted({x for name, x in solution.places if name == SILL}))
    if not len(x_mm):
        return None
    sill = np.stack([_unit(solution, (SILL, x)) for x in x_mm])  # (S, P)
    door = np.stack([_unit(solution, (DOOR, x)) for x in x_mm])
    slope = float(slope_weights(x_mm) @ sill @ solution.values)
    square = cos(atan(slope))  # square to the sill
    gaps = square * (door - sill)
    wanted = frame.gap.stations_x_mm

    def sum_of(by_station: FloatArray, weights: FloatArray) -> Measured:
        by_place = weights @ by_station
        return solution.measured(float(by_place @ solution.values), by_place)

    stations = {x: sum_of(gaps, row) for x, row in zip(x_mm, np.eye(len(x_mm)), strict=True)}
    span = wanted[-1] - wanted[0]
    evenly = np.full(len(x_mm), 1.0 / len(x_mm))
    off = sum_of(sill, evenly)
    return Gap(
        tuple(Station(x, stations.get(x)) for x in wanted),
        sum_of(gaps, mean_weights(x_mm, np.asarray(wanted))),
        sum_of(gaps, span * slope_weights(x_mm)) if tells_taper(x_mm) else None,
        SillLine(
            Measured(off.value - frame.sill.edge_y_mm, off.influences),
            sum_of(sill, degrees(1.0) * slope_weights(x_mm)),
        ),
    )


def joint_alignment(solution: JointSolution, frame: Frame) -> YokeAlignment:
    """Yoke against socket; None for what no photo shows."""
    found = solution.value
    if frame.socket is None or found(SOCKET_Y) is None:
        return YokeAlignment()
    clock = _in_degrees(solution, {CLOCK: 1.0}) if found(CLOCK) is not None else None
    if clock is not None:
        folded = fold_deg(clock.value, 360.0 / frame.socket.flats)
        clock = Measured(folded, clock.influences)
    if found(YOKE_X) is None:
        return YokeAlignment(clock_deg=clock)
    seat = None
    if (face_x := found(FACE_X)) is not None and (shoulder_x := found(YOKE_X)) is not None:
        seat = solution.measured(
            face_x - shoulder_x, _weights(solution, {FACE_X: 1.0, YOKE_X: -1.0})
        )
    return YokeAlignment(
        _lateral_offset(solution, frame.socket.face_x_mm),
        _in_degrees(solution, {SOCKET_ANGLE: 1.0, YOKE_ANGLE: -1.0}),
        seat,
        clock,
    )


def plane_depths(solution: JointSolution, tuning: JointTuning | None = None) -> list[PlaneDepth]:
    """What the photos together say of the depths that a single one takes from the drawing."""
    tuning = tuning or JointTuning()
    planes: tuple[tuple[str, Hashable, int, float], ...] = (
        ("edges", EDGES_DEPTH, 0, tuning.gap.plane_depth_mm),
        ("socket", YOKE_DEPTH, 0, tuning.yoke.socket_depth_mm),
        ("yoke", YOKE_DEPTH, 1, tuning.yoke.yoke_depth_mm),
    )
    depths = []
    for plane, key, variable, prior_mm in planes:
        told = solution.told(key, variable)
        if told is not None:
            offset, u = told[0] * prior_mm, told[1] * prior_mm
            depths.append(PlaneDepth(plane, Measured(offset, (Influence("parallax", "B", u),))))
    return depths


def _lateral_offset(solution: JointSolution, face_x_mm: float) -> Measured:
    """Socket axis y minus yoke centreline y, at the socket's drawn face."""
    socket_y, yoke_x, yoke_y, angle = (
        float(_unit(solution, place) @ solution.values)
        for place in (SOCKET_Y, YOKE_X, YOKE_Y, YOKE_ANGLE)
    )
    run, slope = face_x_mm - yoke_x, tan(angle)
    weights = {
        SOCKET_Y: 1.0,
        YOKE_Y: -1.0,
        YOKE_X: slope,
        YOKE_ANGLE: -run * (1.0 + slope**2),
    }
    return solution.measured(socket_y - yoke_y - slope * run, _weights(solution, weights))


def _in_degrees(solution: JointSolution, weights: dict[Place, float]) -> Measured:
    by_place = degrees(1.0) * _weights(solution, weights)
    return solution.measured(float(by_place @ solution.values), by_place)


def _weights(solution: JointSolution, weights: dict[Place, float]) -> FloatArray:
    return np.asarray(sum(w * _unit(solution, place) for place, w in weights.items()))


def _unit(solution: JointSolution, place: Place) -> FloatArray:
    """(P,): one for this place, else zero."""
    unit = np.zeros(len(solution.places))
    unit[solution.places.index(place)] = 1.0
    return unit
