"""Gauge, frame, socket and yoke as objects, in gauge axes (mm)."""

from __future__ import annotations

from dataclasses import replace
from math import atan, degrees, radians

import bpy
from mathutils import Matrix

from . import geometry, materials
from .materials import Surface, make_surface, plain
from .rig import Rig
from .shots import Look, State
from .staged import Body, Staged

STICKER = 0.03
DUCT = "duct"

METALS: dict[str, Surface] = {
    "machined": Surface((0.47, 0.46, 0.445), 1.0, 0.34, brush=0.35, scratches=0.55, mottle=0.05),
    "brushed": Surface((0.52, 0.51, 0.50), 1.0, 0.32, brush=0.7, brush_deg=90.0, mottle=0.05),
    "blasted": Surface((0.39, 0.385, 0.38), 1.0, 0.54, blast=0.8, scratches=0.25, mottle=0.06),
    "heat-tinted": Surface((0.44, 0.37, 0.28), 1.0, 0.37, brush=0.4, mottle=0.1),
    "bare": Surface((0.5, 0.49, 0.475), 1.0, 0.36, brush=0.4, brush_deg=12.0, mottle=0.06),
    "blasted steel": Surface((0.40, 0.40, 0.405), 1.0, 0.5, blast=0.45, mottle=0.04, dirt=0.1),
    "brushed steel": Surface((0.5, 0.5, 0.5), 1.0, 0.38, brush=0.5, mottle=0.04, dirt=0.1),
    "dark oxide": Surface((0.06, 0.062, 0.068), 0.6, 0.42, blast=0.35, mottle=0.06, dirt=0.1),
    "satin": Surface(
        (0.5, 0.495, 0.49), 0.85, 0.45, brush=0.35, brush_deg=90.0, mottle=0.04, dirt=0.12
    ),
}
PAINTS: dict[str, Surface] = {
    "grey paint": Surface((0.27, 0.28, 0.285), 0.0, 0.42, blast=0.1, mottle=0.04),
    "dark paint": Surface((0.055, 0.058, 0.065), 0.0, 0.40, blast=0.1, mottle=0.06),
    "green primer": Surface((0.155, 0.178, 0.092), 0.0, 0.58, blast=0.15, mottle=0.06),
}


def _soiled(look: Surface, soil: str) -> Surface:
    """Add what years in service left on a face near the gap."""
    changes = {
        "clean": {"dirt": 0.08, "scratches": look.scratches * 0.6},
        "used": {"dirt": 0.3, "edge_wear": 0.25, "edge_soot": 0.15},
        "worn": {"dirt": 0.45, "edge_wear": 0.8, "edge_soot": 0.3, "scratches": 0.9},
        "greasy": {"dirt": 0.5, "edge_grease": 0.5, "edge_soot": 0.1},
        "dusty": {"dirt": 0.3, "edge_dust": 0.85},
    }
    return replace(look, **changes[soil])


def _staged(look: Surface, stage: Staged, body: Body) -> Surface:
    """Add what a disturbance does to one of the two faces."""
    gouges = tuple(g for g in stage.gouges if g.body == body)
    look = replace(look, gouges=gouges, edge_polish_mm=stage.polish_mm)
    if body == "sill":
        return look
    if stage.door_albedo is not None:
        look = replace(look, base=(stage.door_albedo,) * 3, metallic=0.0)
    if stage.coat_ior:
        look = replace(look, coat_ior=stage.coat_ior, dirt=0.05, scratches=0.0, blast=0.0)
    return look


def _slot(kind: str) -> bpy.types.Material:
    if kind == "white":
        return make_surface("slot", Surface((0.7, 0.7, 0.68), 0.0, 0.6, dirt=0.1, scratches=0.0))
    if kind == "bare":
        return make_surface("slot", Surface((0.42, 0.41, 0.4), 1.0, 0.4, brush=0.3, dirt=0.5))
    return make_surface("slot", Surface((0.03, 0.028, 0.026), 0.0, 0.75, blast=0.4, dirt=0.3))


def frame_in_gauge(rig: Rig, state: State) -> Matrix:
    """Return the frame's pose in gauge axes: moved about the middle of the sill's edge."""
    pivot = Matrix.Translation((0.0, rig.sill_edge_y, rig.face_z))
    turn = Matrix.Rotation(radians(state.sill_tilt_deg), 4, "Z")
    pitch = Matrix.Rotation(radians(state.pitch_deg), 4, "X")
    return (
        Matrix.Translation((0.0, state.sill_offset, 0.0)) @ pivot @ turn @ pitch @ pivot.inverted()
    )


def door_in_frame(rig: Rig, state: State) -> Matrix:
    """Return the pose of the door, whose own origin is on its edge's tangent plane at x = 0."""
    span = rig.stations_x[-1] - rig.stations_x[0]
    turn = Matrix.Rotation(atan(state.taper / span), 4, "Z")
    return Matrix.Translation((0.0, rig.sill_edge_y + state.gap, rig.face_z)) @ turn


def socket_in_frame(rig: Rig, state: State) -> Matrix:
    """Return the pose of the socket, whose own origin is mid-face, its axis along x."""
    place = (rig.socket_face_x, rig.socket_axis_y + state.socket_dy, rig.socket_axis_z)
    turn = Matrix.Rotation(radians(state.socket_tilt_deg), 4, "Z")
    return Matrix.Translation(place) @ turn


def yoke_in_gauge(rig: Rig, state: State) -> Matrix:
    """Return the yoke's pose (origin mid-shoulder, z = 0 in the marks plane).

    The shoulder is placed so that its seat gap to the socket's face, along the yoke's
    centreline, is exactly the state's.
    """
    socket = frame_in_gauge(rig, state) @ socket_in_frame(rig, state)
    face = socket.translation
    axis = socket.to_3x3().col[0]
    y = rig.yoke_axis_y + state.yoke_dy
    slope = radians(state.yoke_tilt_deg)
    # the yoke's centreline passes (face.x, y); follow it to the socket's face plane
    turn = Matrix.Rotation(slope, 4, "Z")
    along = turn.to_3x3().col[0]
    reach = axis.y * (face.y - y) / (axis.x * along.x + axis.y * along.y)
    x = face.x + reach * along.x - state.seat_gap
    y_shoulder = y + (x - face.x) * along.y / along.x
    return Matrix.Translation((x, y_shoulder, 0.0)) @ turn


def build_gauge(rig: Rig, look: Look) -> None:
    """Add the plate with its windows, its marks, lettering and screws."""
    steel = make_surface("gauge", METALS[look.gauge])
    outlines = [
        geometry.rounded_outline(rig.plate_x, rig.plate_y, 3.0),
        geometry.rounded_outline(rig.window_gap_x, rig.window_gap_y, 2.0),
        geometry.rounded_outline(rig.window_yoke_x, rig.window_yoke_y, 2.0),
    ]
    front = rig.plate_z[1] - STICKER
    geometry.pierced_plate("plate", outlines, (rig.plate_z[0], front), 0.3, steel)
    for tag, x, y in rig.mark_centres:
        shown = tag + look.mark_shift
        card = materials.mark_card(
            f"mark {shown}", shown, rig.mark_size, rig.mark_pad, look.pad_gloss, 0.25
        )
        geometry.square_card(f"mark {shown}", (x, y, rig.plate_z[1]), rig.mark_pad, card)
    pale = look.gauge == "dark oxide"
    ink = plain("print", (0.6, 0.6, 0.58) if pale else (0.03, 0.03, 0.032), 0.6)
    name = rig.gauge if not look.mark_shift else "RG-20"
    for text, x, y, height in (
        (f"{name}   RIG GAUGE", 0.0, -1.0, 4.4),
        ("SEAT ON SILL", -28.0, 46.0, 2.6),
        ("No. 0417", 28.0, 46.0, 2.6),
        ("20 °C", 28.0, 41.5, 2.2),
        ("SLIDE YOKE  >", -28.0, -39.5, 2.6),
    ):
        geometry.label(text, text, (x, y, front + 0.002), height, ink)
    head = make_surface("screws", replace(METALS["dark oxide"], roughness=0.3))
    for x, y in ((-56.0, 22.0), (56.0, 22.0), (-56.0, -22.0), (56.0, -22.0)):
        geometry.prism("screw", (x, y, front), 4.2, 0.9, 40, head)
        geometry.prism("hex", (x, y, front + 0.9), 1.6, 0.02, 6, plain("recess", (0.01,) * 3, 0.7))


def build_frame(rig: Rig, state: State, look: Look) -> None:
    """Add sill, door, pocket and duct, in the frame's pose."""
    pose = frame_in_gauge(rig, state)
    slot = _slot(look.slot)
    sill_look = _soiled(METALS[look.sill], look.soil)
    door_base = PAINTS.get(look.door) or METALS["bare"]
    sill = make_surface("sill", _staged(sill_look, look.staged, "sill"))
    door = make_surface("door", _staged(_soiled(door_base, look.soil), look.staged, "door"))
    casting = make_surface(
        "casting", replace(sill_look, edge_wear=0.0, edge_grease=0.0, edge_dust=0.0)
    )
    dark = plain(DUCT, (0.012, 0.011, 0.01), 0.8)
    low = rig.pocket_y[1]
    bar = geometry.rounded_bar(
        "sill",
        (-170, 170),
        (low - rig.sill_edge_y, 0.0),
        (-rig.sill_thickness, 0.0),
        rig.edge_radius,
        [sill, slot],
        "y+",
    )
    bar.matrix_world = pose @ Matrix.Translation((0.0, rig.sill_edge_y, rig.face_z))
    leaf = geometry.rounded_bar(
        "door",
        rig.door_span_x,
        (0.0, 62.0),
        (-rig.door_thickness, 0.0),
        rig.edge_radius,
        [door, slot],
        "y-",
    )
    leaf.matrix_world = pose @ door_in_frame(rig, state)
    for x in (-36.0, -18.0, 0.0, 18.0, 36.0):
        for y in (14.5, 50.0):
            rivet = geometry.dome("rivet", (x, y, 0.0), 1.9, 0.7, door)
            rivet.matrix_world = leaf.matrix_world
    for side in (-1, 1):
        span = sorted((side * 45.0, side * 129.0))
        beside = geometry.rounded_bar(
            "next door",
            (span[0], span[1]),
            (0.0, 62.0),
            (-rig.door_thickness, 0.0),
            rig.edge_radius,
            [door, slot],
            "y-",
        )
        beside.matrix_world = pose @ Matrix.Translation((0.0, rig.sill_edge_y + 1.0, rig.face_z))
    _build_pocket(rig, pose, casting, dark)


def _build_pocket(
    rig: Rig, pose: Matrix, casting: bpy.types.Material, dark: bpy.types.Material
) -> None:
    """Add the frame around the socket's pocket, and the dark duct behind the doors."""
    (x0, x1), (y0, y1), z = rig.pocket_x, rig.pocket_y, rig.face_z
    floor = rig.pocket_floor_z
    blocks = [
        ((-170.0, y0 - 60, floor), (170.0, y0, z)),
        ((-170.0, y0 - 2, floor), (x0, y1 + 0.5, z - 0.02)),
        ((x1, y0 - 2, floor), (170.0, y1 + 0.5, z - 0.02)),
        ((-170.0, y0 - 2, floor - 4), (170.0, y1 + 2, floor)),
        ((x0 - 20, y1, floor - 4), (x1 + 20, y1 + 8, z - rig.sill_thickness - 0.5)),
    ]
    for low, high in blocks:
        block = geometry.rounded_box("frame block", low, high, 0.4, casting)
        block.matrix_world = pose
    back = rig.duct_back_z
    walls = [
        ((-180.0, -30.0, back - 5), (180.0, 130.0, back)),
        ((-180.0, -30.0, back), (180.0, -1.0, floor - 5)),
        ((-180.0, 74.0, back), (180.0, 130.0, z - 6)),
        ((-185.0, -30.0, back), (-180.0, 130.0, z - 6)),
        ((180.0, -30.0, back), (185.0, 130.0, z - 6)),
    ]
    for low, high in walls:
        geometry.rounded_box("duct wall", low, high, 0.3, dark).matrix_world = pose


def build_socket(rig: Rig, state: State) -> None:
    """Add the barrel with its square bore and index lines."""
    steel = make_surface("barrel", METALS["satin"])
    paint = plain("index paint", (0.018, 0.018, 0.02), 0.55)
    inside = make_surface("bore", Surface((0.15, 0.14, 0.13), 0.8, 0.55, dirt=0.6))
    barrel = geometry.socket_barrel(
        "barrel",
        rig.socket_radius,
        rig.barrel_end_x - rig.socket_face_x,
        rig.bore,
        18.0,
        rig.socket_line_width,
        rig.socket_line_length,
        0.08,
        [steel, paint, inside],
    )
    # a positive clock moves the front line from +z towards +y: a negative turn about +x
    clock = Matrix.Rotation(-radians(state.clock_deg), 4, "X")
    barrel.matrix_world = frame_in_gauge(rig, state) @ socket_in_frame(rig, state) @ clock


def build_yoke(rig: Rig, state: State, look: Look) -> None:
    """Add the yoke with tag, index line and tang, and the rails it slides on."""
    pose = yoke_in_gauge(rig, state)
    steel = make_surface("yoke", replace(METALS["satin"], brush_deg=0.0, scratches=0.4))
    face = rig.yoke_face_z - STICKER
    half = rig.yoke_body_width / 2
    depth = rig.socket_axis_z
    tang = rig.tang_width / 2
    parts = [
        geometry.rounded_box(
            "body", (-rig.yoke_body_length, -half, depth - 7), (0.0, half, face), 0.15, steel
        ),
        geometry.rounded_box(
            "tang", (-2.0, -tang, depth - tang), (rig.tang_length, tang, depth + tang), 0.3, steel
        ),
        geometry.rounded_box(
            "ears", (-29.0, -12.8, depth - 1), (-13.0, 12.8, depth + 2), 0.3, steel
        ),
    ]
    line = plain("yoke line", (0.018, 0.018, 0.02), 0.55)
    reach, width = rig.yoke_line_length, rig.yoke_line_width / 2
    corners = [(-reach, -width), (-0.16, -width), (-0.16, width), (-reach, width)]
    parts.append(
        geometry.add_mesh(
            "yoke line", [(x, y, face + 0.003) for x, y in corners], [(0, 1, 2, 3)], [line]
        )
    )
    tag = rig.yoke_tag + look.mark_shift
    card = materials.mark_card(
        f"mark {tag}", tag, rig.yoke_tag_size, rig.yoke_tag_pad, look.pad_gloss, 0.2
    )
    cx, cy = rig.yoke_tag_centre
    parts.append(
        geometry.square_card(f"mark {tag}", (cx, cy, rig.yoke_face_z), rig.yoke_tag_pad, card)
    )
    for part in parts:
        part.matrix_world = pose
    rail = make_surface("rails", replace(METALS["brushed"], brush_deg=0.0, dirt=0.15))
    for y in (-11.5, 11.5):
        geometry.tube(
            "rail",
            [
                (-50.0, rig.yoke_axis_y + y, depth + 0.5),
                (-20.0, rig.yoke_axis_y + y, depth + 0.5),
                (-6.0, rig.yoke_axis_y + y, depth + 0.5),
                (-4.0, rig.yoke_axis_y + y, depth + 0.5),
            ],
            1.3,
            rail,
        )


def axis_tilt_deg(matrix: Matrix) -> float:
    """Return the angle of a pose's x axis in the marks plane, counter-clockwise."""
    axis = matrix.to_3x3().col[0]
    return degrees(atan(axis.y / axis.x))
