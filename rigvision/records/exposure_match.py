"""Whether two pictures can be copies of one exposure: by the figure that the marks form.

Cutting, scaling, stretching, turning and recompressing map it affinely, whatever became of the
focal length and the picture's middle. A camera that was moved by a millimetre or two does not: seen
from elsewhere, what is near grows more than what is far.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, log10

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.records.bodies import Likeness


@dataclass(frozen=True, slots=True)
class ExposureTuning:
    # A mark's middle is read to so much, JPEG, blur and a resampled picture included: on 16 sorts
    # of copies of ten synthetic photos the shapes were apart by a tenth to half of it.
    middle_px: float = 0.05
    # A second photo held by hand stands so far off the first, along each axis. No source.
    hand_mm: float = 40.0
    # By how much the shape changes, relative to the figure's radius, along either of two
    # directions, for a camera moved by its own distance along each axis: simulated for cameras of
    # the synthetic "nominal" zone, of which it leaves the distribution as Rayleigh's.
    shape_per_distance: float = 0.135
    contradiction: float = 0.001  # probability of a shape as different by chance
    least_marks: int = 5


@dataclass(frozen=True, slots=True)
class ExposureMatch:
    """``apart`` is the shapes' difference (RMS) over the marks' distance from their middle, and
    ``uncertainty`` what reading them makes of it; ``decades`` speak for one exposure against
    another held by hand, of which the part ``chance`` fits as well.
    """

    apart: float
    uncertainty: float
    fits: bool
    decades: float
    chance: float


def match_exposures(
    one: Likeness, other: Likeness, tuning: ExposureTuning | None = None
) -> ExposureMatch | None:
    """None where too few marks are whole in both pictures."""
    t = tuning or ExposureTuning()
    common = sorted(one.marks_px.keys() & other.marks_px.keys())
    if len(common) < t.least_marks:
        return None
    figures = [_figure(likeness, common) for likeness in (one, other)]
    radii = [float(np.sqrt(np.mean(np.sum(f**2, axis=1)))) for f in figures]
    if min(np.linalg.matrix_rank(f) for f in figures) < 2:
        return None
    uncertainty = t.middle_px * float(np.hypot(1.0 / radii[0], 1.0 / radii[1]))
    apart = _difference(*figures)
    hand = t.shape_per_distance * t.hand_mm / float(np.linalg.norm(one.camera_mm))
    hand = float(np.hypot(hand, uncertainty))
    # Two directions in which a shape changes: both distances are Rayleigh's.
    square = 0.5 * apart**2
    exponent = square / uncertainty**2 - square / hand**2
    decades = 2.0 * log10(hand / uncertainty) - exponent / np.log(10.0)
    limit_square = -2.0 * uncertainty**2 * np.log(t.contradiction)
    chance = 1.0 - exp(-0.5 * limit_square / hand**2)
    return ExposureMatch(apart, uncertainty, apart**2 <= limit_square, float(decades), chance)


def _figure(likeness: Likeness, marks: list[str]) -> FloatArray:
    """Places (M, 2) from their middle."""
    places = np.array([likeness.marks_px[mark] for mark in marks])
    return np.asarray(places - places.mean(axis=0))


def _difference(one: FloatArray, other: FloatArray) -> float:
    """What is left over, relative to its size, of one figure mapped affinely onto the other.

    Figures that map affinely onto each other span one plane in the space of M coordinates: what
    counts is the angles between their planes, the same whichever is mapped (canonical
    correlations).
    """
    planes = [np.linalg.qr(figure)[0] for figure in (one, other)]
    cosines_square = float(np.sum((planes[0].T @ planes[1]) ** 2))
    return float(np.sqrt(max(2.0 - cosines_square, 0.0) / 2.0))
