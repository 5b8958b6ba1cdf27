"""What rays meet of the frame: sill, door, the slot between them and the pocket."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot

import numpy as np
import numpy.typing as npt

from rigvision.synthetic.camera import F32
from rigvision.synthetic.rig import Rig
from rigvision.synthetic.surface import (
    FINE,
    NEVER,
    Hits,
    Index,
    Rays,
    Surface,
    exit_depth,
    within,
)

#: Clearance between the door's ends and the frame, mm.
DOOR_CLEARANCE_MM = 0.5


def frame_hits(rig: Rig, rays: Rays) -> Hits:
    """Sill, door, the slot between them and the pocket, in frame axes."""
    frame = rig.frame
    hits = Hits.none(len(rays.mx))
    face_depth = rays.eye[2] - frame.sill.face_z_mm
    x, y = rays.at(frame.sill.face_z_mm)
    hits.a, hits.b = x, y
    hits.depth[:] = face_depth
    above_sill = y - np.float32(frame.sill.edge_y_mm)
    above_door = _above_door(rig, x, above_sill)
    r = frame.sill.edge_radius_mm
    hits.surface[:] = np.where(above_door > 0, np.uint8(Surface.DOOR), np.uint8(Surface.SILL))
    _add_jambs(rig, hits, above_door > 0, x)
    near = (above_sill > -r - rig.guard_mm) & (above_door < r + rig.guard_mm)
    hits.surface[near] |= FINE
    slot = np.flatnonzero((above_sill > -r) & (above_door < r))
    _slot_hits(rig, rays.some(slot), slot, hits, above_sill[slot], above_door[slot])
    around = frame.surroundings
    pocket = np.flatnonzero(within(x, y, around.pocket_x_mm, around.pocket_y_mm))
    _pocket_hits(rig, rays.some(pocket), pocket, hits)
    return hits


def _above_door(rig: Rig, x: F32, above_sill: F32) -> F32:
    """Distance square to the door's edge line, positive on the door."""
    slope = rig.scene.taper_slope(rig.frame)
    gap = np.float32(rig.scene.gap_at_origin_mm(rig.frame)) + np.float32(slope) * x
    return np.asarray((above_sill - gap) * np.float32(1.0 / hypot(1.0, slope)))


def _add_jambs(rig: Rig, hits: Hits, beyond: npt.NDArray[np.bool_], x: F32) -> None:
    """Beyond the door's ends: a dark clearance, then the frame."""
    low, high = rig.frame.door.span_x_mm
    outside = beyond & ((x < low) | (x > high))
    index = np.flatnonzero(outside)
    past = np.maximum(low - x[index], x[index] - high)
    hits.surface[index] = np.where(
        past < DOOR_CLEARANCE_MM, np.uint8(Surface.DUCT), np.uint8(Surface.JAMB)
    )


def _slot_hits(
    rig: Rig, rays: Rays, index: Index, hits: Hits, above_sill: F32, above_door: F32
) -> None:
    """Between the two edges: the rounds, the faces behind them, or the dark duct."""
    frame, scene = rig.frame, rig.scene
    slope = scene.taper_slope(frame)
    norm = np.float32(1.0 / hypot(1.0, slope))
    towards_door = (rays.my - np.float32(slope) * rays.mx) * norm
    sill = _edge_profile(above_sill, rays.my, frame.sill.edge_radius_mm, frame.sill.thickness_mm)
    door = _edge_profile(
        -above_door, -towards_door, frame.sill.edge_radius_mm, frame.door.thickness_mm
    )
    on_sill = sill.tau < door.tau
    tau = np.where(on_sill, sill.tau, door.tau)
    round_ = np.where(on_sill, sill.round, door.round)
    surface = np.where(
        on_sill,
        np.where(round_, np.uint8(Surface.SILL_ROUND), np.uint8(Surface.SILL_SLOT)),
        np.where(round_, np.uint8(Surface.DOOR_ROUND), np.uint8(Surface.DOOR_SLOT)),
    )
    lost = tau >= NEVER
    surface[lost] = Surface.DUCT
    tau = np.where(lost, np.float32(-frame.surroundings.duct_back_z_mm), tau)
    hits.surface[index] = surface | np.uint8(FINE)
    hits.depth[index] += tau
    hits.ny[index] = np.where(on_sill, sill.ny, -door.ny)
    hits.inside[index] = tau
    hits.a[index] += tau * rays.mx


@dataclass(slots=True)
class _Profile:
    """Where rays meet one broken edge: depth below the face plane, on the round or behind."""

    tau: F32
    round: npt.NDArray[np.bool_]
    ny: F32


def _edge_profile(q: F32, slope: F32, radius_mm: float, thickness_mm: float) -> _Profile:
    """Rays at height ``q`` over an edge's tangent plane, rising by ``slope`` per mm of depth.

    The solid is below q = 0, its face at tau = 0; the round's centre is at (-r, r). The ray
    is at (q + slope tau, tau), so the circle gives (A + m tau)^2 + (r - tau)^2 = r^2 with
    A = q + r, of which the smaller root is the near side.
    """
    r = np.float32(radius_mm)
    a = q + r
    half_b = r - a * slope
    m2 = 1.0 + slope * slope
    square = half_b * half_b - m2 * a * a
    tau_round = (half_b - np.sqrt(np.maximum(square, 0.0))) / m2
    across = a + slope * tau_round
    on_round = (square >= 0) & (across >= 0) & (tau_round >= 0) & (tau_round <= r)
    falls = slope < -1e-9
    tau_face = q / np.where(falls, -slope, np.float32(1.0))
    on_face = falls & (tau_face >= r) & (tau_face <= thickness_mm)
    tau = np.where(on_round, tau_round, np.where(on_face, tau_face, NEVER))
    ny = np.clip(across / np.maximum(r, np.float32(1e-6)), 0, 1)
    return _Profile(tau, on_round, np.where(on_round, ny, np.float32(1.0)))


def _pocket_hits(rig: Rig, rays: Rays, index: Index, hits: Hits) -> None:
    """Walls and floor of the pocket that holds the socket."""
    around = rig.frame.surroundings
    end = exit_depth(rays, 0, around.pocket_x_mm)
    side = exit_depth(rays, 1, around.pocket_y_mm)
    floor = np.float32(rays.eye[2] - around.pocket_floor_z_mm)
    depth = np.minimum(np.minimum(end, side), floor)
    walls = np.where(end < side, np.uint8(Surface.POCKET_END), np.uint8(Surface.POCKET_SIDE))
    hits.surface[index] = np.where(depth < floor, walls, np.uint8(Surface.POCKET_FLOOR))
    hits.inside[index] = depth - hits.depth[index]
    hits.depth[index] = depth
    hits.a[index] = rays.eye[0] + depth * rays.mx
    hits.b[index] = rays.eye[1] + depth * rays.my
