"""What is around the gauge: engine structure, light, and what a hand left on the marks."""

from __future__ import annotations

from dataclasses import replace
from math import pi
from pathlib import Path

import bmesh
import bpy
import numpy as np
from mathutils import Vector, noise

from . import geometry
from .assembly import METALS, PAINTS, STICKER
from .camera import View
from .materials import Surface, braid, make_surface, plain
from .rig import Rig
from .shots import Look, State
from .staged import EdgeShadow


def build_structure(seed: int) -> None:
    """Add panels, rivets, a flange with bolts, pipes and cables around the rig."""
    rng = np.random.default_rng(seed)
    skin = PAINTS[str(rng.choice(list(PAINTS)))]
    panel = make_surface("panel", replace(skin, dirt=0.35))
    _build_upper_panel(rng, panel)
    for side in (-1, 1):
        lo, hi = sorted((side * 131.0, side * 420.0))
        geometry.rounded_box("side panel", (lo, -93, -26), (hi, 78, -7), 1.0, panel)
        for y in np.arange(-80, 75, float(rng.uniform(18, 30))):
            geometry.dome("rivet", (side * 141.0, y, -7.0), 2.2, 0.9, panel)
    _build_flange(rng)
    case = make_surface("case", METALS["blasted"])
    geometry.rounded_box("case", (-420, -330, -60), (420, -131, -30), 2.0, case)
    _build_lines(rng)


def _build_upper_panel(rng: np.random.Generator, panel: bpy.types.Material) -> None:
    """Add the skin above the doors with its strip and rows of rivets."""
    geometry.rounded_box("upper panel", (-420, 77, -20), (420, 330, -4), 0.8, panel)
    top, pitch = float(rng.uniform(95, 112)), float(rng.uniform(15, 27))
    geometry.rounded_box("cover strip", (-420, 80, -4), (420, top, -1.5), 0.5, panel)
    for x in np.arange(-300, 301, pitch) + rng.uniform(-8, 8):
        geometry.dome("rivet", (x, (80 + top) / 2, -1.5), 2.4, 1.0, panel)
    for x in (-150 + rng.uniform(0, 90), 60 + rng.uniform(0, 90)):
        for y in np.arange(top + 16, 320, pitch * 1.2):
            geometry.dome("rivet", (x, y, -4.0), 2.4, 1.0, panel)


def _build_flange(rng: np.random.Generator) -> None:
    """Add a flange below the frame, bolted, or bare behind two hoses."""
    metal = METALS[str(rng.choice(["machined", "blasted", "heat-tinted"]))]
    flange = make_surface("flange", replace(metal, dirt=0.3))
    steel = make_surface("bolts", replace(METALS["machined"], roughness=0.28))
    front = float(rng.uniform(-3, 4))
    geometry.rounded_box("flange", (-420, -132, -24), (420, -92, front), 1.0, flange)
    if rng.random() < 0.3:
        sleeve = braid("hose")
        for y, sag in ((-104.0, rng.uniform(-8, 8)), (-121.0, rng.uniform(-8, 8))):
            path = [(-400, y, 9), (-120, y + sag, 8), (90, y - sag, 9), (400, y + 10, 8)]
            geometry.tube("hose", [(px, py, pz + front) for px, py, pz in path], 6.0, sleeve)
        return
    for x in np.arange(-280, 281, float(rng.uniform(38, 66))) + rng.uniform(-10, 10):
        geometry.prism("washer", (x, -111.0, front), 9.0, 1.2, 40, steel)
        bolt = geometry.prism("bolt", (0, 0, 0), 6.5, 5.5, 6, steel)
        bolt.location = (x, -111.0, front + 1.2)
        bolt.rotation_euler = (0.0, 0.0, float(rng.uniform(0, 2 * pi)))
        geometry.prism("stud", (x, -111.0, front + 6.0), 2.6, 4.0, 24, steel)


def _build_lines(rng: np.random.Generator) -> None:
    """Add a pipe with clamps, a braided cable and a thin wire bundle."""
    pipe = make_surface("pipe", replace(METALS["brushed"], brush_deg=0.0, roughness=0.25))
    y = rng.uniform(125, 150)
    geometry.tube(
        "pipe",
        [(-400, y + 20, 14), (-150, y, 14), (60, y, 14), (220, y + 8, 14), (400, y + 60, 20)],
        7.0,
        pipe,
    )
    clamp = make_surface("clamp", replace(METALS["machined"], roughness=0.45))
    for x in (-120.0, 40.0):
        geometry.rounded_box("clamp", (x, y - 10, -4), (x + 12, y + 9, 22.5), 1.2, clamp)
    sleeve = braid("sleeve")
    sag = rng.uniform(-30, 10)
    geometry.tube(
        "cable",
        [
            (-400, -150, 10),
            (-200, -165 + sag, 16),
            (-40, -150, 12),
            (120, -172 + sag, 14),
            (400, -140, 10),
        ],
        5.5,
        sleeve,
    )
    if rng.random() < 0.6:
        x = rng.uniform(150, 190) * rng.choice([-1, 1])
        geometry.tube(
            "bundle",
            [(x, 330, 8), (x + 6, 100, 6), (x - 8, -20, 5), (x + 10, -120, 12), (x, -330, 8)],
            4.0,
            plain("wire", (0.32, 0.05, 0.03) if rng.random() < 0.5 else (0.02, 0.02, 0.022), 0.4),
        )


def add_lights(name: str, view: View, rig: Rig, state: State, seed: int) -> None:
    """Light the scene; strengths are relative, the phone exposes for the sum."""
    rng = np.random.default_rng(seed + 17)
    middle = Vector((0.0, 5.0, -3.0))
    cam, (right, down, forward) = Vector(view.position_mm), (Vector(a) for a in view.axes)
    torch = cam + 28 * right * rng.choice([-1, 1]) - 62 * down - 12 * forward
    side = Vector((rng.choice([-1, 1]) * rng.uniform(320, 420), rng.uniform(40, 160), 190.0))
    if name == "hangar":
        add_world("interior", 0.7, rng.uniform(0, 2 * pi))
        _ceiling(rng, 1.0)
    elif name == "dim hangar":
        add_world("city", 0.35, rng.uniform(0, 2 * pi))
        _ceiling(rng, 0.3)
    elif name == "torch":
        add_world("interior", 0.38, rng.uniform(0, 2 * pi))
        add_lamp(torch, middle, 13.0, 3.0, (1.0, 0.97, 0.92))
    elif name == "glare":
        add_world("interior", 0.3, rng.uniform(0, 2 * pi))
        add_lamp(torch, middle, 16.0, 6.0, (0.95, 0.98, 1.0))
    elif name == "side":
        add_world("courtyard", 0.3, rng.uniform(0, 2 * pi))
        add_lamp(side, middle, 130.0, 2.2, (1.0, 0.95, 0.86))
    elif name == "shadow":
        add_world("interior", 0.22, rng.uniform(0, 2 * pi))
        add_edge_shadow(rig, state, EdgeShadow("door", 1.2, 14.0, 0.22, 0.33))
    else:
        raise ValueError(f"no light named {name!r}")


def add_world(picture: str, strength: float, turn: float) -> None:
    """Surround the scene with one of Blender's own studio-light pictures."""
    folder = Path(bpy.utils.resource_path("LOCAL")) / "datafiles/studiolights/world"
    world = bpy.data.worlds.new("hangar")
    bpy.context.scene.world = world
    world.use_nodes = True
    tree = world.node_tree
    turned = tree.nodes.new("ShaderNodeMapping")
    # the pictures have their zenith along Blender's z; here y is up
    turned.inputs["Rotation"].default_value = (pi / 2, 0.0, turn)
    turned.vector_type = "POINT"
    texture = tree.nodes.new("ShaderNodeTexEnvironment")
    texture.image = bpy.data.images.load(str(folder / f"{picture}.exr"))
    coords = tree.nodes.new("ShaderNodeTexCoord")
    tree.links.new(coords.outputs["Generated"], turned.inputs["Vector"])
    tree.links.new(turned.outputs[0], texture.inputs["Vector"])
    background = tree.nodes["Background"]
    background.inputs["Strength"].default_value = strength
    tree.links.new(texture.outputs[0], background.inputs["Color"])


def add_lamp(
    place: Vector,
    target: Vector,
    diameter: float,
    irradiance: float,
    colour: tuple[float, float, float],
) -> None:
    """Add a round lamp that gives that irradiance at the target."""
    light = bpy.data.lights.new("lamp", "AREA")
    light.shape, light.size, light.color = "DISK", diameter, colour
    distance = (target - place).length
    light.energy = irradiance * pi * distance**2
    obj = bpy.data.objects.new("lamp", light)
    obj.location = place
    obj.rotation_euler = (target - place).to_track_quat("-Z", "Y").to_euler()
    bpy.context.scene.collection.objects.link(obj)


def _ceiling(rng: np.random.Generator, irradiance: float) -> None:
    """Add two long strip lights overhead and behind the person."""
    for x in (-900.0, 700.0):
        light = bpy.data.lights.new("strip", "AREA")
        light.shape, light.size, light.size_y = "RECTANGLE", 1600.0, 220.0
        light.color = (0.96, 1.0, 0.97)
        place = Vector((x + rng.uniform(-250, 250), 1700.0, rng.uniform(700, 1800)))
        light.energy = irradiance * pi * place.length_squared
        obj = bpy.data.objects.new("strip", light)
        obj.location = place
        obj.rotation_euler = (-place).to_track_quat("-Z", "Y").to_euler()
        bpy.context.scene.collection.objects.link(obj)


def add_edge_shadow(rig: Rig, state: State, shadow: EdgeShadow) -> None:
    """Put a lamp overhead and a straight edge before it, its shadow beside the gap."""
    lamp, middle = Vector((60.0, 420.0, 260.0)), Vector((0.0, 5.0, -3.0))
    add_lamp(lamp, middle, shadow.lamp_diameter_mm, 2.6, (1.0, 0.96, 0.9))
    on_door = shadow.body == "door"
    off = state.gap + shadow.away_mm if on_door else -shadow.away_mm
    edge = Vector((0.0, rig.sill_edge_y + off, rig.face_z))
    here = edge + shadow.toward_lamp * (lamp - edge)
    black = plain("tool", (0.02, 0.02, 0.02), 0.6)
    low, high = (0.0, 7.0) if on_door else (-7.0, 0.0)
    ruler = geometry.rounded_box("tool", (-150.0, low, -1.0), (260.0, high, 1.0), 0.2, black)
    ruler.location = here
    normal = lamp - edge
    ruler.rotation_euler = (np.arctan2(-normal.y, normal.z), 0.0, 0.012)
    ruler.visible_camera = False


def add_cover(rig: Rig, tag: int, kind: str, seed: int) -> None:
    """Hide a mark under tape or a rag."""
    x, y = next((mx, my) for t, mx, my in rig.mark_centres if t == tag)
    if kind == "tape":
        cloth = Surface(
            (0.55, 0.42, 0.2), 0.0, 0.55, scratches=0.0, mottle=0.1, dirt=0.3, blast=0.3
        )
        crumpled_sheet(
            "tape", (x, y), (54.0, 19.0), 0.35, 0.12, 24.0, make_surface("tape", cloth), seed
        )
    else:
        cloth = Surface(
            (0.16, 0.05, 0.045), 0.0, 0.9, scratches=0.0, mottle=0.1, dirt=0.4, blast=1.0
        )
        crumpled_sheet(
            "rag",
            (x - 10, y - 15),
            (70.0, 66.0),
            16.0,
            0.028,
            -14.0,
            make_surface("rag", cloth),
            seed,
        )


def crumpled_sheet(
    name: str,
    centre: tuple[float, float],
    size: tuple[float, float],
    height: float,
    per_mm: float,
    turn_deg: float,
    material: bpy.types.Material,
    seed: int,
    z_mm: float = 0.02 + STICKER,
) -> None:
    """Lay a crumpled sheet on the plate, or at that height."""
    mesh = bpy.data.meshes.new(name)
    bm = bmesh.new()
    bmesh.ops.create_grid(bm, x_segments=160, y_segments=160, size=0.5)
    for vertex in bm.verts:
        px, py = vertex.co.x * size[0], vertex.co.y * size[1]
        place = Vector((px * per_mm, py * per_mm, seed * 7.1))
        fold = 0.5 + 0.5 * noise.fractal(place, 1.3, 2.2, 3)
        ragged = 1 + 0.05 * noise.noise(Vector((px * 0.2, py * 0.2, seed)))
        vertex.co = (px * ragged, py * ragged, 0.25 + height * max(0.0, fold))
    bm.to_mesh(mesh)
    bm.free()
    mesh.polygons.foreach_set("use_smooth", [True] * len(mesh.polygons))
    mesh.materials.append(material)
    obj = bpy.data.objects.new(name, mesh)
    obj.location = (*centre, z_mm)
    obj.rotation_euler = (0.0, 0.0, np.radians(turn_deg))
    bpy.context.scene.collection.objects.link(obj)


def build_surroundings(rig: Rig, look: Look, state: State, view: View, seed: int) -> None:
    """Add everything but the rig itself."""
    build_structure(look.surroundings)
    if look.staged.lighting is None:
        add_lights(look.light, view, rig, state, seed)
    for number, (tag, kind) in enumerate(look.cover):
        add_cover(rig, tag, kind, seed % 97 + number)
