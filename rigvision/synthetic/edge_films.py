"""Fields that lie along the gap's two edges, and shapes to draw in them."""

from __future__ import annotations

from math import atan, degrees

import numpy as np

from rigvision.synthetic.film import F32, Field
from rigvision.synthetic.scene import Scene
from rigvision.world.frame import Frame
from rigvision.world.model import Point, Range


def along_sill(
    scene: Scene, frame: Frame, y_mm: Range, step_mm: Point = (0.1, 0.02), z_mm: float | None = None
) -> Field:
    """A field with x along the sill's edge and y from it towards the door."""
    origin = scene.gauge_from_frame(frame, 0.0, frame.sill.edge_y_mm)
    return Field(_span(frame), y_mm, step_mm, origin, scene.sill_tilt_deg, z_mm)


def along_door(
    scene: Scene, frame: Frame, y_mm: Range, step_mm: Point = (0.1, 0.02), z_mm: float | None = None
) -> Field:
    """A field with x along the door's edge and y from it into the door."""
    gap_mm = scene.gap_at_origin_mm(frame)
    origin = scene.gauge_from_frame(frame, 0.0, frame.sill.edge_y_mm + gap_mm)
    angle_deg = scene.sill_tilt_deg + degrees(atan(scene.taper_slope(frame)))
    return Field(_span(frame), y_mm, step_mm, origin, angle_deg, z_mm)


def _span(frame: Frame) -> Range:
    """Well past both ends of the door."""
    low, high = frame.door.span_x_mm
    return low - 5.0, high + 5.0


def ramp(value: F32, width: float) -> F32:
    """From 0 to 1 as a value goes from minus half a width to plus half of it."""
    return np.asarray(np.clip(value / np.float32(max(width, 1e-6)) + 0.5, 0.0, 1.0), np.float32)


def stretch(x: F32, low: float, high: float, width: float) -> F32:
    """1 between two places, 0 outside, with soft ends."""
    return ramp(x - np.float32(low), width) * ramp(np.float32(high) - x, width)


def bell(value: F32, sigma: float) -> F32:
    return np.asarray(np.exp(-0.5 * (value / np.float32(sigma)) ** 2), np.float32)


def uneven(x: F32, rng: np.random.Generator, period_mm: float) -> F32:
    """A smooth random curve of x between 0 and 1."""
    phases = rng.uniform(0, 2 * np.pi, 4)
    waves = [
        np.sin(x * np.float32(2 * np.pi * n / period_mm) + np.float32(p))
        for n, p in zip((1.0, 1.7, 2.9, 4.3), phases, strict=True)
    ]
    return np.asarray(0.5 + 0.5 * np.mean(waves, axis=0), np.float32)
