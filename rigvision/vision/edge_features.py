"""What a broken edge looks like from one side, as numbers for the network that reads it.

Everything is counted in radii of the edge and in parts of the face's brightness, so that one
network serves every frame. The axis v runs square to the edge, from its face into the slot, in
the plane of the tangent lines: along +y for the sill and along -y for the door, which is the
sill's mirror image.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.vision.edge_spread import SPREAD_PX, EdgeSpread

#: Where the profile is sampled, in radii from the starting place.
SAMPLES_RADII = np.arange(-5.0, 5.01, 0.2)
FACE_RADII = (-5.0, -1.6)  # of the samples: surely face, whatever the start's error
DARKEST = 0.01  #: parts of the face's brightness told apart at the dark end
BRIGHTEST = 4.0
WIDEST_RADII = 9.0  #: beyond this the other edge is out of sight


@dataclass(frozen=True, slots=True)
class EdgeProfiles:
    """E broken edges, each along its own axis v."""

    first: FloatArray  # (E,) v of the first sample
    step: float  # of the samples
    light: FloatArray  # (E, N) linear light; NaN only at the ends
    error: FloatArray  # (E,) standard error of the light on the face
    radius: float  # same unit as v
    px_per_unit: FloatArray  # (E,)
    slope: FloatArray  # (E,) dv/dw of the line of sight, w out of the face
    own_depth: FloatArray  # (E,) thickness of the body whose edge this is
    other_depth: FloatArray  # (E,)
    spread: EdgeSpread  # of the marks' borders
    focus: FloatArray  # (E,) blur at the edge over that of the marks' borders


def edge_features(profiles: EdgeProfiles, start: FloatArray, other: FloatArray) -> FloatArray:
    """Features (E, F) of edges believed to be near ``start`` (E,), the other edge at ``other``."""
    light = _sampled(profiles, start)
    low, high = FACE_RADII
    on_face = (low <= SAMPLES_RADII) & (high >= SAMPLES_RADII)
    face = np.maximum(np.median(light[:, on_face], axis=1), 1e-4)
    part = np.clip(light / face[:, None], DARKEST, BRIGHTEST)
    width, over, under = spread_shape(profiles.spread)
    px_per_radius = profiles.px_per_unit * profiles.radius
    gap = np.clip((other - start) / profiles.radius, 0.0, WIDEST_RADII)
    alone = np.ones(len(start))
    scalars = (
        profiles.slope,
        np.abs(profiles.slope),
        np.log(px_per_radius),
        np.log(width * profiles.focus / px_per_radius),
        over * alone,
        under * alone,
        np.log(face),
        gap,
        np.log(profiles.own_depth / profiles.radius),
        np.log(profiles.other_depth / profiles.radius),
        np.log(np.clip(profiles.error / face, 1e-4, 1.0)),
    )
    return np.concatenate([part, np.log(part), np.stack(scalars, axis=1)], axis=1)


def spread_shape(spread: EdgeSpread) -> tuple[float, float, float]:
    """Width of a true step from a quarter to three quarters, px, and how far it over- and
    undershoots, as parts of the step.
    """
    far = np.abs(SPREAD_PX) > 5.0
    dark = float(np.mean(spread.response[far & (SPREAD_PX < 0)]))
    bright = float(np.mean(spread.response[far & (SPREAD_PX > 0)]))
    response = (spread.response - dark) / (bright - dark)
    middle = len(SPREAD_PX) // 2
    rise = np.maximum.accumulate(response[middle - 16 : middle + 17])
    x = SPREAD_PX[middle - 16 : middle + 17]
    rise = rise + 1e-9 * np.arange(len(rise))
    quarter, three = np.interp([0.25, 0.75], rise, x)
    return (
        float(max(three - quarter, 0.2)),
        float(max(response.max() - 1.0, 0.0)),
        float(min(response.min(), 0.0)),
    )


def _sampled(profiles: EdgeProfiles, start: FloatArray) -> FloatArray:
    """Light (E, K) at the samples around each start; the last value in view beyond the view."""
    at = start[:, None] + profiles.radius * SAMPLES_RADII
    index = (at - profiles.first[:, None]) / profiles.step
    seen = np.isfinite(profiles.light)
    lowest = seen.argmax(axis=1)[:, None]
    highest = (seen.shape[1] - 1 - seen[:, ::-1].argmax(axis=1))[:, None]
    index = np.clip(index, lowest, highest - 1e-6)
    whole = np.floor(index).astype(int)
    rest = index - whole
    rows = np.arange(len(start))[:, None]
    below, above = profiles.light[rows, whole], profiles.light[rows, whole + 1]
    return np.asarray(below + rest * (above - below))
