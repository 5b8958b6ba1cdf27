"""What rays meet of the gauge: the front face with its marks, the windows' walls, the yoke."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from rigvision.synthetic.camera import F32
from rigvision.synthetic.rig import MARK_CELL_MM, Rig, tag_bits
from rigvision.synthetic.surface import (
    FINE,
    NEVER,
    U8,
    Hits,
    Index,
    Rays,
    Surface,
    exit_depth,
    slab,
)
from rigvision.world.gauge import Yoke
from rigvision.world.model import Range


def paint_plate(rig: Rig, eye_z_mm: float, hits: Hits, index: Index) -> None:
    """Plate, pads, tags and what covers them, on the front face."""
    x, y = hits.a[index], hits.b[index]
    plate = rig.gauge.plate
    column = ((x - np.float32(plate.x_mm[0])) * np.float32(1 / MARK_CELL_MM)).astype(np.int32)
    row = ((y - np.float32(plate.y_mm[0])) * np.float32(1 / MARK_CELL_MM)).astype(np.int32)
    number = rig.mark_cells[row, column]
    surface = np.full(len(index), Surface.PLATE, np.uint8)
    marked = np.flatnonzero(number)
    which = number[marked].astype(np.intp) - 1
    surface[marked] = _tag_surface(
        x[marked] - rig.mark_centres[which, 0],
        y[marked] - rig.mark_centres[which, 1],
        (rig.gauge.marks.size_mm, rig.gauge.marks.pad_mm),
        rig.mark_bits,
        which,
        (Surface.PLATE, Surface.PAD, Surface.INK),
    )
    for mark in rig.scene.covered_marks:
        surface[_covered(rig, mark, x, y)] = Surface.COVER
    hits.surface[index] = surface
    hits.depth[index] = eye_z_mm


def _covered(rig: Rig, mark: int, x: F32, y: F32) -> npt.NDArray[np.bool_]:
    """A rag's corner over most of a mark: a blob with three lobes, to the side of its centre."""
    cx, cy = rig.gauge.marks.centres_mm[mark]
    pad = rig.gauge.marks.pad_mm
    dx, dy = x - np.float32(cx + 0.15 * pad), y - np.float32(cy - 0.1 * pad)
    radius = pad * (0.55 + 0.08 * np.cos(3.0 * np.arctan2(dy, dx) + mark))
    return np.asarray(dx * dx + dy * dy < radius * radius)


def _tag_surface(
    x: F32,
    y: F32,
    size_and_pad_mm: tuple[float, float],
    bits: npt.NDArray[np.bool_],
    which: Index,
    surfaces: tuple[Surface, Surface, Surface],
) -> U8:
    """Bare, pad or ink at points from a tag's centre; ``which`` picks the tag from ``bits``."""
    size, pad = size_and_pad_mm
    bare, white, black = surfaces
    reach = np.maximum(np.abs(x), np.abs(y))
    result = np.where(reach <= np.float32(pad / 2), np.uint8(white), np.uint8(bare))
    inner = np.flatnonzero(reach < np.float32(size / 2))
    column = np.clip(((x[inner] / size + 0.5) * 8).astype(np.int32), 0, 7)
    row = np.clip(((y[inner] / size + 0.5) * 8).astype(np.int32), 0, 7)
    ink = bits[which[inner], row, column]
    result[inner[ink]] = black
    return result


def window_walls(rays: Rays, x_mm: Range, y_mm: Range, back_z_mm: float) -> Hits:
    """Hits on a window's walls, between the plate's front and back."""
    hits = Hits.none(len(rays.mx))
    tx, ty = exit_depth(rays, 0, x_mm), exit_depth(rays, 1, y_mm)
    depth = np.minimum(tx, ty)
    index = np.flatnonzero(depth < rays.eye[2] - back_z_mm)
    depth, side = depth[index], tx[index] < ty[index]
    mx, my = rays.mx[index], rays.my[index]
    ends = np.where(mx > 0, np.uint8(Surface.WALL_RIGHT), np.uint8(Surface.WALL_LEFT))
    lengths = np.where(my > 0, np.uint8(Surface.WALL_HIGH), np.uint8(Surface.WALL_LOW))
    hits.surface[index] = np.where(side, ends, lengths)
    hits.depth[index] = depth
    along = np.where(side, rays.eye[1] + depth * my, rays.eye[0] + depth * mx)
    hits.a[index], hits.b[index] = along, rays.eye[2] - depth
    return hits


def add_yoke(rig: Rig, yoke: Yoke, rays: Rays, hits: Hits) -> None:
    """The yoke's body and its tang, in yoke axes."""
    half, tang = yoke.body_width_mm / 2, yoke.tang_width_mm / 2
    middle_z = rig.frame.socket.axis_z_mm if rig.frame.socket else yoke.face_z_mm - tang - 1.0
    x, y = rays.at(yoke.face_z_mm)
    reach = yoke.body_length_mm + yoke.tang_length_mm
    near = np.flatnonzero((np.abs(x) < 2 * reach) & (np.abs(y) < 3 * half))
    some = rays.some(near)
    back_z = min(middle_z - tang, yoke.face_z_mm - 1.0)
    body = _box_hits(
        some,
        (-yoke.body_length_mm, 0.0),
        (-half, half),
        (back_z, yoke.face_z_mm),
        (Surface.YOKE, Surface.YOKE_END, Surface.YOKE_SIDE),
    )
    _paint_yoke(rig, yoke, body)
    hits.put(near, body)
    top_z = min(middle_z + tang, yoke.face_z_mm)
    surfaces = (Surface.TANG, Surface.TANG_SIDE, Surface.TANG_SIDE)
    tang_x, tang_y = (0.0, yoke.tang_length_mm), (-tang, tang)
    hits.put(near, _box_hits(some, tang_x, tang_y, (middle_z - tang, top_z), surfaces))


def _paint_yoke(rig: Rig, yoke: Yoke, body: Hits) -> None:
    """Tag and index line on the yoke's face; the shoulder's surroundings are marked fine."""
    face = np.flatnonzero((body.surface == Surface.YOKE) & (body.depth < NEVER))
    x, y = body.a[face], body.b[face]
    surface = np.full(len(face), Surface.YOKE, np.uint8)
    tag = (yoke.tag_id, yoke.tag_size_mm, yoke.tag_pad_mm, yoke.tag_centre_mm)
    if tag[0] is not None and tag[1] and tag[2] and tag[3]:
        surface = _tag_surface(
            x - np.float32(tag[3][0]),
            y - np.float32(tag[3][1]),
            (tag[1], tag[2]),
            tag_bits(tag[0])[None],
            np.zeros(len(face), np.intp),
            (Surface.YOKE, Surface.YOKE_PAD, Surface.YOKE_INK),
        )
    if yoke.index_line_width_mm and yoke.index_line_length_mm:
        line = (np.abs(y) < yoke.index_line_width_mm / 2) & (x > -yoke.index_line_length_mm)
        surface[line] = Surface.YOKE_LINE
    surface[x > -rig.guard_mm] |= FINE
    body.surface[face] = surface


def _box_hits(
    rays: Rays, x_mm: Range, y_mm: Range, z_mm: Range, surfaces: tuple[int, int, int]
) -> Hits:
    """Hits on a box, its surfaces named for (top, ends in x, sides in y)."""
    top, end, side = surfaces
    near_z = np.float32(rays.eye[2] - z_mm[1])
    enter_x, exit_x = slab(rays.eye[0], rays.mx, x_mm)
    enter_y, exit_y = slab(rays.eye[1], rays.my, y_mm)
    enter = np.maximum(np.maximum(enter_x, enter_y), near_z)
    leave = np.minimum(np.minimum(exit_x, exit_y), np.float32(rays.eye[2] - z_mm[0]))
    hits = Hits.none(len(rays.mx))
    met = enter < leave
    hits.depth = np.where(met, enter, NEVER)
    hits.a = rays.eye[0] + enter * rays.mx
    hits.b = rays.eye[1] + enter * rays.my
    sides = np.where(enter_x > enter_y, np.uint8(end), np.uint8(side))
    hits.surface = np.where(enter == near_z, np.uint8(top), sides)
    return hits
