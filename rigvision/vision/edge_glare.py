"""Where along the gap glare covers an edge: which stretches are at the sensor's limit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.photo.picture import Picture
from rigvision.vision.sampling import light_at, visible_through_window
from rigvision.vision.slot_profiles import edge_plane_z_mm
from rigvision.vision.view import View
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge

Span = tuple[float, float]


@dataclass(frozen=True, slots=True)
class GlareTuning:
    step_mm: float = 0.5  # along the edge
    beside_mm: tuple[float, ...] = (0.1, 0.25, 0.4, 0.55, 0.7)  # of face, before the edge
    clipped_part: float = 0.5  # of those places at the limit, and glare covers the edge there
    shortest_mm: float = 1.0  # smaller spots are grains and glints
    join_mm: float = 2.0  # gaps between spots of one glare


def edge_glare(
    picture: Picture,
    view: View,
    gauge: Gauge,
    frame: Frame,
    lines: FloatArray,
    limit: float,
    tuning: GlareTuning | None = None,
) -> tuple[Span, ...]:
    """Stretches (from, to) along x, mm, in which the face beside either edge is over ``limit``.

    ``lines`` (2, 2) are intercept and slope of sill and door.
    """
    t = tuning or GlareTuning()
    x = np.arange(*frame.door.span_x_mm, t.step_mm)
    outwards = np.array([-1.0, 1.0])[:, None, None]  # from the slot into the face
    points = np.zeros((2, len(x), len(t.beside_mm), 3))
    points[..., 0] = x[:, None]
    points[..., 1] = lines[:, :1, None] + lines[:, 1:, None] * x[:, None]
    points[..., 1] += outwards * np.array(t.beside_mm)
    points[..., 2] = edge_plane_z_mm(frame)
    light = light_at(picture, view, points)
    windows = gauge.windows
    seen = visible_through_window(points, view, gauge, windows.gap_x_mm, windows.gap_y_mm)
    clipped = np.mean(seen & (light > limit), axis=2) >= t.clipped_part
    return _spans(x[clipped.any(axis=0)], t)


def _spans(x_mm: FloatArray, t: GlareTuning) -> tuple[Span, ...]:
    """Runs of neighbouring places."""
    if not len(x_mm):
        return ()
    ends = np.flatnonzero(np.diff(x_mm) > t.join_mm)
    runs = zip(np.concatenate([[0], ends + 1]), np.append(ends, len(x_mm) - 1), strict=True)
    spans = [(float(x_mm[a]), float(x_mm[b])) for a, b in runs]
    return tuple(span for span in spans if span[1] - span[0] >= t.shortest_mm)
