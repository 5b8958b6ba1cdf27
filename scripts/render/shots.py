"""What a picture shows: the rig's state, its surfaces, its light, the phone and the hand."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from .camera import View
from .rig import Rig
from .staged import Staged


@dataclass(frozen=True)
class State:
    """How door, socket, yoke and gauge stand (mm, degrees; frame axes unless said).

    ``gap`` is at x = 0. The socket's offset and tilt are its own, in the frame; the yoke's
    are in the gauge. ``seat_*`` move the frame in the gauge's axes: the sill's offset along
    y, its tilt in the picture's plane and the pitch between gauge and frame.
    """

    gap: float = 0.80
    taper: float = 0.0
    clock_deg: float = 0.0
    socket_dy: float = 0.0
    socket_tilt_deg: float = 0.0
    yoke_dy: float = 0.0
    yoke_tilt_deg: float = 0.0
    seat_gap: float = 0.15
    sill_offset: float = 0.0
    sill_tilt_deg: float = 0.0
    pitch_deg: float = 0.0


@dataclass(frozen=True)
class Look:
    """Surfaces, light and surroundings, each by a name the builders know."""

    sill: str = "machined"
    door: str = "grey paint"
    slot: str = "sooted"
    gauge: str = "blasted steel"
    soil: str = "used"
    light: str = "hangar"
    surroundings: int = 1
    cover: tuple[tuple[int, str], ...] = ()
    pad_gloss: float = 0.0
    mark_shift: int = 0
    staged: Staged = field(default_factory=Staged)


@dataclass(frozen=True)
class Phone:
    """What the phone's camera and its software do to the light."""

    blur_px: float = 0.65
    motion_px: float = 0.0
    motion_deg: float = 0.0
    iso: int = 100
    sharpen: float = 0.6
    contrast: float = 0.25
    warmth: float = 0.0
    vignette: float = 0.25
    exposure_ev: float = 0.0
    quality: int = 88
    orientation: int = 1
    exif: bool = True
    exif_focal: bool = True
    #: JPEG quality of an earlier copy of the picture, whose blocks lay elsewhere; 0 without.
    earlier_quality: int = 0
    #: Exposes for the brightest of the picture's middle instead of for pads and the whole.
    meters_middle: bool = False


@dataclass(frozen=True)
class Disturbed:
    """What is wrong with a picture, and the reasons that may rightly be given to refuse it."""

    name: str
    strength: int
    accepted_codes: tuple[str, ...]


@dataclass(frozen=True)
class Shot:
    """One picture."""

    name: str
    state: State
    view: View
    look: Look = field(default_factory=Look)
    phone: Phone = field(default_factory=Phone)
    condition: str = "clean"
    retake: tuple[str, ...] = ()
    seed: int = 0
    zone: str = ""
    disturbed: Disturbed | None = None


@dataclass(frozen=True)
class Zone:
    """What random shots are drawn from; a name that stands twice comes twice as often."""

    distance_mm: tuple[float, float]
    largest_tilt_deg: float
    gap_mm: tuple[float, float]
    soils: tuple[str, ...]
    lights: tuple[str, ...]
    isos: tuple[int, ...]
    blur_px: tuple[float, float]
    #: Strength of the pads' gloss at most, which mirrors lamps into the marks.
    pad_gloss: float = 0.0


ZONES = {
    "any": Zone(
        (160, 450),
        40,
        (0.25, 4.0),
        ("clean", "used", "used", "worn", "greasy", "dusty"),
        ("hangar", "hangar", "torch", "side", "dim hangar"),
        (50, 100, 200, 400, 800),
        (0.5, 0.8),
    ),
    "nominal": Zone(
        (180, 350),
        25,
        (0.35, 1.6),
        ("clean", "used", "used", "worn"),
        ("hangar", "hangar", "torch", "side"),
        (50, 100, 200, 400),
        (0.5, 0.8),
    ),
    "hard": Zone(
        (160, 450),
        45,
        (0.25, 4.0),
        ("greasy", "dusty", "worn"),
        ("glare", "torch", "shadow", "dim hangar", "side"),
        (200, 400, 800, 1600),
        (0.5, 1.0),
        0.75,
    ),
}


def clock_for(gap: float, rig: Rig, spread_deg: float = 0.0) -> float:
    """Return the clock that goes with a gap, folded into (-45, 45] degrees."""
    clock = 360 * (gap - rig.gap_nominal) / rig.gap_per_socket_turn + spread_deg
    fold = 360 / rig.flats
    return fold / 2 - (fold / 2 - clock) % fold


def scaled_to(shot: Shot, width: int) -> Shot:
    """Return the shot at another picture width, everything counted in pixels scaled with it."""
    scale = width / max(shot.view.size_px)
    size = tuple(round(s * scale) for s in shot.view.size_px)
    dx, dy = shot.view.principal_offset_px
    view = replace(shot.view, size_px=size, principal_offset_px=(dx * scale, dy * scale))
    phone = replace(shot.phone, motion_px=shot.phone.motion_px * scale)
    return replace(shot, view=view, phone=phone)


def random_shot(
    index: int, seed: int, rig: Rig, size_px: tuple[int, int], zone: str = "any"
) -> Shot:
    """Draw a scene that nobody tuned anything on; each zone has a series of its own."""
    ranges = ZONES[zone]
    series = [] if zone == "any" else [list(ZONES).index(zone)]
    rng = np.random.default_rng([seed, index, *series])
    gap = float(np.exp(rng.uniform(*np.log(ranges.gap_mm))))
    spread = float(rng.normal(0, 360 * rig.gap_clock_spread / rig.gap_per_socket_turn))
    return Shot(
        name=f"random-{seed}-{index:03d}" if zone == "any" else f"{zone}-{seed}-{index:03d}",
        state=_random_state(rng, gap, clock_for(gap, rig, spread)),
        view=_random_view(rng, ranges, size_px),
        look=_random_look(rng, ranges),
        phone=_random_phone(rng, ranges),
        condition="random scene",
        seed=int(rng.integers(1 << 30)),
        zone=zone,
    )


def _random_state(rng: np.random.Generator, gap: float, clock_deg: float) -> State:
    engaged = abs(clock_deg) < 5 and rng.random() < 0.8
    return State(
        gap=gap,
        taper=float(rng.normal(0, 0.09)),
        clock_deg=clock_deg,
        socket_dy=float(rng.normal(0, 0.15)),
        socket_tilt_deg=float(rng.normal(0, 0.4)),
        yoke_dy=float(rng.normal(0, 0.08)),
        yoke_tilt_deg=float(rng.normal(0, 0.3)),
        seat_gap=float(rng.uniform(0, 0.3) if engaged else rng.uniform(8.0, 12.5)),
        sill_offset=float(rng.normal(0, 0.05)),
        sill_tilt_deg=float(rng.normal(0, 0.08)),
        pitch_deg=float(rng.normal(0, 0.05)),
    )


def _random_view(rng: np.random.Generator, zone: Zone, size_px: tuple[int, int]) -> View:
    width = max(size_px)
    return View(
        distance_mm=float(rng.uniform(*zone.distance_mm)),
        tilt_deg=float(zone.largest_tilt_deg * np.sqrt(rng.uniform(0.01, 1))),
        azimuth_deg=float(rng.uniform(0, 360)),
        roll_deg=float(rng.normal(0, 6)),
        aim_mm=(float(rng.normal(0, 5)), float(rng.normal(4, 5))),
        size_px=size_px,
        focal_scale=float(rng.uniform(0.985, 1.015)),
        principal_offset_px=(
            float(rng.normal(0, 0.003) * width),
            float(rng.normal(0, 0.003) * width),
        ),
        k1=float(rng.choice([0.0, 1.0]) * rng.uniform(-0.01, 0.01)),
        defocus_mm=float(rng.normal(0, 4)),
    )


def _random_look(rng: np.random.Generator, zone: Zone) -> Look:
    look = Look(
        sill=str(rng.choice(["machined", "brushed", "blasted", "heat-tinted"])),
        door=str(rng.choice(["grey paint", "dark paint", "green primer", "bare"])),
        slot=str(rng.choice(["sooted", "bare"])),
        gauge=str(rng.choice(["blasted steel", "brushed steel", "dark oxide"])),
        soil=str(rng.choice(zone.soils)),
        light=str(rng.choice(zone.lights)),
        surroundings=int(rng.integers(1, 1000)),
    )
    return (
        replace(look, pad_gloss=float(rng.uniform(0, zone.pad_gloss))) if zone.pad_gloss else look
    )


def _random_phone(rng: np.random.Generator, zone: Zone) -> Phone:
    return Phone(
        blur_px=float(rng.uniform(*zone.blur_px)),
        iso=int(rng.choice(zone.isos)),
        sharpen=float(rng.uniform(0.3, 1.1)),
        contrast=float(rng.uniform(0.1, 0.4)),
        warmth=float(rng.normal(0, 0.04)),
        vignette=float(rng.uniform(0.1, 0.4)),
        exposure_ev=float(rng.normal(0, 0.2)),
        quality=int(rng.integers(84, 92)),
    )
