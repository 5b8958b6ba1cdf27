"""Only the slot's edges, path-traced as cross-sections: to train and to test what reads them."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass, replace
from pathlib import Path

import bpy
import cv2
import numpy as np
from mathutils import Vector
from numpy.typing import NDArray

from . import assembly, surroundings
from .camera import View
from .engine import Image, Quality, build_scene, configure, place_camera, read_exr
from .rig import Rig
from .shots import Shot
from .truth import truth_of

STATIONS_MM = (-30.0, 0.0, 30.0)
HALF_WIDTH_MM = 1.3
COLUMNS = 32
FINER = 1.75  #: times as many pixels as a phone's, so that its own blur can be added later
LUMINANCE = np.array([0.2126, 0.7152, 0.0722], np.float32)  # IEC 61966-2-1


@dataclass(frozen=True)
class EdgeSections:
    """Light across each edge, (E, len(places)); lengths in radii, v from face into slot."""

    light: NDArray[np.float32]
    slope: NDArray[np.float32]
    gap: NDArray[np.float32]
    depth: NDArray[np.float32]  # (E, 2) of the edge's own body and of the other


def render_sections(
    rig: Rig, shot: Shot, places: NDArray[np.float64], samples: int, varied: bool
) -> EdgeSections:
    """Both edges at each station of a shot, without lens and phone.

    ``varied``: with surfaces and lights beside the named ones.
    """
    size = tuple(round(FINER * s) for s in shot.view.size_px)
    offset = tuple(FINER * p for p in shot.view.principal_offset_px)
    view = replace(shot.view, size_px=size, principal_offset_px=offset, k1=0.0)
    quality = Quality(samples, "cpu", denoise=False, depth_of_field=False)
    truth = truth_of(rig, shot)
    if varied:
        _vary_surfaces(np.random.default_rng(shot.seed + 5))
    build_scene(rig, shot)
    if varied:
        _vary_light(np.random.default_rng(shot.seed + 6))
    place_camera(view, quality)
    configure(view, quality, shot.seed)
    bpy.context.scene.cycles.use_adaptive_sampling = False
    bpy.context.scene.render.use_persistent_data = True
    light, slope, gap = [], [], []
    for x in STATIONS_MM:
        found = _station(rig, view, truth, x, places)
        light += found[0]
        slope += found[1]
        gap += [found[2], found[2]]
    own = np.array([rig.sill_thickness, rig.door_thickness] * len(STATIONS_MM)) / rig.edge_radius
    other = np.array([rig.door_thickness, rig.sill_thickness] * len(STATIONS_MM)) / rig.edge_radius
    return EdgeSections(
        np.array(light, np.float32),
        np.array(slope, np.float32),
        np.array(gap, np.float32),
        np.stack([own, other], -1).astype(np.float32),
    )


#: What the surfaces are before any scene changes them.
_SURFACES = {**assembly.METALS}, {**assembly.PAINTS}
WORLDS = ("city", "courtyard", "forest", "interior", "night", "studio", "sunrise", "sunset")


def _vary_surfaces(rng: np.random.Generator) -> None:
    """Every metal and paint a little lighter or darker, smoother or rougher than named."""
    for table, named in zip((assembly.METALS, assembly.PAINTS), _SURFACES, strict=True):
        for name, surface in named.items():
            gain = float(np.exp(rng.normal(0, 0.35)))
            table[name] = replace(
                surface,
                base=tuple(min(0.85, c * gain) for c in surface.base),
                roughness=float(np.clip(surface.roughness * np.exp(rng.normal(0, 0.3)), 0.15, 0.9)),
                brush=surface.brush * float(rng.uniform(0.2, 1.5)),
                blast=surface.blast * float(rng.uniform(0.2, 1.5)),
            )


def _vary_light(rng: np.random.Generator) -> None:
    """Half of the scenes get other surroundings and other lamps than the named ones."""
    if rng.random() < 0.5:
        return
    for light in [o for o in bpy.data.objects if o.type == "LIGHT"]:
        bpy.data.objects.remove(light)
    strength = float(np.exp(rng.uniform(np.log(0.1), np.log(1.2))))
    surroundings.add_world(str(rng.choice(WORLDS)), strength, float(rng.uniform(0, 2 * np.pi)))
    for _ in range(rng.integers(0, 4)):
        towards = rng.normal(0, 1, 3)
        towards[2] = abs(towards[2]) + 0.2
        distance = float(np.exp(rng.uniform(np.log(180), np.log(1800))))
        place = distance * towards / np.linalg.norm(towards)
        surroundings.add_lamp(
            Vector(place.tolist()),
            Vector((0.0, 12.0, -6.0)),
            distance * float(np.exp(rng.uniform(np.log(0.03), np.log(0.8)))),
            float(np.exp(rng.normal(0, 0.8))),
            (1.0, 1.0, 1.0),
        )


def _station(
    rig: Rig, view: View, truth: dict, x: float, places: NDArray[np.float64]
) -> tuple[list[NDArray[np.float64]], list[float], float]:
    radius, z = rig.edge_radius, rig.face_z - rig.edge_radius
    xs = [s["x_mm"] for s in truth["gap"]["stations"]]
    gap = float(np.interp(x, xs, [s["gap_mm"] for s in truth["gap"]["stations"]]))
    sill = truth["sill"]
    sill_y = rig.sill_edge_y + sill["offset_mm"] + np.radians(sill["tilt_deg"]) * x
    across = x + np.linspace(-HALF_WIDTH_MM, HALF_WIDTH_MM, COLUMNS)
    lines = (sill_y + radius * places, sill_y + gap - radius * places)
    grids = [np.stack([*np.meshgrid(across, y), np.full((len(y), COLUMNS), z)], -1) for y in lines]
    picture, corner = _rendered(view, view.project(np.concatenate(grids).reshape(-1, 3)))
    to_camera = np.asarray(view.position_mm) - np.array([x, sill_y, z])
    t = float(to_camera[1] / to_camera[2])
    return [_profile(picture, corner, view, g) for g in grids], [t, -t], gap / radius


def _rendered(view: View, pixels: NDArray[np.float64]) -> tuple[Image, NDArray[np.int_]]:
    """The part of the picture that holds these pixels, and its top left corner."""
    scene = bpy.context.scene
    width, height = view.size_px
    low = np.clip(np.floor(pixels.min(0)).astype(int) - 3, 0, None)
    high = np.minimum(np.ceil(pixels.max(0)).astype(int) + 4, [width, height])
    scene.render.use_border = scene.render.use_crop_to_border = True
    # Blender cuts borders down to whole pixels, counted from the lower left.
    whole = 0.3
    scene.render.border_min_x = (low[0] + whole) / width
    scene.render.border_max_x = (high[0] + whole) / width
    scene.render.border_min_y = (height - high[1] + whole) / height
    scene.render.border_max_y = (height - low[1] + whole) / height
    with tempfile.TemporaryDirectory() as folder:
        target = Path(folder) / "linear.exr"
        scene.render.filepath = str(target)
        bpy.ops.render.render(write_still=True)
        image = read_exr(target)
    if image.shape[:2] != (high[1] - low[1], high[0] - low[0]):
        raise RuntimeError(f"rendered {image.shape[:2]} instead of {high - low}")
    return image, low


def _profile(
    picture: Image, corner: NDArray[np.int_], view: View, grid: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Light at each place, the middle half over the station's width."""
    at = (view.project(grid.reshape(-1, 3)) - corner).astype(np.float32)
    x, y = (np.ascontiguousarray(a.reshape(grid.shape[:2])) for a in at.T)
    light = cv2.remap(picture @ LUMINANCE, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    ordered = np.sort(light, axis=1)
    quarter = grid.shape[1] // 4
    return ordered[:, quarter:-quarter].mean(axis=1, dtype=np.float64)
