"""What a disturbance lays on the rig: rags, grease, dust, dirt and tape."""

from __future__ import annotations

from math import cos, pi, radians, sin

import numpy as np
from mathutils import Matrix, Vector, noise
from numpy.typing import NDArray

from . import geometry
from .assembly import door_in_frame, frame_in_gauge
from .materials import Graph, Surface, make_surface
from .rig import Rig
from .shots import State
from .staged import Bead, Body, Grains, Patch, Sheet, Staged
from .surroundings import crumpled_sheet

#: Where films on the plate lie, mm: above the marks, by less than a pixel at any view.
FILM_Z_MM = 0.02
#: How deep a bead's lip hangs into the gap, mm below the face.
LIP_MM = 0.5


def build_props(rig: Rig, state: State, stage: Staged, seed: int) -> None:
    """Add every prop of a stage."""
    rng = np.random.default_rng(seed + 31)
    for number, sheet in enumerate(stage.sheets):
        _rag(sheet, rng, seed % 97 + number)
    for bead in stage.beads:
        _bead(rig, state, bead, seed)
    if stage.grains:
        for body in ("sill", "door"):
            _grains(rig, state, body, stage.grains, rng)
    for number, patch in enumerate(stage.patches):
        _patch(patch, number, rng)


def edge_pose(rig: Rig, state: State, body: Body) -> Matrix:
    """Return the pose of an edge: y = 0 its tangent plane, z = 0 its face."""
    frame = frame_in_gauge(rig, state)
    if body == "door":
        return frame @ door_in_frame(rig, state)
    return frame @ Matrix.Translation((0.0, rig.sill_edge_y, rig.face_z))


def _rag(sheet: Sheet, rng: np.random.Generator, seed: int) -> None:
    colour = [(0.16, 0.05, 0.045), (0.05, 0.07, 0.12), (0.38, 0.36, 0.31)][int(rng.integers(3))]
    cloth = Surface(colour, 0.0, 0.9, scratches=0.0, mottle=0.1, dirt=0.4, blast=1.0)
    crumpled_sheet(
        "rag",
        sheet.centre_mm,
        sheet.size_mm,
        sheet.fold_mm,
        0.06,
        sheet.turn_deg,
        make_surface("rag", cloth),
        seed,
        sheet.z_mm,
    )


def _bead(rig: Rig, state: State, bead: Bead, seed: int) -> None:
    """Lay a lumpy, glossy bead over an edge; its lip hangs into the gap."""
    along, across = 240, 40
    outwards = 1.0 if bead.body == "door" else -1.0
    vertices = []
    for u in np.linspace(-1, 1, along):
        x = bead.at_x_mm + u * bead.length_mm / 2
        end = (1 - abs(u) ** 6) ** 0.5
        wavy = 0.75 + 0.5 * noise.fractal(Vector((x * 0.35, seed * 0.37, 0.0)), 1.0, 2.0, 3)
        lip = -bead.into_gap_mm * end * (0.8 + 0.2 * np.sin(x * 1.3 + seed))
        back = bead.on_face_mm * end * max(wavy, 0.3)
        for t in np.linspace(0, 1, across):
            y = outwards * (lip + t * (back - lip))
            lump = 0.7 + 0.6 * noise.fractal(Vector((x * 0.9, y * 0.9, seed * 0.11)), 1.0, 2.0, 3)
            dome = bead.height_mm * end * max(lump, 0.2) * np.sqrt(4 * t * (1 - t))
            vertices.append((x, y, dome - LIP_MM * (1 - t) ** 3 - 0.01))
    faces = [
        (i * across + j, (i + 1) * across + j, (i + 1) * across + j + 1, i * across + j + 1)
        for i in range(along - 1)
        for j in range(across - 1)
    ]
    grease = Surface((0.022, 0.015, 0.008), 0.0, 0.2, scratches=0.0, mottle=0.1, dirt=0.0)
    obj = geometry.add_mesh("grease", vertices, faces, [make_surface("grease", grease)])
    obj.data.polygons.foreach_set("use_smooth", [True] * len(faces))
    obj.matrix_world = edge_pose(rig, state, bead.body)


def _grains(rig: Rig, state: State, body: Body, grains: Grains, rng: np.random.Generator) -> None:
    """Scatter angular grains across an edge."""
    corners, sides = _icosahedron()
    vertices, faces = [], []
    low, high = rig.door_span_x
    for number in range(grains.number):
        radius = grains.largest_radius_mm * rng.uniform(0.25, 1.0)
        x, y = rng.uniform(low, high), rng.normal(0.0, 0.35)
        turn = np.linalg.qr(rng.normal(size=(3, 3)))[0]
        shape = corners * rng.uniform(0.5, 1.0, 3) * radius
        vertices += list(shape @ turn + [x, y, 0.3 * radius])
        faces += [tuple(int(i) + 12 * number for i in side) for side in sides]
    albedo = float(rng.uniform(0.15, 0.6))
    look = Surface((albedo, 0.9 * albedo, 0.75 * albedo), 0.0, 0.9, scratches=0.0, dirt=0.0)
    obj = geometry.add_mesh("dust", vertices, faces, [make_surface("dust", look)])
    obj.matrix_world = edge_pose(rig, state, body)


def _icosahedron() -> tuple[NDArray[np.float64], list[tuple[int, int, int]]]:
    golden = (1 + 5**0.5) / 2
    signs = [(a, b) for a in (-1, 1) for b in (-golden, golden)]
    corners = [(0, a, b) for a, b in signs] + [(a, b, 0) for a, b in signs]
    points = np.array(corners + [(b, 0, a) for a, b in signs], float)
    near = np.isclose(np.linalg.norm(points[:, None] - points, axis=-1), 2.0)
    sides = [
        (i, j, k)
        for i in range(12)
        for j in range(i + 1, 12)
        for k in range(j + 1, 12)
        if near[i, j] and near[j, k] and near[i, k]
    ]
    return points / np.linalg.norm(points[0]), sides


def _patch(patch: Patch, number: int, rng: np.random.Generator) -> None:
    """Lay a film on the plate, see-through as far as its opacity says."""
    name = f"patch {number}"
    graph = Graph(name)
    graph.put(graph.shader.inputs["Base Color"], (patch.albedo,) * 3)
    graph.put(graph.shader.inputs["Roughness"], 0.5)
    graph.put(graph.shader.inputs["Alpha"], patch.opacity)
    half = np.array(patch.size_mm) / 2
    if patch.ragged:
        angles = np.linspace(0, 2 * pi, 96, endpoint=False)
        a, b = rng.uniform(0, 2 * pi, 2)
        lobes = 1 + 0.25 * np.sin(3 * angles + a) + 0.12 * np.sin(7 * angles + b)
        rim = np.column_stack([np.cos(angles), np.sin(angles)]) * lobes[:, None]
    else:
        rim = np.array([(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)])
    turn = radians(patch.turn_deg)
    turned = np.array([[cos(turn), sin(turn)], [-sin(turn), cos(turn)]])
    rim = rim * half @ turned + patch.centre_mm
    if patch.within_mm:
        rim = np.clip(rim, *np.transpose(patch.within_mm))
    vertices = [(*p, FILM_Z_MM * (1 + 0.1 * number)) for p in rim]
    geometry.add_mesh(name, vertices, [tuple(range(len(rim)))], [graph.material])
