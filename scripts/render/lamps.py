"""The light of disturbed pictures: hard shadows, mirrored lamps, a torch's spot, a panel."""

from __future__ import annotations

from math import atan, cos, pi, radians, sin

import bpy
import numpy as np
from mathutils import Vector

from . import geometry
from .materials import Graph, plain
from .rig import Rig
from .shots import Shot
from .staged import EdgeShadow, Glare, HalfShadow, Panel, Spot, StripLamp
from .surroundings import add_edge_shadow, add_lamp, add_world

MIDDLE = Vector((0.0, 5.0, -3.0))
WHITE = (1.0, 0.98, 0.95)
#: How far before the face a mirrored panel hangs, mm.
PANEL_BEFORE_MM = 150.0
#: Where on the way to its lamp the card is that shades half the plate.
CARD_AT = 0.15


def add_staged_light(rig: Rig, shot: Shot) -> None:
    """Add the stage's lighting and panel, where it has any."""
    turn = float(np.random.default_rng(shot.seed + 23).uniform(0, 2 * pi))
    match shot.look.staged.lighting:
        case EdgeShadow() as shadow:
            add_world("interior", shadow.surroundings, turn)
            add_edge_shadow(rig, shot.state, shadow)
        case HalfShadow() as shadow:
            add_world("interior", shadow.surroundings, turn)
            _half_shadow(shadow)
        case Glare() as glare:
            add_world("interior", 0.5, turn)
            _mirrored_lamp(rig, shot, glare)
        case StripLamp() as strip:
            add_world("interior", 0.4, turn)
            _strip(strip)
        case Spot() as spot:
            add_world("interior", spot.surroundings, turn)
            _torch(shot, spot)
    if shot.look.staged.panel:
        _panel(rig, shot, shot.look.staged.panel)


def _half_shadow(shadow: HalfShadow) -> None:
    """A lamp overhead, and a card near the plate that ends on the way to the border's point."""
    lamp = Vector((60.0, 260.0, 520.0))
    diameter = shadow.penumbra_mm * (1 - CARD_AT) / CARD_AT
    add_lamp(lamp, MIDDLE, diameter, 2.6, WHITE)
    border = Vector((*shadow.through_mm, 0.0))
    here = border + CARD_AT * (lamp - border)
    along = Vector((cos(radians(shadow.turn_deg)), sin(radians(shadow.turn_deg)), 0.0))
    away = Vector((-along.y, along.x, 0.0))
    corners = [here - 500 * along, here + 500 * along]
    corners += [c + 500 * away for c in reversed(corners)]
    card = geometry.add_mesh("card", corners, [(0, 1, 2, 3)], [plain("card", (0.02,) * 3, 0.6)])
    _only_shades(card)


def _only_shades(obj: bpy.types.Object) -> None:
    """Leave an object its shadow alone: it is neither seen nor mirrored, and lights nothing."""
    obj.visible_camera = obj.visible_glossy = obj.visible_diffuse = False


def _mirrored_lamp(rig: Rig, shot: Shot, glare: Glare) -> None:
    """A lamp where the plane of the faces mirrors it to the camera."""
    place = Vector((glare.at_x_mm, rig.sill_edge_y + shot.state.gap / 2, rig.face_z))
    eye = Vector(shot.view.position_mm) - place
    there = Vector((-eye.x, -eye.y, eye.z)).normalized()
    add_lamp(place + 220 * there, place, glare.diameter_mm, glare.irradiance, WHITE)


def _strip(strip: StripLamp) -> None:
    light = bpy.data.lights.new("strip lamp", "AREA")
    light.shape, light.size, light.size_y = "RECTANGLE", 700.0, 30.0
    place = MIDDLE + Vector((0.0, 300.0 * strip.side, 230.0))
    light.energy = strip.irradiance * pi * (place - MIDDLE).length_squared
    light.color = WHITE
    obj = bpy.data.objects.new("strip lamp", light)
    obj.location = place
    obj.rotation_euler = (MIDDLE - place).to_track_quat("-Z", "Y").to_euler()
    bpy.context.scene.collection.objects.link(obj)


def _torch(shot: Shot, spot: Spot) -> None:
    """A torch above the phone; Blender's softest cone has half its light at 0.7 of its angle."""
    right, down, forward = (Vector(a) for a in shot.view.axes)
    place = Vector(shot.view.position_mm) + 25 * right - 55 * down - 10 * forward
    aim = Vector((*spot.centre_mm, -3.0))
    distance = (aim - place).length
    light = bpy.data.lights.new("torch", "SPOT")
    light.spot_size = 2 * atan(spot.radius_mm / distance) / 0.7
    light.spot_blend = 1.0
    light.shadow_soft_size = 4.0
    light.energy = 3.0 * 4 * pi * distance**2
    obj = bpy.data.objects.new("torch", light)
    obj.location = place
    obj.rotation_euler = (aim - place).to_track_quat("-Z", "Y").to_euler()
    bpy.context.scene.collection.objects.link(obj)


def _panel(rig: Rig, shot: Shot, panel: Panel) -> None:
    """A bright panel before the door, seen in its coat alone, from a line off its edge on."""
    eye = shot.view.position_mm
    seen = rig.sill_edge_y + shot.state.gap + panel.above_edge_mm
    y = seen + (seen - eye[1]) * PANEL_BEFORE_MM / (eye[2] - rig.face_z)
    z = rig.face_z + PANEL_BEFORE_MM
    graph = Graph("panel light")
    graph.put(graph.shader.inputs["Base Color"], (0.0, 0.0, 0.0))
    graph.put(graph.shader.inputs["Emission Color"], (1.0, 1.0, 1.0))
    graph.put(graph.shader.inputs["Emission Strength"], panel.radiance)
    corners = [(-300, y, z), (300, y, z), (300, y + 300, z), (-300, y + 300, z)]
    obj = geometry.add_mesh("panel light", corners, [(0, 1, 2, 3)], [graph.material])
    obj.visible_camera = obj.visible_shadow = obj.visible_diffuse = False
