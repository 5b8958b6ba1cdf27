"""Small grey pictures of the faces around the gap and of the barrel: what tells parts apart.

Scratches, dirt and tool marks lie on the parts and not on the gauge. Each face is laid out on a
grid in gauge axes, at the depth where it lies, so that photos from different places show the
same cell in the same place. Brightness becomes contrast: what is even along the sill, as edges
and shadows of the window's rim are, and what changes slowly, as light does, is taken out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.photo.picture import Picture
from rigvision.vision.barrel_scene import Axis
from rigvision.vision.pose import Pose
from rigvision.vision.sampling import light_at, visible_through_window
from rigvision.vision.slot import SlotEdges
from rigvision.world.frame import Frame, Socket
from rigvision.world.gauge import Gauge
from rigvision.world.model import Range


@dataclass(frozen=True, slots=True)
class PatchTuning:
    """Sizes in mm on the faces. A likeness holds these patches: other sizes, another schema."""

    cell_mm: float = 0.5
    samples: int = 4  # of the light along each side of a cell
    door_above_mm: float = 11.0  # of the door's face, above the sill's edge
    edge_mm: float = 0.8  # kept clear of the broken edges, where dirt and wear lie alike everywhere
    rim_mm: float = 1.0  # kept clear of the windows' rims
    barrel_deg: float = 60.0  # of the barrel's turning away from the drawing's front
    paint_part: float = 1.15  # of an index line's length that is left out at the barrel's end
    level_mm: float = 2.5  # half the length along the sill over which light is even
    across_mm: float = 4.0  # half the length across the sill over which shadows are straight
    spread_mm: float = 4.0  # half the side over which contrast is made the same
    dark: float = 0.004  # linear light that counts for nothing
    faint: float = 0.006  # contrast (natural logarithm) that counts for nothing
    most: float = 2.5  # contrast beyond so many spreads is glare or a thing in front


@dataclass(frozen=True, slots=True)
class FacePatches:
    """Contrast (rows upwards, columns along x) of each face in its local spread; NaN unseen."""

    cell_mm: float
    contrast: Mapping[str, FloatArray]


def face_patches(
    picture: Picture,
    pose: Pose,
    gauge: Gauge,
    frame: Frame,
    slot: SlotEdges | None,
    tuning: PatchTuning | None = None,
) -> FacePatches:
    """The patches ``sill``, ``door`` and, where there is a socket, ``barrel``."""
    t = tuning or PatchTuning()
    faces = {"sill": _sill(gauge, frame, t), "door": _door(gauge, frame, slot, t)}
    windows = gauge.windows
    light = {
        name: _light(picture, pose, gauge, grid, (windows.gap_x_mm, windows.gap_y_mm), t)
        for name, grid in faces.items()
    }
    if frame.socket and gauge.yoke:
        barrel = _barrel(frame.socket, t)
        window = windows.yoke_x_mm, windows.yoke_y_mm
        light["barrel"] = _light(picture, pose, gauge, barrel, window, t)
    return FacePatches(t.cell_mm, {name: _contrast(seen, t) for name, seen in light.items()})


def _sill(gauge: Gauge, frame: Frame, t: PatchTuning) -> FloatArray:
    low = gauge.windows.gap_y_mm[0] + t.rim_mm
    return _flat(frame.door.span_x_mm, (low, frame.sill.edge_y_mm - t.edge_mm), frame, t)


def _door(gauge: Gauge, frame: Frame, slot: SlotEdges | None, t: PatchTuning) -> FloatArray:
    """From the sill's edge upwards; NaN up to the door's edge."""
    start = frame.sill.edge_y_mm
    grid = _flat(frame.door.span_x_mm, (start, start + t.door_above_mm), frame, t)
    slope, level = 0.0, start + frame.gap.upper_mm
    if slot and len(slot.stations) > 1:
        x_mm = np.array([station.x_mm for station in slot.stations])
        y_mm = np.array([station.door_y_mm for station in slot.stations])
        slope, level = np.polyfit(x_mm, y_mm, 1)
    grid[grid[..., 1] < level + slope * grid[..., 0] + t.edge_mm] = np.nan
    return grid


def _flat(x_mm: Range, y_mm: Range, frame: Frame, t: PatchTuning) -> FloatArray:
    """Points (rows, columns, 3) of a face that lies where sill and door have theirs."""
    x, y = np.meshgrid(_fine(x_mm, t), _fine(y_mm, t))
    return np.stack([x, y, np.full(x.shape, frame.sill.face_z_mm)], axis=-1)


def _barrel(socket: Socket, t: PatchTuning) -> FloatArray:
    """Points (rows, columns, 3) of the barrel's unpainted part, unrolled, as it is drawn."""
    axis = Axis(socket.face_x_mm, socket.axis_y_mm, 0.0, socket.axis_z_mm)
    start = socket.face_x_mm + t.paint_part * (socket.index_line_length_mm or 0.0)
    reach = np.radians(t.barrel_deg) * socket.radius_mm
    x = _fine((start, socket.barrel_end_x_mm - t.rim_mm), t)
    angle = _fine((-reach, reach), t) / socket.radius_mm
    return axis.surface(x[None, :], angle[:, None], np.asarray(socket.radius_mm))


def _fine(span_mm: Range, t: PatchTuning) -> FloatArray:
    """Middles of the samples of as many whole cells as a span holds."""
    cells = int((span_mm[1] - span_mm[0]) / t.cell_mm + 1e-9)
    return np.asarray(span_mm[0] + (np.arange(cells * t.samples) + 0.5) * t.cell_mm / t.samples)


def _light(
    picture: Picture,
    pose: Pose,
    gauge: Gauge,
    points_mm: FloatArray,
    window_mm: tuple[Range, Range],
    t: PatchTuning,
) -> FloatArray:
    """Mean light (rows, columns) of each cell; NaN where any of its samples is not seen."""
    clear = [(low + t.rim_mm, high - t.rim_mm) for low, high in window_mm]
    known = np.isfinite(points_mm[..., 1])
    points = np.where(known[..., None], points_mm, 0.0)
    seen = known & visible_through_window(points, pose.view, gauge, clear[0], clear[1])
    light = np.where(seen, light_at(picture, pose.view, points), np.nan)
    rows, columns = (n // t.samples for n in light.shape)
    return np.asarray(light.reshape(rows, t.samples, columns, t.samples).mean(axis=(1, 3)))


def _contrast(light: FloatArray, t: PatchTuning) -> FloatArray:
    """What differs from its surroundings along the sill, in its local spread."""
    seen = np.isfinite(light)
    logarithm = np.log(np.where(seen, light, 1.0) + t.dark)
    level = round(t.level_mm / t.cell_mm)
    detail = np.where(seen, logarithm - _around(logarithm, seen, (0, level)), 0.0)
    across = round(t.across_mm / t.cell_mm)
    detail = np.where(seen, detail - _around(detail, seen, (across, 0)), 0.0)
    spread = round(t.spread_mm / t.cell_mm)
    variance = _around(detail**2, seen, (spread, spread))
    contrast = np.clip(detail / np.sqrt(variance + t.faint**2), -t.most, t.most)
    return np.where(seen, contrast, np.nan)


def _around(values: FloatArray, seen: FloatArray, reach: tuple[int, int]) -> FloatArray:
    """Mean of what is seen within so many rows and columns."""
    size = 2 * reach[1] + 1, 2 * reach[0] + 1
    border = cv2.BORDER_CONSTANT
    total = cv2.boxFilter(np.where(seen, values, 0.0), -1, size, normalize=False, borderType=border)
    count = cv2.boxFilter(seen.astype(np.float64), -1, size, normalize=False, borderType=border)
    return np.asarray(total / np.maximum(count, 0.5))
