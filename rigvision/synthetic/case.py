"""Random cases: a scene and a camera, drawn from a zone, with all marks in the picture."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import hypot

import numpy as np

from rigvision.ground.conventions import CORNER_SIGNS, FULL_FRAME_DIAGONAL_MM
from rigvision.synthetic.camera import Development, PhoneCamera
from rigvision.synthetic.near_limit import near_limit_scene
from rigvision.synthetic.scene import Grime, Light, Scene, random_light, random_scene
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge
from rigvision.world.model import Range

#: Share of the picture's width kept free around the marks.
MARGIN = 0.01


def random_development(rng: np.random.Generator) -> Development:
    """What phones do to pictures, from restrained to eager."""
    return Development(
        blur_sigma_px=float(rng.uniform(0.55, 1.15)),
        exposure=float(rng.uniform(0.45, 0.9)),
        flare=float(rng.uniform(0.001, 0.008)),
        vignetting=float(rng.uniform(0.05, 0.3)),
        shot_noise=float(rng.uniform(0.005, 0.02)),
        read_noise=float(rng.uniform(0.0008, 0.003)),
        noise_grain_px=float(rng.uniform(0.3, 0.8)),
        s_curve=float(rng.uniform(0.0, 0.6)),
        sharpen=float(rng.uniform(0.0, 1.0)),
        sharpen_sigma_px=float(rng.uniform(0.8, 1.8)),
        jpeg_quality=int(rng.integers(85, 96)),
    )


def noisy_development(rng: np.random.Generator) -> Development:
    """Little light: noise, softness, and a phone that sharpens all the same."""
    return replace(
        random_development(rng),
        blur_sigma_px=float(rng.uniform(0.7, 1.5)),
        exposure=float(rng.uniform(0.3, 0.95)),
        flare=float(rng.uniform(0.003, 0.02)),
        shot_noise=float(rng.uniform(0.015, 0.04)),
        read_noise=float(rng.uniform(0.002, 0.006)),
        jpeg_quality=int(rng.integers(80, 93)),
    )


def plain_development(rng: np.random.Generator) -> Development:
    """Lens and sensor alone: sRGB as it stands, no sharpening, hardly any JPEG."""
    return replace(
        random_development(rng), noise_grain_px=0.0, s_curve=0.0, sharpen=0.0, jpeg_quality=100
    )


def heavy_grime(rng: np.random.Generator) -> Grime:
    """Greasy, dusty or worn, at least two of them badly."""
    return Grime(
        smear=float(rng.uniform(0.4, 1.0)),
        edge_dust=float(rng.uniform(0.2, 0.9)),
        worn_edge=float(rng.uniform(0.2, 0.9)),
    )


def harsh_light(rng: np.random.Generator) -> Light:
    """Mostly lamps: glare on the plate in two pictures of three, a shadow in one of three."""
    shadow = float(rng.uniform(-3.0, 6.0)) if rng.random() < 1 / 3 else None
    return replace(
        random_light(rng),
        ambient=float(rng.uniform(0.15, 0.5)),
        torch=float(rng.uniform(0.3, 0.9)),
        glare=float(rng.uniform(0.4, 1.0)) if rng.random() < 2 / 3 else 0.0,
        shadow_above_sill_mm=shadow,
    )


def even_light(rng: np.random.Generator) -> Light:
    """The usual lamps, with neither glare nor shadow."""
    return replace(random_light(rng), glare=0.0, shadow_above_sill_mm=None)


@dataclass(frozen=True, slots=True)
class Zone:
    """What a case is drawn from. ``series`` tells the zones' random numbers apart."""

    series: int
    distance_mm: Range
    tilt_deg: Range
    #: Range of the gap, mm; None draws one characteristic near a limit.
    gap_mm: Range | None
    development: Callable[[np.random.Generator], Development] = random_development
    #: Grime and light; None leaves them to the scene.
    grime: Callable[[np.random.Generator], Grime] | None = None
    light: Callable[[np.random.Generator], Light] | None = None


ZONES = {
    "campaign": Zone(0, (160.0, 450.0), (0.0, 40.0), (0.25, 4.0)),
    "near-limit": Zone(1, (180.0, 350.0), (0.0, 25.0), None),
    "nominal": Zone(2, (180.0, 350.0), (0.0, 25.0), (0.35, 1.6)),
    "hard": Zone(
        3, (160.0, 450.0), (0.0, 45.0), (0.25, 4.0), noisy_development, heavy_grime, harsh_light
    ),
    "clean": Zone(
        4,
        (180.0, 350.0),
        (0.0, 25.0),
        (0.35, 1.6),
        plain_development,
        lambda _: Grime(),
        even_light,
    ),
}


@dataclass(frozen=True, slots=True)
class Case:
    scene: Scene
    camera: PhoneCamera


def random_case(
    seed: int,
    gauge: Gauge,
    frame: Frame,
    zone: str = "campaign",
    *,
    size_px: tuple[int, int] = (4000, 3000),
) -> Case:
    """The case number ``seed`` of a zone; ``size_px`` is that of a landscape picture."""
    ranges = ZONES[zone]
    rng = np.random.default_rng([seed, ranges.series])
    if ranges.gap_mm is None:
        scene = near_limit_scene(gauge, frame, rng)
    else:
        scene = random_scene(gauge, frame, rng, float(np.exp(rng.uniform(*np.log(ranges.gap_mm)))))
    if ranges.grime:
        scene = replace(scene, grime=ranges.grime(rng))
    if ranges.light:
        scene = replace(scene, light=ranges.light(rng))
    return Case(scene, random_camera(ranges, gauge, size_px, rng))


def random_camera(
    zone: Zone, gauge: Gauge, size_px: tuple[int, int], rng: np.random.Generator
) -> PhoneCamera:
    """A phone held by hand, landscape or portrait, that has the whole gauge in view."""
    width, height = size_px
    portrait = bool(rng.random() < 0.2)
    diagonal = hypot(width, height)
    development = zone.development(rng)
    if portrait:
        width, height = height, width
        development = replace(development, orientation=6)
    camera = PhoneCamera(
        width_px=width,
        height_px=height,
        distance_mm=float(rng.uniform(*zone.distance_mm)),
        tilt_deg=float(rng.uniform(*zone.tilt_deg)),
        azimuth_deg=float(rng.uniform(-180.0, 180.0)),
        roll_deg=float(rng.normal(0.0, 4.0)),
        aim_mm=(float(rng.normal(0.0, 15.0)), float(rng.normal(0.0, 12.0))),
        focal_px=float(rng.uniform(24.0, 28.0)) / FULL_FRAME_DIAGONAL_MM * diagonal,
        principal_offset_px=(
            float(rng.normal(0.0, 0.0032 * diagonal)),
            float(rng.normal(0.0, 0.0032 * diagonal)),
        ),
        k1=float(rng.normal(0.0, 0.008)),
        development=development,
    )
    return with_marks_in_view(camera, gauge)


def with_marks_in_view(camera: PhoneCamera, gauge: Gauge) -> PhoneCamera:
    """The same camera, aimed nearer to the middle and then moved back until all marks show."""
    for _ in range(60):
        if _marks_in_view(camera, gauge):
            return camera
        if hypot(*camera.aim_mm) > 2.0:
            x, y = camera.aim_mm
            camera = replace(camera, aim_mm=(0.6 * x, 0.6 * y))
        else:
            camera = replace(camera, distance_mm=1.04 * camera.distance_mm)
    raise ValueError("no distance shows all marks of the gauge")


def _marks_in_view(camera: PhoneCamera, gauge: Gauge) -> bool:
    half = gauge.marks.pad_mm / 2
    pads = [np.asarray(c) + CORNER_SIGNS * half for c in gauge.marks.centres_mm.values()]
    flat = np.concatenate(pads)
    seen = camera.project_px(np.column_stack([flat, np.zeros(len(flat))]))
    margin = MARGIN * camera.width_px
    size = np.array([camera.width_px, camera.height_px])
    return bool((seen >= margin).all() and (seen <= size - 1 - margin).all())
