"""Disturbances of the view: where the phone is held, and its lens."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from .disturbed import Circumstances, Disturbance, lens, marks_outside, viewed, whole_gauge
from .shots import Shot


def _far(shot: Shot, c: Circumstances) -> Shot:
    return viewed(shot, distance_mm=c.of(480.0, 700.0, 1100.0) * c.between(0.93, 1.07))


def _oblique(shot: Shot, c: Circumstances) -> Shot:
    view = replace(
        shot.view,
        tilt_deg=c.of(36.0, 46.0, 60.0) + c.between(-2, 2),
        distance_mm=c.between(200, 280),
    )
    return replace(shot, view=whole_gauge(view, c.rig))


def _wide_lens(shot: Shot, c: Circumstances) -> Shot:
    focal, near, k1 = c.of((16, 130.0, -0.02), (14, 105.0, -0.03), (13, 80.0, -0.04))
    return replace(shot, view=lens(shot.view, focal, near, k1, c.rig))


def _cut_off(shot: Shot, c: Circumstances) -> Shot:
    """Aimed away until so many marks are outside, some random way or else any that does."""
    wanted = c.of((1,), (2, 3), (4, 5))
    near = replace(shot.view, distance_mm=min(shot.view.distance_mm, c.between(190, 240)))
    start = c.between(0, 2 * np.pi)
    for way in start + np.radians(np.arange(0, 360, 7.0)):
        for away in np.arange(0, 140, 1.5):
            aim = (float(away * np.cos(way)), float(away * np.sin(way)))
            view = replace(near, aim_mm=aim)
            if len(marks_outside(view, c.rig)) in wanted:
                return replace(shot, view=view)
    raise ValueError("no aim leaves so many marks outside the picture")


VIEW = (
    Disturbance(
        name="far",
        strengths=("480 mm away", "700 mm", "1100 mm"),
        accepted_codes=("too-far", "no-gauge", "too-few-marks", "uncertainty-too-large"),
        change=_far,
    ),
    Disturbance(
        name="oblique",
        strengths=("36 deg off square", "46 deg", "60 deg"),
        accepted_codes=("too-oblique", "no-gauge", "too-few-marks", "edge-hidden", "yoke-hidden"),
        change=_oblique,
    ),
    Disturbance(
        name="wide-lens",
        strengths=(
            "16 mm equivalent, k1 -0.02, from about 130 mm",
            "14 mm, k1 -0.03, about 105 mm",
            "13 mm, k1 -0.04, about 80 mm",
        ),
        accepted_codes=("marks-disagree", "uncertainty-too-large", "too-few-marks", "too-oblique"),
        change=_wide_lens,
    ),
    Disturbance(
        name="cut-off",
        strengths=("1 mark of 8 outside", "2 or 3 marks", "4 or 5 marks"),
        accepted_codes=(
            "gauge-cut-off",
            "too-few-marks",
            "no-gauge",
            "edge-hidden",
            "yoke-hidden",
            "uncertainty-too-large",
        ),
        change=_cut_off,
    ),
)
