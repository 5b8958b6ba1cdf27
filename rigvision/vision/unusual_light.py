"""How much less an edge is known whose light is unlike most that the network was shown.

Its own claim does not grow where a bright line runs along the edge (a polished round that
mirrors a lamp, a scratch close by), nor where the face is much brighter than the one across the
slot (a dark door, a shadow's border near its edge). The errors there do, alike at all stations.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.vision.slot_profiles import SlotProfiles


@dataclass(frozen=True, slots=True)
class UnusualTuning:
    """From what on light is unusual, and what that adds: measured on disturbed quick pictures."""

    line_mm: tuple[float, float] = (-0.1, 0.4)  # of face from the edge on, where a line may run
    face_mm: tuple[float, float] = (0.6, 1.25)  # where the face is as it is
    brighter_line: float = 1.3  # times the face; errors were 1.2 to 2.4 times those claimed
    line_radii: float = 0.15  # standard uncertainty, in radii of the edge
    brighter_face: float = 3.0  # times the other face; errors were 1.3 to 1.8 times those claimed
    face_radii: float = 0.25


def unusual_variance(
    profiles: SlotProfiles, edges_mm: FloatArray, tuning: UnusualTuning | None = None
) -> FloatArray:
    """Variance (2,), mm^2, of sill and door beyond what is claimed for ``edges_mm`` (S, 2)."""
    t = tuning or UnusualTuning()
    outwards = np.array([-1.0, 1.0])[:, None]
    away = outwards * (profiles.y_mm - edges_mm[:, :, None])  # (S, 2, N)
    light = np.broadcast_to(profiles.light[:, None], away.shape)
    face = _mean(light, away, t.face_mm)
    low, high = t.line_mm
    line = np.max(light, axis=2, initial=0.0, where=(away > low) & (away < high))
    bright_line = np.median(line / face, axis=0) > t.brighter_line
    bright_face = np.median(face / face[:, ::-1], axis=0) > t.brighter_face
    radii2 = bright_line * t.line_radii**2 + bright_face * t.face_radii**2
    return np.asarray(radii2 * profiles.radius_mm**2)


def _mean(light: FloatArray, away_mm: FloatArray, span_mm: tuple[float, float]) -> FloatArray:
    """Mean light (S, 2) of the face within a span off its edge."""
    inside = (away_mm > span_mm[0]) & (away_mm < span_mm[1]) & np.isfinite(light)
    total = np.where(inside, light, 0.0).sum(axis=2)
    return np.asarray(np.maximum(total / np.maximum(inside.sum(axis=2), 1), 1e-4))
