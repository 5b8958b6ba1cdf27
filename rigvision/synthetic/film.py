"""What lies on the rig or in front of it: thin films on its surfaces, sheets that hide them.

Both are drawn into a raster in millimetres, in axes of their own that lie in a plane of
constant z, so that they shift against what is behind them as the eye moves and are blurred
by the lens like everything else. A ``Film`` alters what its surfaces send back; a ``Sheet``
is a solid that rays meet.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import cos, radians, sin

import numpy as np
import numpy.typing as npt

from rigvision.synthetic.surface import FINE, U8, Hits, Index, Rays, Surface
from rigvision.world.model import Point, Range

F32 = npt.NDArray[np.float32]
#: Draws a raster: from coordinates x and y (rows, columns), mm, to a value at each.
Drawing = Callable[[F32, F32], F32]

ON_PLATE = frozenset({Surface.PLATE, Surface.PAD, Surface.INK})
ON_YOKE = frozenset({Surface.YOKE, Surface.YOKE_PAD, Surface.YOKE_INK, Surface.YOKE_LINE})
FACES = frozenset({Surface.SILL, Surface.DOOR})
ROUNDS = frozenset({Surface.SILL_ROUND, Surface.DOOR_ROUND})
SLOT = frozenset({Surface.SILL_SLOT, Surface.DOOR_SLOT, Surface.DUCT})
EVERYTHING = frozenset(Surface)


@dataclass(frozen=True, slots=True)
class Field:
    """A rectangle in a plane, in axes at ``origin_mm`` turned by ``angle_deg`` about z.

    ``z_mm`` None takes the place of each hit itself, else rays are followed to that plane.
    """

    x_mm: Range
    y_mm: Range
    #: Between the raster's points, along x and y.
    step_mm: Point = (0.05, 0.05)
    origin_mm: Point = (0.0, 0.0)
    angle_deg: float = 0.0
    z_mm: float | None = None

    def grid(self) -> tuple[F32, F32]:
        """Coordinates (rows, columns) of the raster's points, in the field's axes."""
        (x0, x1), (y0, y1) = self.x_mm, self.y_mm
        x = np.arange(x0, x1 + self.step_mm[0], self.step_mm[0], dtype=np.float32)
        y = np.arange(y0, y1 + self.step_mm[1], self.step_mm[1], dtype=np.float32)
        columns, rows = np.meshgrid(x, y)
        return columns, rows

    def own(self, x: F32, y: F32) -> tuple[F32, F32]:
        """Points in gauge axes, in the field's."""
        c, s = (np.float32(f(radians(self.angle_deg))) for f in (cos, sin))
        x, y = x - np.float32(self.origin_mm[0]), y - np.float32(self.origin_mm[1])
        return c * x + s * y, c * y - s * x

    def inside(self, x: F32, y: F32) -> npt.NDArray[np.bool_]:
        (x0, x1), (y0, y1) = self.x_mm, self.y_mm
        return np.asarray((x >= x0) & (x < x1) & (y >= y0) & (y < y1))

    def read(self, raster: F32, x: F32, y: F32) -> F32:
        """Values of a raster at points inside the field, between its points by bilinear."""
        column = (x - np.float32(self.x_mm[0])) * np.float32(1 / self.step_mm[0])
        row = (y - np.float32(self.y_mm[0])) * np.float32(1 / self.step_mm[1])
        left = np.clip(column.astype(np.int32), 0, raster.shape[1] - 2)
        low = np.clip(row.astype(np.int32), 0, raster.shape[0] - 2)
        across, up = column - left, row - low
        lower = raster[low, left] * (1 - across) + raster[low, left + 1] * across
        upper = raster[low + 1, left] * (1 - across) + raster[low + 1, left + 1] * across
        return np.asarray(lower * (1 - up) + upper * up, np.float32)


@dataclass(frozen=True, slots=True, eq=False, repr=False, kw_only=True)
class Film:
    """Something thin: grease, dust, scratches, paint, a shadow's edge, a lamp's mirror image.

    Each part is a raster of the field, or None. What a surface sends back is multiplied by
    ``gain``, hidden by ``opacity`` behind a matt layer of reflectance ``albedo``, and added
    to by ``glow``, in units of the brightest pad.
    """

    field: Field
    surfaces: frozenset[Surface]
    gain: F32 | None = None
    opacity: F32 | None = None
    albedo: float = 0.0
    glow: F32 | None = None
    #: The layer lies at the field's height, across what is below, and is lit as a face there.
    bridging: bool = False
    #: Details under a pixel's size: its rectangle is sampled finely.
    fine: bool = False

    @classmethod
    def drawn(
        cls,
        field: Field,
        surfaces: frozenset[Surface],
        *,
        gain: Drawing | None = None,
        opacity: Drawing | None = None,
        albedo: float = 0.0,
        glow: Drawing | None = None,
        bridging: bool = False,
        fine: bool = False,
    ) -> Film:
        """A film whose rasters are drawn by functions of the field's coordinates."""
        x, y = field.grid()
        parts = {
            name: np.asarray(np.broadcast_to(draw(x, y), x.shape), np.float32)
            for name, draw in (("gain", gain), ("opacity", opacity), ("glow", glow))
            if draw
        }
        return cls(
            field=field, surfaces=surfaces, albedo=albedo, bridging=bridging, fine=fine, **parts
        )

    def where(self, rays: Rays, hits: Hits, base: U8) -> tuple[Index, F32, F32]:
        """Rays that meet the film, and where, in the field's axes; ``base`` without FINE."""
        wanted = np.zeros(FINE, np.bool_)
        wanted[list(self.surfaces - {Surface.BACKGROUND})] = True
        index = np.flatnonzero(wanted[base])
        if not len(index):
            return index, np.zeros(0, np.float32), np.zeros(0, np.float32)
        depth = hits.depth[index]
        if self.field.z_mm is not None:
            depth = np.full(len(index), rays.eye[2] - self.field.z_mm, np.float32)
        x, y = self.field.own(
            rays.eye[0] + depth * rays.mx[index], rays.eye[1] + depth * rays.my[index]
        )
        inside = self.field.inside(x, y)
        return index[inside], x[inside], y[inside]

    def shade(self, background: F32, x: F32, y: F32) -> None:
        """Apply the gain to what surrounds the plate, in place; (x, y) in the field's plane."""
        if self.gain is None or Surface.BACKGROUND not in self.surfaces:
            return
        x, y = self.field.own(x, y)
        inside = self.field.inside(x, y)
        background[inside] *= self.field.read(self.gain, x[inside], y[inside])

    def lay_on(self, value: F32, index: Index, x: F32, y: F32, irradiance: F32) -> None:
        """Change the luminance of the hits ``index`` in place; the layer has ``irradiance``."""
        read = self.field.read
        if self.gain is not None:
            value[index] *= read(self.gain, x, y)
        if self.opacity is not None:
            hides = read(self.opacity, x, y)
            value[index] += hides * (np.float32(self.albedo) * irradiance - value[index])
        if self.glow is not None:
            value[index] += read(self.glow, x, y)


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Sheet:
    """A solid at one height that hides what is below: a rag, a finger, tape, a plate in front.

    ``field.z_mm`` is its height; it is there where ``outline`` is positive.
    """

    field: Field
    outline: F32

    @classmethod
    def drawn(cls, field: Field, outline: Drawing) -> Sheet:
        x, y = field.grid()
        return cls(field, np.asarray(outline(x, y), np.float32))

    def add_to(self, rays: Rays, hits: Hits, surface: Surface) -> None:
        """Take over the rays that meet the sheet first."""
        assert self.field.z_mm is not None
        x, y = rays.at(self.field.z_mm)
        own_x, own_y = self.field.own(x, y)
        index = np.flatnonzero(self.field.inside(own_x, own_y))
        index = index[self.field.read(self.outline, own_x[index], own_y[index]) > 0]
        sheet = Hits.none(len(index))
        sheet.surface[:] = surface
        sheet.depth[:] = rays.eye[2] - self.field.z_mm
        sheet.a, sheet.b = x[index], y[index]
        hits.put(index, sheet)


def moved(field: Field, z_mm: float, eye_mm: npt.NDArray[np.float64]) -> Field:
    """The field at another height, where it covers the same from one eye."""
    assert field.z_mm is not None
    grow = float((eye_mm[2] - z_mm) / (eye_mm[2] - field.z_mm))
    x, y = (float(e + (o - e) * grow) for e, o in zip(eye_mm, field.origin_mm, strict=False))
    return replace(
        field,
        x_mm=(field.x_mm[0] * grow, field.x_mm[1] * grow),
        y_mm=(field.y_mm[0] * grow, field.y_mm[1] * grow),
        step_mm=(field.step_mm[0] * grow, field.step_mm[1] * grow),
        origin_mm=(x, y),
        z_mm=z_mm,
    )
