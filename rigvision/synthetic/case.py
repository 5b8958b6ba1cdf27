"""Random cases: a scene and a camera, drawn from a zone, with all marks in the picture."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import hypot

import numpy as np

from rigvision.ground.conventions import CORNER_SIGNS, FULL_FRAME_DIAGONAL_MM
from rigvision.synthetic.camera import Development, PhoneCamera
from rigvision.synthetic.scene import Scene, random_scene
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge
from rigvision.world.model import Range

#: Half width of the band around each gap limit in the zone ``near-limit``, mm.
NEAR_LIMIT_MM = 0.15
#: Share of the picture's width kept free around the marks.
MARGIN = 0.01


@dataclass(frozen=True, slots=True)
class Zone:
    """Ranges that a case is drawn from."""

    distance_mm: Range
    tilt_deg: Range
    #: Range of the gap, mm; None draws near one of the limits.
    gap_mm: Range | None


ZONES = {
    "campaign": Zone((160.0, 450.0), (0.0, 40.0), (0.25, 4.0)),
    "nominal": Zone((180.0, 350.0), (0.0, 25.0), (0.35, 1.6)),
    "near-limit": Zone((180.0, 350.0), (0.0, 25.0), None),
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
    rng = np.random.default_rng([seed, sorted(ZONES).index(zone)])
    ranges = ZONES[zone]
    scene = random_scene(gauge, frame, rng, _random_gap_mm(ranges, frame, rng))
    return Case(scene, random_camera(ranges, gauge, size_px, rng))


def _random_gap_mm(zone: Zone, frame: Frame, rng: np.random.Generator) -> float:
    if zone.gap_mm is None:
        limit = rng.choice([frame.gap.lower_mm, frame.gap.upper_mm])
        return max(0.05, float(limit + rng.uniform(-NEAR_LIMIT_MM, NEAR_LIMIT_MM)))
    low, high = zone.gap_mm
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def random_camera(
    zone: Zone, gauge: Gauge, size_px: tuple[int, int], rng: np.random.Generator
) -> PhoneCamera:
    """A phone held by hand, landscape or portrait, that has the whole gauge in view."""
    width, height = size_px
    portrait = bool(rng.random() < 0.2)
    diagonal = hypot(width, height)
    development = random_development(rng)
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
