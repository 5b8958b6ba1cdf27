"""How much less an edge is known whose light is unlike what the network was shown.

Four cases in which it errs by more than it claims, alike at all stations:

- a face several times as bright as the one across the slot (a dark door, a face in deep shade);
- a line along the edge brighter than its face and cut off as sharply as the picture can show
  (worn to a mirror all round; path-traced rounds fade before they end, and are read as well as
  claimed however bright their lines);
- for both edges, a picture that shows the marks' borders as no phone of the training does
  (scaled down, smeared, sharpened hard);
- for both, the marks' white at the sensor's limit, where borders look sharper than they are.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.vision.edge_features import spread_shape
from rigvision.vision.edge_spread import EdgeSpread
from rigvision.vision.light_curve import DARKEST
from rigvision.vision.slot_profiles import BoolArray, SlotProfiles


@dataclass(frozen=True, slots=True)
class UnusualTuning:
    """From what on light is unusual, and what that adds."""

    face_mm: tuple[float, float] = (0.6, 1.25)  # off its edge, where a face is as it is
    # Times the other face. Measured on disturbed quick pictures: errors were 1.3 to 1.8 times
    # those claimed; on five path-traced samples 1.1 times.
    brighter: float = 3.0
    line_mm: tuple[float, float] = (-0.1, 0.35)  # off the edge, where a worn line lies
    # Times the face. Undisturbed quick pictures have up to 1.3; with worn edges errors were
    # twice those claimed.
    line_brighter: float = 1.5
    slot_mm: float = 0.5  # beyond the edge, where the darkest of the slot is
    # Of such a line's fall into the slot against a border's, from three quarters to a quarter.
    # Worn edges have 0.8 to 1.2, nine in ten of path-traced lines more than 1.05.
    sharpest_fall: float = 1.15
    line_radii: float = 0.2
    # Borders of 3000 phones as training draws them: 98 % overshoot by less, and are wider than
    # the least width, px from a quarter to three quarters, which falls with the overshoot.
    overshoot: float = 0.29
    least_width_px: float = 0.72
    width_per_overshoot_px: float = 2.0
    narrowest_px: float = 0.40
    white_blown: float = 0.5  # part of the marks' white at the sensor's limit
    radii: float = 0.15  # standard uncertainty in the other cases, in radii of the edge


def unusual_variance(
    profiles: SlotProfiles,
    edges_mm: FloatArray,
    white_blown: float = 0.0,
    tuning: UnusualTuning | None = None,
) -> FloatArray:
    """Variance (2,), mm^2, of sill and door beyond what is claimed for ``edges_mm`` (S, 2).

    ``white_blown``: part of the marks' white at the sensor's limit.
    """
    t = tuning or UnusualTuning()
    outwards = np.array([-1.0, 1.0])[:, None]
    away = outwards * (profiles.y_mm - edges_mm[:, :, None])  # (S, 2, N)
    light = np.broadcast_to(profiles.light[:, None], away.shape)
    face = np.maximum(_mean(light, away, t.face_mm), DARKEST)
    unlike = np.median(face / face[:, ::-1], axis=0) > t.brighter
    both = white_blown > t.white_blown or _unusual_spread(profiles.spread, t)
    line = np.median(_brightest(light, away, t.line_mm) / face, axis=0) > t.line_brighter
    if line.any():
        line &= _falls_px(profiles, away, t) < t.sharpest_fall * spread_shape(profiles.spread)[0]
    radii = np.maximum(t.radii * (unlike | both), t.line_radii * line)
    return np.asarray((radii * profiles.radius_mm) ** 2)


def _within(light: FloatArray, away_mm: FloatArray, span_mm: tuple[float, float]) -> BoolArray:
    low, high = span_mm
    return np.asarray((away_mm > low) & (away_mm < high) & np.isfinite(light))


def _mean(light: FloatArray, away_mm: FloatArray, span_mm: tuple[float, float]) -> FloatArray:
    """Mean light (S, 2) over a span off the edge."""
    inside = _within(light, away_mm, span_mm)
    total = np.where(inside, light, 0.0).sum(axis=2)
    return np.asarray(total / np.maximum(inside.sum(axis=2), 1))


def _brightest(light: FloatArray, away_mm: FloatArray, span_mm: tuple[float, float]) -> FloatArray:
    return np.asarray(np.where(_within(light, away_mm, span_mm), light, 0.0).max(axis=2))


def _falls_px(profiles: SlotProfiles, away_mm: FloatArray, t: UnusualTuning) -> FloatArray:
    """How far (2,) the line of sill and door takes to fall into the slot, at the median station,
    were it as much in focus as the marks' borders.
    """
    per_mm = profiles.px_per_mm / profiles.focus
    rows = zip(profiles.light, away_mm, per_mm, strict=True)
    falls = [[_fall_mm(v, a, t) * k for a in sides] for v, sides, k in rows]
    return np.asarray(np.median(falls, axis=0))


def _fall_mm(light: FloatArray, away_mm: FloatArray, t: UnusualTuning) -> float:
    """Distance from three quarters to a quarter between a line's peak and the slot."""
    near = np.flatnonzero(_within(light, away_mm, (-t.slot_mm, t.line_mm[1])))
    if len(near) < 4:
        return np.inf
    outwards = near[np.argsort(away_mm[near])]
    value, away = light[outwards], away_mm[outwards]
    peak = int(np.argmax(np.where(away > t.line_mm[0], value, -np.inf)))
    rise = np.maximum.accumulate(value[int(np.argmin(value[: peak + 1])) : peak + 1])
    if len(rise) < 2:
        return np.inf
    levels = rise[0] + np.array([0.25, 0.75]) * (rise[-1] - rise[0])
    quarter, three = np.interp(levels, rise, away[peak - len(rise) + 1 : peak + 1])
    return float(three - quarter)


def _unusual_spread(spread: EdgeSpread, t: UnusualTuning) -> bool:
    width_px, over, _ = spread_shape(spread)
    least_px = max(t.narrowest_px, t.least_width_px - t.width_per_overshoot_px * over)
    return over > t.overshoot or width_px < least_px
