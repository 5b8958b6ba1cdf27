"""Linear luminance of what the rays met: light, material, texture, dirt.

Diffuse light by Lambert from an ambient dome, a torch near the camera and a side lamp;
one Blinn lobe for metal. Shadows and dark corners are approximations that look right;
nothing that is measured depends on them, only on where the surfaces are.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache
from math import hypot

import cv2
import numpy as np
import numpy.typing as npt

from rigvision.synthetic.camera import F32
from rigvision.synthetic.film import Film
from rigvision.synthetic.rig import Rig
from rigvision.synthetic.scene import Light, Surfaces
from rigvision.synthetic.surface import FINE, U8, Hits, Index, Rays, Surface

TEXTURE_SIZE = 2048
#: Texels of the textures for one mm.
TEXELS_PER_MM = 14.0
#: Half width of the window shadows' soft edge, mm.
PENUMBRA_MM = 0.8

#: Normals (x, y, z) of the flat surfaces that do not face +z.
_NORMALS = {
    Surface.WALL_LEFT: (1, 0, 0),
    Surface.WALL_RIGHT: (-1, 0, 0),
    Surface.WALL_LOW: (0, 1, 0),
    Surface.WALL_HIGH: (0, -1, 0),
    Surface.YOKE_END: (1, 0, 0),
    Surface.SOCKET_FACE: (-1, 0, 0),
    Surface.SILL_SLOT: (0, 1, 0),
    Surface.DOOR_SLOT: (0, -1, 0),
    Surface.POCKET_END: (-0.7, 0, 0.7),
    Surface.POCKET_SIDE: (0, -0.7, 0.7),
}
_ROUND = (Surface.BARREL, Surface.BARREL_LINE, Surface.SILL_ROUND, Surface.DOOR_ROUND)
#: Share of the ambient light that reaches surfaces with no open sky above them.
_OPENNESS = {
    Surface.WALL_LEFT: 0.5,
    Surface.WALL_RIGHT: 0.5,
    Surface.WALL_LOW: 0.5,
    Surface.WALL_HIGH: 0.5,
    Surface.YOKE_END: 0.35,
    Surface.YOKE_SIDE: 0.35,
    Surface.TANG: 0.4,
    Surface.TANG_SIDE: 0.2,
    Surface.SOCKET_FACE: 0.4,
    Surface.BORE: 0.1,
    Surface.BARREL: 0.85,
    Surface.BARREL_LINE: 0.85,
    Surface.SILL: 0.8,
    Surface.DOOR: 0.8,
    Surface.JAMB: 0.7,
    Surface.SILL_ROUND: 0.75,
    Surface.DOOR_ROUND: 0.75,
    Surface.SILL_SLOT: 0.6,
    Surface.DOOR_SLOT: 0.6,
    Surface.DUCT: 0.15,
    Surface.POCKET_END: 0.35,
    Surface.POCKET_SIDE: 0.35,
    Surface.POCKET_FLOOR: 0.4,
}
_MATT = (Surface.PAD, Surface.INK, Surface.COVER, Surface.YOKE_PAD, Surface.YOKE_INK, Surface.DUCT)


@lru_cache(maxsize=1)
def _textures() -> tuple[F32, F32]:
    """Periodic noise of zero mean, flat: fine grain with scratches along x, and soft blotches.

    The fine one has the relative depth of blasted and brushed metal, the soft one unit spread.
    """
    rng = np.random.default_rng(36)
    size = (TEXTURE_SIZE, TEXTURE_SIZE)
    white = rng.standard_normal(size, dtype=np.float32)
    grain = _periodic_blur(white, 1.6, 1.6)
    scratch = _periodic_blur(np.sign(white) * white**4, 60.0, 0.9)
    small = rng.standard_normal((TEXTURE_SIZE // 16, TEXTURE_SIZE // 16), dtype=np.float32)
    blotch = cv2.resize(_periodic_blur(small, 5.0, 5.0), size, interpolation=cv2.INTER_CUBIC)
    fine = np.float32(0.045) * grain + np.float32(0.04) * scratch
    return fine.ravel(), np.asarray(blotch, np.float32).ravel()


def _periodic_blur(noise: F32, sigma_x: float, sigma_y: float) -> F32:
    pad = int(3 * max(sigma_x, sigma_y)) + 1
    wide = cv2.GaussianBlur(np.pad(noise, pad, mode="wrap"), (0, 0), sigma_x, sigmaY=sigma_y)
    blurred = wide[pad:-pad, pad:-pad]
    return np.asarray((blurred - blurred.mean()) / blurred.std(), np.float32)


@dataclass(frozen=True)
class Look:
    """Tables of one scene's materials, indexed by surface, and its lights."""

    rig: Rig
    #: Where in the textures this scene's surfaces begin (x, y), texels.
    texture_origin: tuple[int, int]

    @cached_property
    def albedo(self) -> F32:
        s = self.rig.scene.surfaces
        table = np.zeros(FINE, np.float32)
        table[list(_albedos(s))] = list(_albedos(s).values())
        return table

    @cached_property
    def roughness(self) -> F32:
        """Depth of the texture on each surface: metal 1, paint and print much less."""
        table = np.full(FINE, 1.0, np.float32)
        table[list(_MATT)] = 0.15
        if self.rig.scene.surfaces.door_painted:
            table[[Surface.DOOR, Surface.DOOR_ROUND]] = 0.3
        return table * np.float32(self.rig.scene.surfaces.texture)

    @cached_property
    def gloss(self) -> F32:
        table = np.full(FINE, self.rig.scene.surfaces.gloss, np.float32)
        table[list(_MATT)] = 0.03
        table[[Surface.YOKE_LINE, Surface.BARREL_LINE]] = 0.05
        return table

    @cached_property
    def normals(self) -> F32:
        table = np.tile(np.array([0, 0, 1], np.float32), (FINE, 1))
        for surface, normal in _NORMALS.items():
            table[surface] = normal
        return table

    @cached_property
    def is_round(self) -> npt.NDArray[np.bool_]:
        return np.isin(np.arange(FINE), _ROUND)

    @cached_property
    def openness(self) -> F32:
        table = np.ones(FINE, np.float32)
        table[list(_OPENNESS)] = list(_OPENNESS.values())
        return table

    def metal(self, surface: U8, a: F32, b: F32) -> tuple[F32, F32]:
        """Texture (fine, blotch) of surfaces at their own coordinates, mm."""
        fine, blotch = _textures()
        mask = np.int32(TEXTURE_SIZE - 1)
        column = (a * np.float32(TEXELS_PER_MM)).astype(np.int32) + self.texture_corner[surface, 0]
        row = (b * np.float32(TEXELS_PER_MM)).astype(np.int32) + self.texture_corner[surface, 1]
        at = (row & mask) * np.int32(TEXTURE_SIZE) + (column & mask)
        return fine[at], blotch[at]

    @cached_property
    def texture_corner(self) -> npt.NDArray[np.int32]:
        """Where each surface begins in the textures (surface, (column, row)), texels."""
        corners = np.arange(FINE)[:, None] * np.array([331, 577]) + self.texture_origin
        return np.asarray(corners, np.int32)


def _albedos(s: Surfaces) -> dict[Surface, float]:
    return {
        Surface.PLATE: s.plate,
        Surface.PAD: s.pad,
        Surface.INK: s.ink,
        Surface.COVER: s.cover,
        Surface.WALL_LEFT: 0.7 * s.plate,
        Surface.WALL_RIGHT: 0.7 * s.plate,
        Surface.WALL_LOW: 0.7 * s.plate,
        Surface.WALL_HIGH: 0.7 * s.plate,
        Surface.YOKE: s.yoke,
        Surface.YOKE_PAD: s.pad,
        Surface.YOKE_INK: s.ink,
        Surface.YOKE_LINE: s.yoke_line,
        Surface.YOKE_END: 0.5 * s.yoke,
        Surface.YOKE_SIDE: 0.5 * s.yoke,
        Surface.TANG: 0.8 * s.yoke,
        Surface.TANG_SIDE: 0.5 * s.yoke,
        Surface.BARREL: s.socket,
        Surface.BARREL_LINE: s.socket_line,
        Surface.SOCKET_FACE: 0.6 * s.socket,
        Surface.BORE: 0.2 * s.socket,
        Surface.SILL: s.sill,
        Surface.DOOR: s.door,
        Surface.JAMB: s.sill,
        Surface.SILL_ROUND: s.sill,
        Surface.DOOR_ROUND: s.door,
        Surface.SILL_SLOT: s.sill_slot,
        Surface.DOOR_SLOT: s.door_slot,
        Surface.DUCT: s.duct,
        Surface.POCKET_END: s.pocket,
        Surface.POCKET_SIDE: s.pocket,
        Surface.POCKET_FLOOR: s.pocket,
    }


def front_light(rig: Rig, rays: Rays) -> tuple[F32, F32]:
    """Irradiance and mirror-like light on surfaces that face +z, near the plate's front.

    For rays on a coarse grid: both vary slowly. Shapes as the rays' slopes.
    """
    light = rig.scene.light
    x, y = rays.at(0.0)
    diffuse = light.ambient + np.zeros_like(x)
    shine = np.full_like(x, 0.3 * light.ambient)
    for slope_x, slope_y, strength in _lamps(rig, rays):
        norm = 1.0 / np.sqrt(1.0 + slope_x**2 + slope_y**2)
        diffuse += strength * norm
        shine += strength * _lobe(rays, (0.0, 0.0, 1.0), slope_x, slope_y)
    if light.glare > 0:
        shine += _glare(light, x, y)
    return diffuse.astype(np.float32), shine.astype(np.float32)


def _glare(light: Light, x: F32, y: F32) -> F32:
    """The mirror image of a lamp, a soft spot much brighter than anything lit."""
    gx, gy = light.glare_at_mm
    far2 = ((x - gx) ** 2 + (y - gy) ** 2) * np.float32(1.0 / light.glare_radius_mm**2)
    return np.asarray(12.0 * light.glare * np.exp(-0.5 * far2), np.float32)


def _lamps(rig: Rig, rays: Rays) -> list[tuple[F32, F32, F32]]:
    """Each lamp that is on: direction as slopes x/z and y/z, and strength, for each ray."""
    light = rig.scene.light
    lamps = []
    if light.torch > 0:
        x, y = rays.at(0.0)
        far2 = (x * x + y * y) * np.float32(1.0 / light.torch_radius_mm**2)
        ox, oy = (np.float32(offset) for offset in light.torch_offset)
        lamps.append((ox - rays.mx, oy - rays.my, np.float32(light.torch) / (1.0 + far2)))
    if light.side > 0:
        # Arrays of one element stand for a lamp that is the same everywhere.
        sx, sy = (np.array([slope], np.float32) for slope in light.side_slope)
        lamps.append((sx, sy, np.array([light.side], np.float32)))
    return lamps


def _lobe(
    rays: Rays, normal: tuple[F32 | float, F32 | float, F32 | float], sx: F32, sy: F32
) -> F32:
    """Blinn lobe (n . h)^24 of a lamp in direction (sx, sy, 1); the eye is at (-mx, -my, 1)."""
    view = 1.0 / np.sqrt(1.0 + rays.mx**2 + rays.my**2)
    lamp = 1.0 / np.sqrt(1.0 + sx**2 + sy**2)
    hx, hy, hz = lamp * sx - view * rays.mx, lamp * sy - view * rays.my, lamp + view
    nx, ny, nz = normal
    cosine = (nx * hx + ny * hy + nz * hz) / np.sqrt(hx * hx + hy * hy + hz * hz)
    p = np.clip(cosine, 0.0, 1.0) ** 2
    p4 = (p * p) ** 2
    return np.asarray(p4 * p4 * p4, np.float32)


def luminance(look: Look, rays: Rays, hits: Hits, front: tuple[F32, F32]) -> F32:
    """Linear luminance of every hit; ``front`` is ``front_light`` for the same rays.

    Hits on the background come out 0.
    """
    surface = hits.surface & np.uint8(FINE - 1)
    diffuse, shine = front
    behind = np.flatnonzero(surface >= Surface.WALL_LEFT)
    if len(behind):
        diffuse, shine = diffuse.copy(), shine.copy()
        d, s = _light_behind(look, rays.some(behind), surface[behind], hits, behind)
        diffuse[behind], shine[behind] = d, s
    fine, blotch = look.metal(surface, hits.a, hits.b)
    rough = look.roughness[surface]
    albedo = look.albedo[surface] * (1.0 + rough * (fine + np.float32(0.06) * blotch))
    smear = np.float32(look.rig.scene.grime.smear)
    albedo *= 1.0 - np.float32(0.35) * smear * np.clip(blotch - np.float32(0.4), 0, 1)
    gloss = look.gloss[surface] * (1.0 + np.float32(2.0) * rough * fine)
    if len(behind):
        albedo[behind] *= _dirt(look, surface[behind], hits, behind)
    value = np.asarray(albedo * diffuse + gloss * np.float32(0.4) * shine, np.float32)
    for film in look.rig.scene.films:
        index, x, y = film.where(rays, hits, surface)
        if film.bridging and len(index):
            film.lay_on(value, index, x, y, _face_light(look, rays.some(index), film))
        else:
            film.lay_on(value, index, x, y, diffuse[index])
    return value


def _face_light(look: Look, rays: Rays, film: Film) -> F32:
    """Irradiance of a face that lies, like the door's, at the height of a film."""
    assert film.field.z_mm is not None
    n = len(rays.mx)
    face = Hits.none(n)
    face.surface[:] = Surface.DOOR
    face.depth[:] = rays.eye[2] - film.field.z_mm
    return _light_behind(look, rays, face.surface, face, np.arange(n))[0]


def _light_behind(look: Look, rays: Rays, surface: U8, hits: Hits, index: Index) -> tuple[F32, F32]:
    """Irradiance and shine on what is seen through the windows, with shadows and corners."""
    rig = look.rig
    light = rig.scene.light
    nx, ny, nz = (component[surface] for component in look.normals.T)
    round_ = np.flatnonzero(look.is_round[surface])
    ny[round_] = hits.ny[index[round_]]
    nz[round_] = np.sqrt(np.maximum(1.0 - ny[round_] ** 2, 0.0))
    depth = hits.depth[index]
    z = rays.eye[2] - depth
    x, y = rays.eye[0] + depth * rays.mx, rays.eye[1] + depth * rays.my
    cave = _cave(rig, surface, hits.inside[index])
    below = np.maximum(np.float32(rig.gauge.plate.z_mm[0]) - z, 0.0)
    walls = np.clip(_inside_windows(rig, x, y) / np.float32(5.0), -0.3, 1.0)
    cave *= np.where(below > 0, np.float32(0.75) + np.float32(0.25) * walls, np.float32(1.0))
    diffuse = light.ambient * look.openness[surface] * cave * (0.6 + 0.4 * nz + 0.12 * ny)
    shine = 0.3 * light.ambient * cave * nz
    for sx, sy, strength in _lamps(rig, rays):
        facing = np.maximum(nx * sx + ny * sy + nz, 0.0) / np.sqrt(1.0 + sx**2 + sy**2)
        lit = strength * cave * _through_windows(rig, (x, y, z), sx, sy)
        diffuse += lit * facing
        shine += lit * _lobe(rays, (nx, ny, nz), sx, sy)
    if light.glare > 0:
        shine += _glare(light, x, y) * cave * np.maximum(nz, 0.0) ** 8
    if light.shadow_above_sill_mm is not None:
        above = y - np.float32(rig.frame.sill.edge_y_mm + light.shadow_above_sill_mm)
        shaded = 1.0 - light.shadow_depth * np.clip(above / 0.6 + 0.5, 0, 1)
        shaded = np.where(z < rig.gauge.plate.z_mm[0], shaded, 1.0)
        diffuse, shine = diffuse * shaded, shine * shaded
    return diffuse.astype(np.float32), shine.astype(np.float32)


def _cave(rig: Rig, surface: U8, inside: F32) -> F32:
    """Light left at a depth inside the slot or the pocket."""
    gap = max(rig.scene.gap_mm, 0.05) + rig.frame.sill.edge_radius_mm
    in_slot = (surface >= Surface.SILL_ROUND) & (surface <= Surface.DUCT)
    return np.asarray(
        np.where(in_slot, 1.0 / (1.0 + inside / gap), 1.0 / (1.0 + inside / 12.0)), np.float32
    )


def _through_windows(rig: Rig, point: tuple[F32, F32, F32], sx: F32, sy: F32) -> F32:
    """How much of a lamp in direction (sx, sy, 1) is seen past the plate, 0 to 1."""
    x, y, z = point
    clear = np.full_like(x, 1e3)
    for level in rig.gauge.plate.z_mm:
        rise = np.maximum(np.float32(level) - z, 0.0)
        clear = np.minimum(clear, _inside_windows(rig, x + rise * sx, y + rise * sy))
    return np.asarray(np.clip(clear / (2 * PENUMBRA_MM) + 0.5, 0, 1), np.float32)


def _inside_windows(rig: Rig, x: F32, y: F32) -> F32:
    """Distance to the nearest side of the window that a point is in; negative outside of both."""
    w = rig.gauge.windows
    depths = []
    for (x0, x1), (y0, y1) in ((w.gap_x_mm, w.gap_y_mm), (w.yoke_x_mm, w.yoke_y_mm)):
        across = np.float32((x1 - x0) / 2) - np.abs(x - np.float32((x0 + x1) / 2))
        along = np.float32((y1 - y0) / 2) - np.abs(y - np.float32((y0 + y1) / 2))
        depths.append(np.minimum(across, along))
    return np.asarray(np.maximum(*depths), np.float32)


def _dirt(look: Look, surface: U8, hits: Hits, index: Index) -> F32:
    """Factor on the reflectance: dust that gathers at the edges, metal worn bright on them."""
    rig = look.rig
    grime = rig.scene.grime
    factor = np.ones(len(index), np.float32)
    near = np.flatnonzero((surface >= Surface.SILL) & (surface <= Surface.DOOR_ROUND))
    y = hits.b[index[near]]
    slope = rig.scene.taper_slope(rig.frame)
    above_sill = y - np.float32(rig.frame.sill.edge_y_mm)
    gap = rig.scene.gap_mm + np.float32(slope) * hits.a[index[near]]
    away = np.maximum(np.maximum(-above_sill, above_sill - gap), 0.0) / hypot(1.0, slope)
    fine, blotch = look.metal(surface[near], hits.a[index[near]] * 1.7, y * 1.7)
    dust = np.exp(-away / 1.2) * np.clip(0.5 + 8.0 * fine + blotch, 0, 1.5)
    factor[near] = 1.0 - 0.45 * grime.edge_dust * dust
    edges = (surface == Surface.SILL_ROUND) | (surface == Surface.DOOR_ROUND)
    rounds = np.flatnonzero(edges)
    worn = np.exp(-(((np.abs(hits.ny[index[rounds]]) - 0.45) / 0.3) ** 2))
    factor[rounds] *= 1.0 + 1.2 * grime.worn_edge * worn
    return factor
