"""The state of a rig in front of the camera: what is set how, made of what, lit by what.

Lengths in mm, angles in degrees, gauge axes unless a name says otherwise. Frame axes are
the gauge's own when the gauge is seated perfectly; a seating error turns the frame about
the gauge's z axis and shifts it along y. The frame carries sill, door, pocket and socket.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from math import cos, radians, sin, tan

import numpy as np

from rigvision.ground.conventions import fold_deg
from rigvision.synthetic.film import Film, Sheet
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge

#: Clock error beyond which the tang no longer finds its way into the socket, degrees.
ENTRY_CLOCK_DEG = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Surfaces:
    """Diffuse reflectances (0 to 1) of everything in sight, and how rough it looks."""

    plate: float = 0.34
    pad: float = 0.86
    ink: float = 0.035
    sill: float = 0.36
    door: float = 0.42
    sill_slot: float = 0.10
    door_slot: float = 0.12
    yoke: float = 0.40
    yoke_line: float = 0.05
    socket: float = 0.38
    socket_line: float = 0.05
    pocket: float = 0.22
    duct: float = 0.03
    cover: float = 0.30
    #: Depth of the metal's texture; 0 is perfectly even.
    texture: float = 1.0
    #: Strength of the specular lobe of the metal faces.
    gloss: float = 0.25
    #: Whether the door is painted (weak texture) rather than brushed.
    door_painted: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Grime:
    """Grease and dirt, each from 0 (none) to 1 (as bad as it gets)."""

    smear: float = 0.0
    edge_dust: float = 0.0
    #: Bright worn line along the broken edges.
    worn_edge: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Light:
    """Hangar light, a head torch near the camera and a lamp to the side.

    Strengths are irradiances on a surface that faces the light, relative to each other.
    """

    ambient: float = 0.55
    torch: float = 0.35
    #: Where the torch is, from the camera, over the camera's distance (x, y).
    torch_offset: tuple[float, float] = (0.05, 0.35)
    #: Half width of the torch's cone where it meets the plate, mm.
    torch_radius_mm: float = 160.0
    side: float = 0.30
    #: Direction of the side lamp as slopes x/z, y/z.
    side_slope: tuple[float, float] = (-0.7, 0.9)
    #: Mirror-like reflection of a lamp on the plate: strength, place and radius in mm.
    glare: float = 0.0
    glare_at_mm: tuple[float, float] = (0.0, 0.0)
    glare_radius_mm: float = 12.0
    #: Edge of a shadow that lies along the gap, mm above the sill's edge; None for none.
    shadow_above_sill_mm: float | None = None
    shadow_depth: float = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """Everything about the rig that the truth and the picture depend on."""

    door: int = 1
    #: Gap where the gauge's x is 0, and gap at the largest minus at the smallest station.
    gap_mm: float
    taper_mm: float = 0.0
    #: Turn of the socket from engagement, positive carries its visible side to +y.
    clock_deg: float = 0.0
    #: Socket axis against its nominal place in the frame, at the socket's face.
    socket_offset_y_mm: float = 0.0
    socket_tilt_deg: float = 0.0
    #: Middle of the yoke's shoulder, and turn of the yoke about it.
    yoke_shoulder_mm: tuple[float, float] = (0.0, 0.0)
    yoke_tilt_deg: float = 0.0
    #: Sill edge against its nominal place, at the gauge's x = 0.
    sill_offset_mm: float = 0.0
    sill_tilt_deg: float = 0.0
    surfaces: Surfaces = field(default_factory=Surfaces)
    grime: Grime = field(default_factory=Grime)
    light: Light = field(default_factory=Light)
    #: Ids of marks of the plate that something covers.
    covered_marks: tuple[int, ...] = ()
    #: What lies on the surfaces, from below upwards, and solids in front of them.
    films: tuple[Film, ...] = ()
    sheets: tuple[Sheet, ...] = ()

    def frame_shift_y_mm(self, frame: Frame) -> float:
        """Shift of the frame along gauge y, after its turn by ``sill_tilt_deg``."""
        lift_mm = frame.sill.edge_y_mm * (1.0 / cos(radians(self.sill_tilt_deg)) - 1.0)
        return self.sill_offset_mm - lift_mm

    def gauge_from_frame(self, frame: Frame, x_mm: float, y_mm: float) -> tuple[float, float]:
        """A point (x, y) of the frame in gauge axes."""
        c, s = cos(radians(self.sill_tilt_deg)), sin(radians(self.sill_tilt_deg))
        return c * x_mm - s * y_mm, s * x_mm + c * y_mm + self.frame_shift_y_mm(frame)

    def taper_slope(self, frame: Frame) -> float:
        """Change of the gap for one mm along the sill."""
        return self.taper_mm / (frame.gap.stations_x_mm[-1] - frame.gap.stations_x_mm[0])

    def gap_at_origin_mm(self, frame: Frame) -> float:
        """Gap where the frame's own x is 0, which is a hair off the gauge's when tilted."""
        s_mm = frame.sill.edge_y_mm * tan(radians(self.sill_tilt_deg))
        return self.gap_mm - self.taper_slope(frame) * s_mm


def driven_clock_deg(frame: Frame, gap_mm: float) -> float:
    """Clock that a perfect drive shows at a gap, folded into one flat, degrees."""
    flats = frame.socket.flats if frame.socket else 1
    sign = 1.0 if frame.drive.opening_moves_socket_front == "+y" else -1.0
    turn_deg = 360.0 * (gap_mm - frame.gap.nominal_mm) / frame.drive.gap_per_socket_turn_mm
    return fold_deg(sign * turn_deg, 360.0 / flats)


def ideal_scene(gauge: Gauge, frame: Frame, gap_mm: float | None = None) -> Scene:
    """A perfectly set rig; with ``gap_mm``, opened to it, the clock following the drive.

    The yoke stays engaged whatever the clock.
    """
    gap = frame.gap.nominal_mm if gap_mm is None else gap_mm
    face_x = frame.socket.face_x_mm if frame.socket else 0.0
    axis_y = gauge.yoke.axis_y_mm if gauge.yoke else 0.0
    return Scene(
        gap_mm=gap, clock_deg=driven_clock_deg(frame, gap), yoke_shoulder_mm=(face_x, axis_y)
    )


def random_scene(
    gauge: Gauge, frame: Frame, rng: np.random.Generator, gap_mm: float | None = None
) -> Scene:
    """A rig as a mechanic may find it: gap and clock tied by the drive, yoke as it can stand."""
    gap = float(gap_mm if gap_mm is not None else rng.uniform(0.25, 1.8))
    spread_mm = float(rng.normal(0.0, frame.drive.gap_clock_spread_mm))
    taper_limit = min(2.0 * frame.gap.taper_limit_mm, max(0.0, 2.0 * (gap - 0.12)))
    scene = Scene(
        door=int(rng.integers(1, frame.doors + 1)),
        gap_mm=gap,
        taper_mm=float(np.clip(rng.normal(0.0, taper_limit / 2.5), -taper_limit, taper_limit)),
        clock_deg=driven_clock_deg(frame, gap + spread_mm),
        socket_offset_y_mm=float(rng.normal(0.0, 0.25)),
        socket_tilt_deg=float(rng.normal(0.0, 0.5)),
        yoke_tilt_deg=float(rng.normal(0.0, 0.35)),
        sill_offset_mm=float(rng.normal(0.0, frame.sill.edge_y_tolerance_mm / 5.0)),
        sill_tilt_deg=float(rng.normal(0.0, frame.sill.edge_tilt_tolerance_deg / 6.0)),
        surfaces=random_surfaces(rng),
        grime=random_grime(rng),
        light=random_light(rng),
    )
    return replace(scene, yoke_shoulder_mm=_random_shoulder_mm(scene, gauge, frame, rng))


def _random_shoulder_mm(
    scene: Scene, gauge: Gauge, frame: Frame, rng: np.random.Generator
) -> tuple[float, float]:
    """Where the yoke comes to stand: against the socket, or off it by its tang's length."""
    if gauge.yoke is None or frame.socket is None:
        return 0.0, gauge.yoke.axis_y_mm if gauge.yoke else 0.0
    face_mm = scene.gauge_from_frame(
        frame, frame.socket.face_x_mm, frame.socket.axis_y_mm + scene.socket_offset_y_mm
    )
    free_mm = float(rng.uniform(0.2, 3.0)) + gauge.yoke.tang_length_mm
    seated_mm = float(rng.uniform(0.0, 0.6))
    enters = abs(scene.clock_deg) <= ENTRY_CLOCK_DEG
    return (
        face_mm[0] - (seated_mm if enters else free_mm),
        gauge.yoke.axis_y_mm + float(rng.normal(0.0, 0.05)),
    )


def random_surfaces(rng: np.random.Generator) -> Surfaces:
    """Metal and paint from dark to light, slot faces bare or sooted."""
    slot = float(rng.choice([rng.uniform(0.03, 0.08), rng.uniform(0.12, 0.35)]))
    painted = bool(rng.random() < 0.6)
    return Surfaces(
        plate=float(rng.uniform(0.22, 0.48)),
        pad=float(rng.uniform(0.75, 0.90)),
        ink=float(rng.uniform(0.025, 0.06)),
        sill=float(rng.uniform(0.20, 0.50)),
        door=float(rng.uniform(0.12, 0.75) if painted else rng.uniform(0.25, 0.5)),
        sill_slot=slot * float(rng.uniform(0.8, 1.25)),
        door_slot=slot * float(rng.uniform(0.8, 1.25)),
        yoke=float(rng.uniform(0.28, 0.5)),
        yoke_line=float(rng.uniform(0.03, 0.08)),
        socket=float(rng.uniform(0.25, 0.48)),
        socket_line=float(rng.uniform(0.03, 0.08)),
        pocket=float(rng.uniform(0.12, 0.3)),
        duct=float(rng.uniform(0.015, 0.05)),
        cover=float(rng.uniform(0.08, 0.5)),
        texture=float(rng.uniform(0.5, 1.3)),
        gloss=float(rng.uniform(0.05, 0.45)),
        door_painted=painted,
    )


def random_grime(rng: np.random.Generator) -> Grime:
    return Grime(
        smear=float(rng.uniform(0.0, 0.6)),
        edge_dust=float(rng.uniform(0.0, 0.5)),
        worn_edge=float(rng.uniform(0.0, 0.6)),
    )


def random_light(rng: np.random.Generator) -> Light:
    """Any mix of the three lights; now and then a shadow along the gap or a glare spot."""
    angle_rad = float(rng.uniform(0.0, 2.0 * np.pi))
    slope = float(rng.uniform(0.3, 1.6))
    shadow = float(rng.uniform(-3.0, 6.0)) if rng.random() < 0.2 else None
    return Light(
        ambient=float(rng.uniform(0.3, 0.8)),
        torch=float(rng.uniform(0.0, 0.8)),
        torch_offset=(float(rng.uniform(-0.3, 0.3)), float(rng.uniform(0.0, 0.6))),
        torch_radius_mm=float(rng.uniform(110.0, 250.0)),
        side=float(rng.uniform(0.0, 0.5)),
        side_slope=(slope * float(np.cos(angle_rad)), slope * float(np.sin(angle_rad))),
        glare=float(rng.uniform(0.2, 1.0)) if rng.random() < 0.2 else 0.0,
        glare_at_mm=(float(rng.uniform(-50.0, 50.0)), float(rng.uniform(-40.0, 40.0))),
        glare_radius_mm=float(rng.uniform(5.0, 20.0)),
        shadow_above_sill_mm=shadow,
        shadow_depth=float(rng.uniform(0.25, 0.7)),
    )
