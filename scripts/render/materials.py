"""Shader graphs for metal, paint, dirt and marks; all lengths in mm."""

from __future__ import annotations

from dataclasses import dataclass

import bpy
import cv2
import numpy as np

from .staged import Gouge

Rgb = tuple[float, float, float]
Socket = bpy.types.NodeSocket
TEXELS_PER_MM = 20


@dataclass(frozen=True)
class Surface:
    """How a face looks: bare metal or paint, how it was worked, and what lies on it.

    ``brush_deg`` is the direction of the working marks (0 = along the gap); amounts run from
    0 to 1. ``edge_*`` act within a few mm of the object's own plane y = 0.
    """

    base: Rgb = (0.5, 0.5, 0.5)
    metallic: float = 1.0
    roughness: float = 0.35
    brush: float = 0.0
    brush_deg: float = 0.0
    blast: float = 0.0
    scratches: float = 0.3
    mottle: float = 0.15
    dirt: float = 0.2
    dirt_colour: Rgb = (0.045, 0.035, 0.025)
    edge_wear: float = 0.0
    edge_grease: float = 0.0
    edge_dust: float = 0.0
    edge_soot: float = 0.0
    #: Width of a band polished bright along the edge; 0 without.
    edge_polish_mm: float = 0.0
    gouges: tuple[Gouge, ...] = ()
    #: Refractive index of a clear coat; 0 without.
    coat_ior: float = 0.0


class Graph:
    """Thin wrapper that adds nodes and joins them."""

    def __init__(self, name: str) -> None:
        self.material = bpy.data.materials.new(name)
        self.material.use_nodes = True
        self.tree = self.material.node_tree
        self.tree.nodes.clear()
        output = self.tree.nodes.new("ShaderNodeOutputMaterial")
        self.shader = self.tree.nodes.new("ShaderNodeBsdfPrincipled")
        self.tree.links.new(self.shader.outputs[0], output.inputs[0])
        self.coords = self.tree.nodes.new("ShaderNodeTexCoord").outputs["Object"]

    def put(self, target: Socket, value: object) -> None:
        """Feed a socket with another socket or a constant."""
        if isinstance(value, bpy.types.NodeSocket):
            self.tree.links.new(value, target)
        elif isinstance(value, tuple) and len(value) == 3 and target.type == "RGBA":
            target.default_value = (*value, 1.0)
        else:
            target.default_value = value

    def math(self, operation: str, a: object, b: object = 0.0, clamp: bool = False) -> Socket:
        """Return a op b."""
        node = self.tree.nodes.new("ShaderNodeMath")
        node.operation, node.use_clamp = operation, clamp
        self.put(node.inputs[0], a)
        self.put(node.inputs[1], b)
        return node.outputs[0]

    def mix(self, factor: object, a: object, b: object) -> Socket:
        """Blend colour a to b."""
        node = self.tree.nodes.new("ShaderNodeMix")
        node.data_type = "RGBA"
        for socket, value in zip((0, 6, 7), (factor, a, b), strict=True):
            self.put(node.inputs[socket], value)
        return node.outputs[2]

    def blend(self, factor: object, a: object, b: object) -> Socket:
        """Blend number a to b."""
        node = self.tree.nodes.new("ShaderNodeMix")
        node.data_type = "FLOAT"
        for socket, value in zip((0, 2, 3), (factor, a, b), strict=True):
            self.put(node.inputs[socket], value)
        return node.outputs[0]

    def noise(
        self, per_mm: Rgb, detail: float = 4.0, turn_deg: float = 0.0, roughness: float = 0.55
    ) -> Socket:
        """Return a noise of 0..1 with that many features per mm along x, y, z."""
        turn = self.tree.nodes.new("ShaderNodeMapping")
        turn.inputs["Rotation"].default_value = (0.0, 0.0, np.radians(turn_deg))
        self.put(turn.inputs["Vector"], self.coords)
        stretch = self.tree.nodes.new("ShaderNodeMapping")
        stretch.inputs["Scale"].default_value = per_mm
        self.put(stretch.inputs["Vector"], turn.outputs[0])
        node = self.tree.nodes.new("ShaderNodeTexNoise")
        node.inputs["Scale"].default_value = 1.0
        node.inputs["Detail"].default_value = detail
        node.inputs["Roughness"].default_value = roughness
        self.put(node.inputs["Vector"], stretch.outputs[0])
        return node.outputs[0]

    def ramp(self, value: Socket, low: float, high: float) -> Socket:
        """Map low..high to 0..1, smoothly and clamped."""
        node = self.tree.nodes.new("ShaderNodeMapRange")
        node.interpolation_type = "SMOOTHSTEP"
        node.inputs["From Min"].default_value = low
        node.inputs["From Max"].default_value = high
        self.put(node.inputs["Value"], value)
        return node.outputs[0]

    def bump(self, height: Socket, distance_mm: float, previous: Socket | None = None) -> Socket:
        """Return the normal of a height map of that amplitude."""
        node = self.tree.nodes.new("ShaderNodeBump")
        node.inputs["Distance"].default_value = distance_mm
        self.put(node.inputs["Height"], height)
        if previous is not None:
            self.put(node.inputs["Normal"], previous)
        return node.outputs[0]

    def edge_distance(self) -> Socket:
        """Return the distance from the object's plane y = 0, in mm."""
        split = self.tree.nodes.new("ShaderNodeSeparateXYZ")
        self.put(split.inputs[0], self.coords)
        return self.math("ABSOLUTE", split.outputs[1])

    def near_edge(self, reach_mm: float, amount: float, per_mm: Rgb, soft: float = 0.0) -> Socket:
        """Return a ragged mask that fades out away from the plane y = 0."""
        fade = self.math("DIVIDE", self.edge_distance(), reach_mm)
        patches = self.math("SUBTRACT", self.noise(per_mm, 6.0), fade)
        return self.ramp(patches, 0.72 - 0.6 * amount - soft, 0.8 - 0.5 * amount + soft)


def make_surface(name: str, look: Surface) -> bpy.types.Material:
    """Build the graph of a worked, used and perhaps dirty face."""
    graph = Graph(name)
    colour: object = look.base
    dark = tuple(c * (1 - 2.2 * look.mottle) for c in look.base)
    light = tuple(min(1.0, c * (1 + 0.8 * look.mottle)) for c in look.base)
    cloud = graph.noise((0.09, 0.09, 0.09), 7.0, 20.0, 0.6)
    colour = graph.mix(graph.ramp(cloud, 0.3, 0.7), dark, light)
    rough: object = graph.blend(cloud, look.roughness * 0.75, look.roughness * 1.25)
    metallic: object = look.metallic
    normal = None
    if look.blast:
        normal = graph.bump(graph.noise((5.0, 5.0, 5.0), 2.0), 0.04 * look.blast, normal)
    if look.brush:
        lines = graph.noise((0.12, 7.0, 7.0), 3.0, look.brush_deg)
        normal = graph.bump(lines, 0.05 * look.brush, normal)
        tint = graph.math("MULTIPLY_ADD", lines, 0.5 * look.brush)
        tint.node.inputs[2].default_value = 1 - 0.25 * look.brush
        rough = graph.math("MULTIPLY", rough, tint)
    if look.scratches:
        colour, rough = _scratch(graph, look, colour, rough)
    if look.edge_wear:
        worn = graph.near_edge(0.9, look.edge_wear, (0.5, 1.2, 1.2))
        colour = graph.mix(worn, colour, (0.52, 0.5, 0.48))
        metallic = graph.blend(worn, metallic, 1.0)
        rough = graph.blend(worn, rough, 0.3)
    colour, rough, metallic = _soil(graph, look, colour, rough, metallic)
    if look.edge_grease:
        film = graph.near_edge(5.0, look.edge_grease, (0.22, 0.35, 0.35))
        colour = graph.mix(film, colour, (0.05, 0.033, 0.016))
        metallic = graph.blend(film, metallic, 0.0)
        rough = graph.blend(film, rough, 0.22)
        lumps = graph.math("MULTIPLY", film, graph.noise((0.8, 0.8, 0.8), 3.0))
        normal = graph.bump(lumps, 0.2, normal)
    for gouge in look.gouges:
        mask, height = _gouge(graph, gouge)
        colour = graph.mix(mask, colour, (0.6, 0.58, 0.55))
        metallic = graph.blend(mask, metallic, 1.0)
        rough = graph.blend(mask, rough, 0.28)
        normal = graph.bump(height, gouge.depth_mm, normal)
    if look.edge_polish_mm:
        band = _polished(graph, look.edge_polish_mm)
        colour = graph.mix(band, colour, (0.8, 0.79, 0.77))
        metallic = graph.blend(band, metallic, 1.0)
        rough = graph.blend(band, rough, 0.14)
    if look.coat_ior:
        for name, amount in (("Weight", 1.0), ("Roughness", 0.015), ("IOR", look.coat_ior)):
            graph.put(graph.shader.inputs[f"Coat {name}"], amount)
    for socket, value in (("Base Color", colour), ("Roughness", rough), ("Metallic", metallic)):
        graph.put(graph.shader.inputs[socket], value)
    if normal is not None:
        graph.put(graph.shader.inputs["Normal"], normal)
    return graph.material


def _scratch(graph: Graph, look: Surface, colour: object, rough: object) -> tuple[object, object]:
    """Add fine bright scratches, some of them along the gap."""
    for turn, scale in (
        (2.0, (0.018, 2.6, 2.6)),
        (-1.0, (0.03, 5.0, 5.0)),
        (38.0, (0.03, 1.6, 1.6)),
    ):
        field = graph.noise(scale, 1.0, turn)
        off_centre = graph.math("ABSOLUTE", graph.math("SUBTRACT", field, 0.5))
        line = graph.math("SUBTRACT", 1.0, graph.ramp(off_centre, 0.004, 0.022))
        patch = graph.ramp(graph.noise((0.06, 0.2, 0.2), 2.0, turn + 50), 0.5, 0.62)
        mask = graph.math("MULTIPLY", graph.math("MULTIPLY", line, patch), look.scratches)
        bright = tuple(min(1.0, 1.5 * c + 0.08) for c in look.base)
        colour = graph.mix(mask, colour, bright)
        rough = graph.blend(mask, rough, 0.25)
    return colour, rough


def _gouge(graph: Graph, gouge: Gouge) -> tuple[Socket, Socket]:
    """Return where a scratch is, and its height: 1 on the face, 0 at its bottom."""
    split = graph.tree.nodes.new("ShaderNodeSeparateXYZ")
    graph.put(split.inputs[0], graph.coords)
    x, y = split.outputs[0], split.outputs[1]
    outwards = 1.0 if gouge.body == "door" else -1.0
    wander = graph.math("MULTIPLY", graph.noise((0.05, 0.0, 0.0), 2.0), 0.2)
    line = graph.math("ADD", graph.math("MULTIPLY", x, gouge.slope), wander)
    away = graph.math("SUBTRACT", graph.math("MULTIPLY", y, outwards), line)
    off = graph.math("ABSOLUTE", graph.math("SUBTRACT", away, gouge.away_mm - 0.1))
    along = graph.math("ABSOLUTE", graph.math("SUBTRACT", x, gouge.at_x_mm))
    half, end = gouge.width_mm / 2, gouge.length_mm / 2
    inside = graph.math("SUBTRACT", 1.0, graph.ramp(along, end - 4.0, end))
    depth = graph.math("SUBTRACT", 1.0, graph.ramp(off, 0.5 * half, half))
    mask = graph.math("MULTIPLY", inside, depth)
    bottom = graph.math("SUBTRACT", 1.0, graph.ramp(off, 0.0, half))
    return mask, graph.math("SUBTRACT", 1.0, graph.math("MULTIPLY", inside, bottom))


def _polished(graph: Graph, width_mm: float) -> Socket:
    """Return a band along the edge, nowhere quite worn away."""
    rub = graph.blend(graph.noise((0.08, 0.0, 0.0), 3.0), 0.6 * width_mm, 1.3 * width_mm)
    past = graph.math("SUBTRACT", graph.edge_distance(), rub)
    return graph.math("SUBTRACT", 1.0, graph.ramp(past, -0.03, 0.03))


def _soil(
    graph: Graph, look: Surface, colour: object, rough: object, metallic: object
) -> tuple[object, object, object]:
    """Lay general dirt, soot along the edge and dust over the face."""
    layers: list[tuple[Socket, Rgb, float]] = []
    if look.dirt:
        grime = graph.noise((0.16, 0.2, 0.2), 9.0, 0.0, 0.68)
        stain = graph.ramp(grime, 0.70 - 0.2 * look.dirt, 0.95 - 0.2 * look.dirt)
        layers.append((graph.math("MULTIPLY", stain, 0.7), look.dirt_colour, 0.75))
        specks = graph.ramp(graph.noise((1.3, 1.3, 1.3), 3.0), 0.70 - 0.04 * look.dirt, 0.74)
        layers.append((graph.math("MULTIPLY", specks, 0.8 * look.dirt), look.dirt_colour, 0.8))
    if look.edge_soot:
        layers.append(
            (graph.near_edge(6.0, look.edge_soot, (0.12, 0.3, 0.3)), (0.02, 0.019, 0.018), 0.85)
        )
    if look.edge_dust:
        grains = graph.near_edge(13.0, look.edge_dust, (2.4, 2.4, 2.4), 0.12)
        layers.append((graph.math("MULTIPLY", grains, 0.75), (0.36, 0.31, 0.24), 0.95))
        film = graph.near_edge(26.0, look.edge_dust, (0.1, 0.14, 0.14), 0.25)
        layers.append((graph.math("MULTIPLY", film, 0.55), (0.42, 0.37, 0.3), 0.95))
    for mask, soil, soil_rough in layers:
        colour = graph.mix(mask, colour, soil)
        metallic = graph.blend(mask, metallic, 0.0)
        rough = graph.blend(mask, rough, soil_rough)
    return colour, rough, metallic


def plain(name: str, base: Rgb, roughness: float, metallic: float = 0.0) -> bpy.types.Material:
    """Return a single colour."""
    graph = Graph(name)
    graph.put(graph.shader.inputs["Base Color"], base)
    graph.put(graph.shader.inputs["Roughness"], roughness)
    graph.put(graph.shader.inputs["Metallic"], metallic)
    return graph.material


def braid(name: str) -> bpy.types.Material:
    """Return a braided cable sleeve."""
    graph = Graph(name)
    weave = graph.noise((0.9, 0.9, 0.9), 2.0)
    graph.put(
        graph.shader.inputs["Base Color"],
        graph.mix(weave, (0.012, 0.012, 0.014), (0.05, 0.05, 0.055)),
    )
    graph.put(graph.shader.inputs["Roughness"], 0.6)
    graph.put(graph.shader.inputs["Normal"], graph.bump(weave, 0.8))
    return graph.material


def mark_card(
    name: str, tag: int, size_mm: float, pad_mm: float, gloss: float, dirt: float
) -> bpy.types.Material:
    """Return a white pad with its AprilTag; texels are 0.05 mm: borders fall on their borders."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    side, pad = round(size_mm * TEXELS_PER_MM), round(pad_mm * TEXELS_PER_MM)
    modules = cv2.aruco.generateImageMarker(dictionary, tag, 8, borderBits=1)
    ink = np.kron(modules, np.ones((side // 8, side // 8), np.uint8))
    card = np.full((pad, pad), 255, np.uint8)
    start = (pad - side) // 2
    card[start : start + side, start : start + side] = ink
    image = bpy.data.images.new(name, pad, pad)
    image.colorspace_settings.name = "Non-Color"
    level = card[::-1].astype(np.float32) / 255
    image.pixels.foreach_set(np.dstack([level, level, level, np.ones_like(level)]).ravel())
    image.pack()
    graph = Graph(name)
    texture = graph.tree.nodes.new("ShaderNodeTexImage")
    texture.image, texture.interpolation, texture.extension = image, "Closest", "EXTEND"
    graph.put(texture.inputs[0], graph.tree.nodes["Texture Coordinate"].outputs["UV"])
    smudge = graph.ramp(graph.noise((0.12, 0.12, 0.12), 8.0, 0.0, 0.65), 0.5, 0.85)
    white = graph.mix(graph.math("MULTIPLY", smudge, dirt), (0.78, 0.77, 0.74), (0.45, 0.41, 0.34))
    colour = graph.mix(texture.outputs[0], (0.025, 0.025, 0.027), white)
    graph.put(graph.shader.inputs["Base Color"], colour)
    graph.put(graph.shader.inputs["Roughness"], 0.75 - 0.55 * gloss)
    graph.put(graph.shader.inputs["Specular IOR Level"], 0.25 + 0.4 * gloss)
    return graph.material
