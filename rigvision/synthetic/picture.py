"""What falls on the sensor: one ray a pixel, many where the surface changes, then the lens.

The plate's part of the picture is kept on cells of half a pixel while the lens blurs it, and
only then gathered into pixels, as a sensor does: blurring whole pixels instead would move an
edge by up to 0.02 px, depending on where in its pixel it lies. Cells near an edge are averaged
over a few rays, spread so that each row and column of the cell's own grid holds one and
shifted from cell to cell by a low-discrepancy sequence: along a few cells of an edge its place
is true to some thousandths of a pixel, whatever its direction.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from rigvision.ground.conventions import FloatArray
from rigvision.synthetic.camera import F32, PhoneCamera
from rigvision.synthetic.hits import first_hits
from rigvision.synthetic.rig import Rig
from rigvision.synthetic.scene import Scene
from rigvision.synthetic.shading import Look, front_light, luminance
from rigvision.synthetic.surface import FINE, U8, Index, Rays, Surface
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge

#: Rays of each of the four cells of a pixel near an edge.
SAMPLES = 4
#: Rays traced together: small enough for the processor's cache.
CHUNK = 1 << 16
#: Pixels of the coarse grids for light and background, per cell.
COARSE = 8
#: Pixels around thin features that are always sampled finely.
GUARD_PX = 1.6


@dataclass(frozen=True, slots=True)
class Box:
    """Columns x0 to x1 and rows y0 to y1 of a picture, ends excluded."""

    x0: int
    y0: int
    x1: int
    y1: int


def render(
    scene: Scene,
    camera: PhoneCamera,
    gauge: Gauge,
    frame: Frame,
    rng: np.random.Generator,
    samples: int = SAMPLES,
) -> F32:
    """Linear luminance (h, w) on the sensor, brightest pad near 1; no noise, no vignetting.

    ``samples`` is the number of rays in each of the four cells of a pixel near an edge.
    """
    px_per_mm = camera.lens_px / camera.distance_mm
    rig = Rig(scene, gauge, frame, guard_mm=GUARD_PX / px_per_mm)
    look = Look(rig, (int(rng.integers(2048)), int(rng.integers(2048))))
    sigma_px = camera.development.blur_sigma_px
    box = _plate_box(camera, gauge, margin_px=4 + int(np.ceil(4 * sigma_px)))
    light = _coarse_light(rig, camera)
    behind = _background(rig, camera, light[0], rng)
    linear = _enlarged(behind, camera)
    tracer = _Tracer(look, camera, light, behind)
    sharp, surface = tracer.pixels(box, linear)
    cells = sharp.repeat(2, axis=0).repeat(2, axis=1)
    tracer.refine(cells, surface, box, samples)
    soft = blurred(cells, 2 * sigma_px)
    size = (box.x1 - box.x0, box.y1 - box.y0)
    linear[box.y0 : box.y1, box.x0 : box.x1] = cv2.resize(soft, size, interpolation=cv2.INTER_AREA)
    return linear


def blurred(picture: F32, sigma_px: float) -> F32:
    """Gaussian blur with a kernel wide enough (4 sigma) not to move an edge."""
    if sigma_px <= 0:
        return picture.copy()
    size = 2 * int(np.ceil(4 * sigma_px)) + 1
    blur = cv2.GaussianBlur(picture, (size, size), sigma_px, borderType=cv2.BORDER_REPLICATE)
    return np.asarray(blur, np.float32)


def _plate_box(camera: PhoneCamera, gauge: Gauge, margin_px: int) -> Box:
    """The pixels that the plate may touch."""
    plate = gauge.plate
    corners = np.array([[x, y, z] for x in plate.x_mm for y in plate.y_mm for z in plate.z_mm])
    edge = _along_edges(corners)
    seen = camera.project_px(edge)
    low, high = seen.min(axis=0) - margin_px, seen.max(axis=0) + margin_px + 1
    return Box(
        int(np.clip(low[0], 0, camera.width_px - 1)),
        int(np.clip(low[1], 0, camera.height_px - 1)),
        int(np.clip(high[0], 1, camera.width_px)),
        int(np.clip(high[1], 1, camera.height_px)),
    )


def _along_edges(corners: FloatArray) -> FloatArray:
    """Points between all pairs of corners: distortion bends the edges outwards."""
    t = np.linspace(0, 1, 9)[:, None, None, None]
    return np.asarray((corners[:, None] * t + corners[None] * (1 - t)).reshape(-1, 3))


def _coarse_rays(camera: PhoneCamera) -> Rays:
    """Rays through the centres of the coarse cells (rows, columns)."""
    columns = (np.arange(-(-camera.width_px // COARSE)) + 0.5) * COARSE - 0.5
    rows = (np.arange(-(-camera.height_px // COARSE)) + 0.5) * COARSE - 0.5
    u, v = np.meshgrid(columns.astype(np.float32), rows.astype(np.float32))
    mx, my = camera.slopes(u, v)
    return Rays(_eye(camera), mx, my)


def _coarse_light(rig: Rig, camera: PhoneCamera) -> tuple[F32, F32]:
    """``front_light`` on the coarse grid, scaled so that the brightest pad has luminance 1."""
    diffuse, shine = front_light(rig, _coarse_rays(camera))
    bright = np.float32(diffuse.max() * rig.scene.surfaces.pad)
    return diffuse / bright, shine / bright


def _eye(camera: PhoneCamera) -> tuple[float, float, float]:
    x, y, z = camera.eye_mm
    return float(x), float(y), float(z)


@dataclass(frozen=True, slots=True)
class _Tracer:
    """Traces rays of one picture."""

    look: Look
    camera: PhoneCamera
    light: tuple[F32, F32]
    behind: F32

    def sample(self, u: F32, v: F32) -> tuple[F32, U8]:
        """Luminance and surface at flat pixel coordinates."""
        rays = Rays(_eye(self.camera), *self.camera.slopes(u, v))
        hits = first_hits(self.look.rig, rays)
        at = self._cells(u, v)
        front = self.light[0].ravel()[at], self.light[1].ravel()[at]
        value = luminance(self.look, rays, hits, front)
        missed = np.flatnonzero(hits.surface == Surface.BACKGROUND)
        value[missed] = self.behind.ravel()[at[missed]]
        return value, hits.surface

    def _cells(self, u: F32, v: F32) -> npt.NDArray[np.int32]:
        """Coarse cell of each pixel coordinate, flat."""
        rows, columns = self.light[0].shape
        column = ((u + np.float32(0.5)) * np.float32(1 / COARSE)).astype(np.int32)
        row = ((v + np.float32(0.5)) * np.float32(1 / COARSE)).astype(np.int32)
        # A ray on the picture's very border rounds up to a cell beyond it.
        return np.asarray(np.minimum(row, rows - 1) * columns + np.minimum(column, columns - 1))

    def pixels(self, box: Box, behind: F32) -> tuple[F32, U8]:
        """One ray a pixel in the box: luminance and surface; ``behind`` is the background."""
        width = box.x1 - box.x0
        sharp = behind[box.y0 : box.y1, box.x0 : box.x1].copy()
        surface = np.zeros(sharp.shape, np.uint8)
        columns = np.arange(box.x0, box.x1, dtype=np.float32)
        step = max(1, CHUNK // width)
        for top in range(0, len(sharp), step):
            rows = np.arange(top, min(top + step, len(sharp)), dtype=np.float32) + box.y0
            value, kind = self.sample(np.tile(columns, len(rows)), np.repeat(rows, width))
            band = surface[top : top + step]
            band[:] = kind.reshape(band.shape)
            seen = band != Surface.BACKGROUND
            np.copyto(sharp[top : top + step], value.reshape(band.shape), where=seen)
        return sharp, surface

    def refine(self, cells: F32, surface: U8, box: Box, samples: int) -> None:
        """Average many rays in the half-pixel cells where the surface changes or is thin."""
        rows, columns = (_halves(i) for i in np.nonzero(_edges(surface)))
        rows, columns = rows[:, [0, 0, 1, 1]].ravel(), columns[:, [0, 1, 0, 1]].ravel()
        offsets_u, offsets_v = _rook_offsets(samples)
        together = max(1, CHUNK // samples)
        for start in range(0, len(rows), together):
            row, column = rows[start : start + together], columns[start : start + together]
            shift_u, shift_v = _shifts(column, row)
            u = _cell_px(column, box.x0)[:, None] + (offsets_u + shift_u[:, None]) % 1.0 * 0.5
            v = _cell_px(row, box.y0)[:, None] + (offsets_v + shift_v[:, None]) % 1.0 * 0.5
            value, _ = self.sample(u.ravel(), v.ravel())
            cells[row, column] = value.reshape(u.shape).mean(axis=1)


def _halves(index: Index) -> Index:
    """The two half-pixel cells (n, 2) of each pixel along one axis."""
    return np.asarray(2 * index[:, None] + np.arange(2))


def _cell_px(cell: Index, start_px: int) -> F32:
    """Where half-pixel cells begin, px."""
    return np.asarray(cell * 0.5 + (start_px - 0.5), np.float32)


def _edges(surface: U8) -> npt.NDArray[np.bool_]:
    """Pixels within one of another surface, or next to a thin feature."""
    kernel = np.ones((3, 3), np.uint8)
    differs = cv2.dilate(surface, kernel) != cv2.erode(surface, kernel)
    return np.asarray(differs | (surface >= FINE))


def _rook_offsets(samples: int) -> tuple[F32, F32]:
    """Offsets in [0, 1): one sample in each of ``samples`` columns and rows (rank-1 lattice)."""
    index = np.arange(samples)
    step = next(s for s in range(int(samples * 0.618), 0, -1) if np.gcd(s, samples) == 1)
    u = index / samples
    v = (index * step % samples) / samples
    return u.astype(np.float32), v.astype(np.float32)


def _shifts(column: Index, row: Index) -> tuple[F32, F32]:
    """A shift in [0, 1) for each cell that fills the unit square evenly (R2 sequence)."""
    along = column * 0.7548776662466927 + row * 0.5698402909980532
    across = column * 0.5698402909980532 + row * 0.3247179572447458
    return (along % 1.0).astype(np.float32), (across % 1.0).astype(np.float32)


def _background(rig: Rig, camera: PhoneCamera, light: F32, rng: np.random.Generator) -> F32:
    """The structure around the plate, coarse: out of focus, soft shapes, the plate's shadow."""
    rays = _coarse_rays(camera)
    x, y = rays.at(rig.frame.sill.face_z_mm)
    base = np.full(x.shape, 0.8 * rig.scene.surfaces.sill, np.float32)
    for _ in range(7):
        _soft_panel(base, x, y, rng)
    mottle = rng.standard_normal(x.shape, dtype=np.float32)
    base *= 1.0 + np.float32(0.15) * cv2.GaussianBlur(mottle, (0, 0), 2.0)
    base = blurred(base, 2.2)
    seen = np.asarray(base * light * _plate_shadow(rig, x, y), np.float32)
    for film in rig.scene.films:
        film.shade(seen, x, y)
    return seen


def _enlarged(coarse: F32, camera: PhoneCamera) -> F32:
    """A coarse grid at the picture's full size."""
    full = cv2.resize(coarse, None, fx=COARSE, fy=COARSE, interpolation=cv2.INTER_LINEAR)
    return np.ascontiguousarray(full[: camera.height_px, : camera.width_px])


def _soft_panel(base: F32, x: F32, y: F32, rng: np.random.Generator) -> None:
    """One more panel, rib or bolt head of the surrounding structure."""
    cx, cy = rng.uniform(-180, 180), rng.uniform(-140, 140)
    if rng.random() < 0.5:
        inside = np.hypot(x - cx, y - cy) < rng.uniform(4, 14)
    else:
        angle = rng.choice([0.0, np.pi / 2]) + rng.normal(0, 0.05)
        across = np.cos(angle) * (x - cx) + np.sin(angle) * (y - cy)
        inside = np.abs(across) < rng.uniform(1.5, 40)
    base[inside] *= rng.uniform(0.35, 1.5)


def _plate_shadow(rig: Rig, x: F32, y: F32) -> F32:
    """Darkening around the plate, towards the side away from the lamp."""
    (x0, x1), (y0, y1) = rig.gauge.plate.x_mm, rig.gauge.plate.y_mm
    sx, sy = rig.scene.light.side_slope
    px, py = x + 5.0 * sx, y + 5.0 * sy
    outside = np.hypot(
        np.maximum(np.maximum(x0 - px, px - x1), 0.0), np.maximum(np.maximum(y0 - py, py - y1), 0.0)
    )
    return np.asarray(1.0 - 0.5 * np.exp(-outside / 5.0), np.float32)
