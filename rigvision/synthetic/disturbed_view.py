"""Disturbances of the view: where the phone is held, and what lens it looks through."""

from __future__ import annotations

from dataclasses import replace
from math import cos, radians, sin

import numpy as np

from rigvision.ground.conventions import CORNER_SIGNS, FULL_FRAME_DIAGONAL_MM
from rigvision.synthetic.camera import PhoneCamera
from rigvision.synthetic.case import Case, with_marks_in_view
from rigvision.synthetic.staging import Circumstances, Disturbance
from rigvision.world.gauge import Gauge


def _far(case: Case, c: Circumstances) -> Case:
    distance_mm = c.of(480.0, 700.0, 1100.0) * c.between(0.9, 1.1)
    return replace(case, camera=replace(case.camera, distance_mm=distance_mm))


def _oblique(case: Case, c: Circumstances) -> Case:
    tilt_deg = c.of(36.0, 46.0, 60.0) + c.between(-2.0, 2.0)
    camera = replace(case.camera, tilt_deg=tilt_deg, distance_mm=c.between(200.0, 300.0))
    return replace(case, camera=with_marks_in_view(camera, c.gauge))


def _wide(case: Case, c: Circumstances) -> Case:
    camera = case.camera
    diagonal_px = float(np.hypot(camera.width_px, camera.height_px))
    k1 = c.of(-0.02, -0.05, -0.10) * c.between(0.8, 1.2)
    camera = replace(
        camera,
        focal_px=c.of(16.0, 14.0, 13.0) / FULL_FRAME_DIAGONAL_MM * diagonal_px,
        k1=k1,
        k2=-0.1 * k1,
        distance_mm=c.of(130.0, 105.0, 80.0) * c.between(0.95, 1.1),
        aim_mm=(0.3 * camera.aim_mm[0], 0.3 * camera.aim_mm[1]),
    )
    return replace(case, camera=with_marks_in_view(camera, c.gauge))


def marks_outside(camera: PhoneCamera, gauge: Gauge) -> set[int]:
    """Ids of the plate's marks that the picture does not show whole."""
    size = np.array([camera.width_px, camera.height_px])
    outside = set()
    for mark, centre in gauge.marks.centres_mm.items():
        flat = np.asarray(centre) + CORNER_SIGNS * gauge.marks.size_mm / 2
        seen = camera.project_px(np.column_stack([flat, np.zeros(4)]))
        if not ((seen > 0) & (seen < size - 1)).all():
            outside.add(mark)
    return outside


def _cut_off(case: Case, c: Circumstances) -> Case:
    """Aimed away until so many marks are outside: first a random way, then any way that does."""
    wanted = c.of((1,), (2, 3), (4, 5))
    # From afar it takes long to lose a mark, and then many at once.
    camera = replace(case.camera, distance_mm=min(case.camera.distance_mm, c.between(190.0, 240.0)))
    start_deg = c.between(0.0, 360.0)
    for turn_deg in np.arange(0.0, 360.0, 7.0):
        way = radians(start_deg + turn_deg)
        for away_mm in np.arange(0.0, 140.0, 1.5):
            aimed = replace(camera, aim_mm=(away_mm * cos(way), away_mm * sin(way)))
            if len(marks_outside(aimed, c.gauge)) in wanted:
                return replace(case, camera=aimed)
    raise ValueError("no aim leaves so many marks outside the picture")


VIEW = (
    Disturbance(
        name="far",
        says="The phone is held too far away, and the gauge is small in the picture.",
        strengths=("480 mm away", "700 mm away", "1100 mm away"),
        accepted_codes=("too-far", "no-gauge", "too-few-marks", "uncertainty-too-large"),
        scene=_far,
    ),
    Disturbance(
        name="oblique",
        says="The phone looks at the gauge from the side.",
        strengths=("36 deg off square", "46 deg off square", "60 deg off square"),
        accepted_codes=("too-oblique", "no-gauge", "too-few-marks", "edge-hidden", "yoke-hidden"),
        scene=_oblique,
    ),
    Disturbance(
        name="wide-lens",
        says="The wide or macro lens was taken: near, wide and bent.",
        strengths=(
            "16 mm equivalent, k1 -0.02, from about 130 mm",
            "14 mm equivalent, k1 -0.05, from about 105 mm",
            "13 mm equivalent, k1 -0.10, from about 80 mm",
        ),
        accepted_codes=("marks-disagree", "uncertainty-too-large", "too-few-marks", "too-oblique"),
        scene=_wide,
    ),
    Disturbance(
        name="cut-off",
        says="The picture's border cuts the gauge off.",
        strengths=("1 mark of 8 outside", "2 or 3 marks outside", "4 or 5 marks outside"),
        accepted_codes=(
            "gauge-cut-off",
            "too-few-marks",
            "no-gauge",
            "edge-hidden",
            "yoke-hidden",
            "uncertainty-too-large",
        ),
        scene=_cut_off,
    ),
)
