"""Meshes with exact faces and exact normals, in mm."""

from __future__ import annotations

from collections.abc import Sequence
from math import cos, pi, radians, sin

import bmesh
import bpy
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Point = Sequence[float]


def add_mesh(
    name: str,
    vertices: Sequence[Point] | Array,
    faces: Sequence[Sequence[int]],
    materials: Sequence[bpy.types.Material],
    face_materials: Sequence[int] | None = None,
    normals: Sequence[Point] | Array | None = None,
) -> bpy.types.Object:
    """Make an object; ``normals`` are per vertex, without them it is flat shaded."""
    mesh = bpy.data.meshes.new(name)
    mesh.from_pydata([tuple(map(float, v)) for v in vertices], [], [tuple(f) for f in faces])
    for material in materials:
        mesh.materials.append(material)
    if face_materials is not None:
        mesh.polygons.foreach_set("material_index", list(face_materials))
    mesh.update()
    if normals is not None:
        mesh.polygons.foreach_set("use_smooth", [True] * len(faces))
        mesh.normals_split_custom_set_from_vertices([tuple(map(float, n)) for n in normals])
    obj = bpy.data.objects.new(name, mesh)
    bpy.context.scene.collection.objects.link(obj)
    return obj


def rounded_bar(
    name: str,
    x: tuple[float, float],
    y: tuple[float, float],
    z: tuple[float, float],
    radius: float,
    materials: Sequence[bpy.types.Material],
    slot_side: str,
    segments: int = 24,
) -> bpy.types.Object:
    """Make a bar along x whose four long edges are true rounds.

    ``slot_side`` ("y+" or "y-") names the flat that gets the second material.
    """
    corners = [
        (y[1] - radius, z[1] - radius, 0.0),
        (y[0] + radius, z[1] - radius, 90.0),
        (y[0] + radius, z[0] + radius, 180.0),
        (y[1] - radius, z[0] + radius, 270.0),
    ]
    profile, normals = [], []
    for cy, cz, start in corners:
        for step in range(segments + 1):
            angle = radians(start + 90.0 * step / segments)
            normal = (cos(angle), sin(angle))
            profile.append((cy + radius * normal[0], cz + radius * normal[1]))
            normals.append((0.0, *normal))
    count = len(profile)
    vertices = [(end, *p) for end in x for p in profile]
    faces = [(i, (i + 1) % count, count + (i + 1) % count, count + i) for i in range(count)]
    slots = _slot_faces(profile, y[1] if slot_side == "y+" else y[0])
    vertices += vertices[: 2 * count]
    all_normals = normals * 2 + [(-1.0, 0.0, 0.0)] * count + [(1.0, 0.0, 0.0)] * count
    faces += [tuple(range(3 * count - 1, 2 * count - 1, -1)), tuple(range(3 * count, 4 * count))]
    indices = [1 if i in slots else 0 for i in range(len(faces))]
    return add_mesh(name, vertices, faces, materials, indices, all_normals)


def _slot_faces(profile: Sequence[tuple[float, float]], level: float) -> set[int]:
    """Return which profile segments lie in the plane y = level."""
    count = len(profile)
    return {
        i
        for i in range(count)
        if abs(profile[i][0] - level) < 1e-9 and abs(profile[(i + 1) % count][0] - level) < 1e-9
    }


def rounded_box(
    name: str,
    low: Point,
    high: Point,
    radius: float,
    material: bpy.types.Material,
    segments: int = 5,
) -> bpy.types.Object:
    """Make a box between two corners with rounded edges and analytic normals."""
    mesh = bpy.data.meshes.new(name)
    bm = bmesh.new()
    bmesh.ops.create_cube(bm, size=1.0)
    lo, hi = np.asarray(low, float), np.asarray(high, float)
    for vertex in bm.verts:
        vertex.co = (lo + hi) / 2 + np.asarray(vertex.co) * (hi - lo)
    bmesh.ops.bevel(
        bm, geom=list(bm.edges), offset=radius, segments=segments, profile=0.5, affect="EDGES"
    )
    bm.to_mesh(mesh)
    bm.free()
    points = np.array([v.co for v in mesh.vertices])
    normals = points - np.clip(points, lo + radius, hi - radius)
    normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-9)
    mesh.polygons.foreach_set("use_smooth", [True] * len(mesh.polygons))
    mesh.normals_split_custom_set_from_vertices([tuple(n) for n in normals])
    mesh.materials.append(material)
    obj = bpy.data.objects.new(name, mesh)
    bpy.context.scene.collection.objects.link(obj)
    return obj


def rounded_outline(
    x: tuple[float, float], y: tuple[float, float], radius: float, segments: int = 10
) -> list[tuple[float, float]]:
    """Return a closed rectangle with round corners, counter-clockwise."""
    outline = []
    centres = [(x[1], y[1], 0), (x[0], y[1], 90), (x[0], y[0], 180), (x[1], y[0], 270)]
    for px, py, start in centres:
        cx = px - radius if px == x[1] else px + radius
        cy = py - radius if py == y[1] else py + radius
        for step in range(segments + 1):
            angle = radians(start + 90 * step / segments)
            outline.append((cx + radius * cos(angle), cy + radius * sin(angle)))
    return outline


def pierced_plate(
    name: str,
    outlines: Sequence[Sequence[tuple[float, float]]],
    z: tuple[float, float],
    chamfer: float,
    material: bpy.types.Material,
) -> bpy.types.Object:
    """Make a plate from its outline and the outlines of its windows, edges chamfered."""
    curve = bpy.data.curves.new(name, "CURVE")
    curve.dimensions = "2D"
    curve.fill_mode = "BOTH"
    curve.extrude = (z[1] - z[0]) / 2 - chamfer
    curve.bevel_depth = chamfer
    curve.bevel_resolution = 0
    curve.offset = -chamfer
    for outline in outlines:
        spline = curve.splines.new("POLY")
        spline.points.add(len(outline) - 1)
        spline.use_cyclic_u = True
        for point, (px, py) in zip(spline.points, outline, strict=True):
            point.co = (px, py, 0.0, 1.0)
    obj = bpy.data.objects.new(name, curve)
    obj.location = (0.0, 0.0, (z[0] + z[1]) / 2)
    curve.materials.append(material)
    bpy.context.scene.collection.objects.link(obj)
    return obj


def square_card(
    name: str, centre: Point, size: float, material: bpy.types.Material
) -> bpy.types.Object:
    """Make a square facing +z whose texture fills it, upright with +y up."""
    cx, cy, cz = centre
    half = size / 2
    vertices = [
        (cx + sx * half, cy + sy * half, cz) for sx, sy in ((-1, -1), (1, -1), (1, 1), (-1, 1))
    ]
    obj = add_mesh(name, vertices, [(0, 1, 2, 3)], [material])
    layer = obj.data.uv_layers.new(name="card")
    for loop, uv in zip(layer.data, ((0, 0), (1, 0), (1, 1), (0, 1)), strict=True):
        loop.uv = uv
    return obj


def socket_barrel(
    name: str,
    radius: float,
    length: float,
    bore: float,
    bore_depth: float,
    line_width: float,
    line_length: float,
    edge_break: float,
    materials: Sequence[bpy.types.Material],
) -> bpy.types.Object:
    """Make the barrel along +x with its face at x = 0 and a line at +z, +y, -z and -y.

    Materials: barrel, paint of the lines, inside of the square bore.
    """
    half_line = line_width / 2 / radius
    angles: list[float] = []
    painted: list[bool] = []
    for quarter in range(4):
        start = quarter * pi / 2
        for step in range(8):
            angles.append(start - half_line + 2 * half_line * step / 8)
            painted.append(True)
        for step in range(56):
            angles.append(start + half_line + (pi / 2 - 2 * half_line) * step / 56)
            painted.append(False)
    sines, cosines = np.sin(angles), np.cos(angles)
    count = len(angles)
    rings = [
        (0.0, radius - edge_break, (-0.7, 0.7)),
        (edge_break, radius, (-0.7, 0.7)),
        (edge_break, radius, (0.0, 1.0)),
        (line_length, radius, (0.0, 1.0)),
        (length, radius, (0.0, 1.0)),
    ]
    vertices: list[Point] = []
    normals: list[Point] = []
    for x, r, (nx, nr) in rings:
        vertices += [(x, r * s, r * c) for s, c in zip(sines, cosines, strict=True)]
        normals += [(nx, nr * s, nr * c) for s, c in zip(sines, cosines, strict=True)]
    faces: list[tuple[int, ...]] = []
    indices: list[int] = []
    for ring in (0, 2, 3):
        for i in range(count):
            j = (i + 1) % count
            a, b = ring * count, (ring + 1) * count
            faces.append((a + i, b + i, b + j, a + j))
            indices.append(1 if painted[i] and ring < 3 else 0)
    _add_bore(
        vertices, normals, faces, indices, sines, cosines, radius - edge_break, bore, bore_depth
    )
    return add_mesh(name, vertices, faces, materials, indices, normals)


def _add_bore(
    vertices: list[Point],
    normals: list[Point],
    faces: list[tuple[int, ...]],
    indices: list[int],
    sines: Array,
    cosines: Array,
    rim: float,
    bore: float,
    depth: float,
) -> None:
    """Append the barrel's end face with its square hole, and the hole's walls and floor."""
    count = len(sines)
    reach = bore / 2 / np.maximum(np.abs(sines), np.abs(cosines))
    base = len(vertices)
    vertices += [(0.0, rim * s, rim * c) for s, c in zip(sines, cosines, strict=True)]
    vertices += [(0.0, q * s, q * c) for q, s, c in zip(reach, sines, cosines, strict=True)]
    normals += [(-1.0, 0.0, 0.0)] * (2 * count)
    for i in range(count):
        j = (i + 1) % count
        faces.append((base + i, base + j, base + count + j, base + count + i))
        indices.append(0)
    half = bore / 2
    corners = [(-half, -half), (half, -half), (half, half), (-half, half)]
    for k in range(4):
        (ya, za), (yb, zb) = corners[k], corners[(k + 1) % 4]
        start = len(vertices)
        vertices += [(0.0, ya, za), (0.0, yb, zb), (depth, yb, zb), (depth, ya, za)]
        inward = (0.0, -(ya + yb) / bore, -(za + zb) / bore)
        normals += [inward] * 4
        faces.append((start + 3, start + 2, start + 1, start))
        indices.append(2)
    start = len(vertices)
    vertices += [(depth, y, z) for y, z in corners]
    normals += [(-1.0, 0.0, 0.0)] * 4
    faces.append((start + 3, start + 2, start + 1, start))
    indices.append(2)


def dome(
    name: str, centre: Point, radius: float, height: float, material: bpy.types.Material
) -> bpy.types.Object:
    """Make a rivet head standing on a plane that faces +z."""
    rings, around = 8, 28
    vertices: list[Point] = []
    for ring in range(rings + 1):
        polar = pi / 2 * ring / rings
        for step in range(around):
            turn = 2 * pi * step / around
            r = radius * cos(polar)
            vertices.append(
                (
                    centre[0] + r * cos(turn),
                    centre[1] + r * sin(turn),
                    centre[2] + height * sin(polar),
                )
            )
    faces = [
        (
            r * around + s,
            r * around + (s + 1) % around,
            (r + 1) * around + (s + 1) % around,
            (r + 1) * around + s,
        )
        for r in range(rings)
        for s in range(around)
    ]
    obj = add_mesh(name, vertices, faces, [material])
    obj.data.polygons.foreach_set("use_smooth", [True] * len(faces))
    return obj


def prism(
    name: str, centre: Point, radius: float, height: float, sides: int, material: bpy.types.Material
) -> bpy.types.Object:
    """Make a bolt head or washer standing on a plane that faces +z."""
    turn = 2 * pi / sides
    ring = [(radius * cos(turn * i + 0.2), radius * sin(turn * i + 0.2)) for i in range(sides)]
    inner = [(0.9 * px, 0.9 * py) for px, py in ring]
    cx, cy, cz = centre
    vertices = [(cx + px, cy + py, cz) for px, py in ring]
    vertices += [(cx + px, cy + py, cz + 0.85 * height) for px, py in ring]
    vertices += [(cx + px, cy + py, cz + height) for px, py in inner]
    faces = [
        (
            k * sides + i,
            k * sides + (i + 1) % sides,
            (k + 1) * sides + (i + 1) % sides,
            (k + 1) * sides + i,
        )
        for k in range(2)
        for i in range(sides)
    ]
    faces.append(tuple(2 * sides + i for i in range(sides)))
    return add_mesh(name, vertices, faces, [material])


def tube(
    name: str, points: Sequence[Point], radius: float, material: bpy.types.Material
) -> bpy.types.Object:
    """Make a smooth pipe or cable through points."""
    curve = bpy.data.curves.new(name, "CURVE")
    curve.dimensions = "3D"
    curve.bevel_depth = radius
    curve.bevel_resolution = 6
    curve.resolution_u = 16
    spline = curve.splines.new("NURBS")
    spline.points.add(len(points) - 1)
    spline.use_endpoint_u = True
    spline.order_u = 4
    for target, point in zip(spline.points, points, strict=True):
        target.co = (*point, 1.0)
    curve.materials.append(material)
    obj = bpy.data.objects.new(name, curve)
    bpy.context.scene.collection.objects.link(obj)
    return obj


def label(
    name: str, text: str, position: Point, height: float, material: bpy.types.Material
) -> bpy.types.Object:
    """Make printed lettering that lies in a plane facing +z."""
    curve = bpy.data.curves.new(name, "FONT")
    curve.body = text
    curve.size = height
    curve.align_x = "CENTER"
    curve.align_y = "CENTER"
    curve.materials.append(material)
    obj = bpy.data.objects.new(name, curve)
    obj.location = position
    bpy.context.scene.collection.objects.link(obj)
    return obj
