"""Surfaces of the rig, rays that look for them, and what a ray has met.

A ray is a pair of slopes (mx, my) from one eye, and its depth is the distance below the eye
along z, so that it meets any plane of constant z at the same depth as every other ray.
All lengths in mm, arrays float32 of shape (n,).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from math import cos, radians, sin

import numpy as np
import numpy.typing as npt

from rigvision.synthetic.camera import F32
from rigvision.world.model import Point, Range

U8 = npt.NDArray[np.uint8]
Index = npt.NDArray[np.intp]

#: Added to a surface's number where thin features are near: always sampled finely.
FINE = 64
#: Depth of what is never met.
NEVER = np.float32(1e9)


class Surface(IntEnum):
    """Every kind of surface; a change from one to another is an edge in the picture."""

    BACKGROUND = 0
    PLATE = 1
    PAD = 2
    INK = 3
    COVER = 4
    WALL_LEFT = 5
    WALL_RIGHT = 6
    WALL_LOW = 7
    WALL_HIGH = 8
    YOKE = 9
    YOKE_PAD = 10
    YOKE_INK = 11
    YOKE_LINE = 12
    YOKE_END = 13
    YOKE_SIDE = 14
    TANG = 15
    TANG_SIDE = 16
    BARREL = 17
    BARREL_LINE = 18
    SOCKET_FACE = 19
    BORE = 20
    SILL = 21
    DOOR = 22
    JAMB = 23
    SILL_ROUND = 24
    DOOR_ROUND = 25
    SILL_SLOT = 26
    DOOR_SLOT = 27
    DUCT = 28
    POCKET_END = 29
    POCKET_SIDE = 30
    POCKET_FLOOR = 31


@dataclass(slots=True)
class Rays:
    """Rays of one eye (3,) in some axes."""

    eye: tuple[float, float, float]
    mx: F32
    my: F32

    def at(self, z_mm: float) -> tuple[F32, F32]:
        """Where the rays meet the plane z (x, y)."""
        depth = self.eye[2] - z_mm
        return self.eye[0] + depth * self.mx, self.eye[1] + depth * self.my

    def some(self, index: Index) -> Rays:
        return Rays(self.eye, self.mx[index], self.my[index])

    def turned(self, origin: Point, angle_deg: float) -> Rays:
        """The same rays in axes at ``origin``, turned by an angle about z."""
        x, y = self.eye[0] - origin[0], self.eye[1] - origin[1]
        if angle_deg == 0.0:
            return Rays((x, y, self.eye[2]), self.mx, self.my)
        c, s = cos(radians(angle_deg)), sin(radians(angle_deg))
        c32, s32 = np.float32(c), np.float32(s)
        eye = (c * x + s * y, c * y - s * x, self.eye[2])
        return Rays(eye, c32 * self.mx + s32 * self.my, c32 * self.my - s32 * self.mx)


@dataclass(slots=True)
class Hits:
    """The first surface on each ray.

    ``depth`` below the eye; ``a``, ``b`` coordinates on the surface for its texture; ``ny``
    the y component of the normal where the surface is round; ``inside`` how deep in a slot.
    """

    surface: U8
    depth: F32
    a: F32
    b: F32
    ny: F32
    inside: F32

    @classmethod
    def none(cls, n: int) -> Hits:
        zero = np.zeros((4, n), np.float32)
        return cls(np.zeros(n, np.uint8), np.full(n, NEVER), zero[0], zero[1], zero[2], zero[3])

    def put(self, index: Index, nearer: Hits) -> None:
        """Take over what ``nearer`` found for the rays ``index``, where it is closer."""
        won = np.flatnonzero(nearer.depth < self.depth[index])
        at = index[won]
        for name in ("surface", "depth", "a", "b", "ny", "inside"):
            getattr(self, name)[at] = getattr(nearer, name)[won]


def exit_depth(rays: Rays, axis: int, limits_mm: Range) -> F32:
    """Depth at which rays that are between two limits of x (axis 0) or y leave them."""
    slope = (rays.mx, rays.my)[axis]
    slope = np.where(np.abs(slope) < 1e-9, np.float32(1e-9), slope)
    low, high = (np.float32(limit - rays.eye[axis]) for limit in limits_mm)
    return np.asarray(np.where(slope > 0, high, low) / slope, dtype=np.float32)


def slab(eye: float, slope: F32, limits_mm: Range) -> tuple[F32, F32]:
    """Depths at which rays enter and leave the space between two limits of one axis."""
    slope = np.where(np.abs(slope) < 1e-9, np.float32(1e-9), slope)
    one, other = (np.float32(limit - eye) / slope for limit in limits_mm)
    return np.minimum(one, other), np.maximum(one, other)


def within(x: F32, y: F32, x_mm: Range, y_mm: Range) -> npt.NDArray[np.bool_]:
    return np.asarray((x >= x_mm[0]) & (x <= x_mm[1]) & (y >= y_mm[0]) & (y <= y_mm[1]))
