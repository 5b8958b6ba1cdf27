"""How sharp the picture is at each depth, as the blur of the marks' borders tells.

A thin lens blurs a point by an amount that grows with the difference of its inverse depth from
that of the plane in focus; the rest of the blur is the same everywhere. So the variance of the
blur is a parabola in the inverse depth. Seen at an angle, the marks stand at many depths, and
the plane of the edges lies among them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.vision.view import View


@dataclass(frozen=True, slots=True)
class FocusTuning:
    """Beliefs before any mark is looked at, as standard deviations."""

    reading_px2: float = 0.06  # of one mark's blur variance
    level_px2: float = 3.0
    # Change of the variance over a depth step of ``step``, slope and bend.
    slope_px2: float = 0.25
    bend_px2: float = 0.25
    step: float = 0.05
    least_part: float = 0.6  # of the sharpest mark's blur: nothing is believed sharper


@dataclass(frozen=True, slots=True)
class Focus:
    """Variance of the blur, px^2: level + slope s + bend s^2, s in steps of inverse depth."""

    coefficients: FloatArray  # (3,)
    inverse_depth: float  # at which s = 0
    step: float
    least_px2: float
    most_px2: float

    def blur_px(self, view: View, points_mm: FloatArray) -> FloatArray:
        """Sigma (N,) of the blur at points (N, 3) in gauge axes."""
        s = (1.0 / _depths(view, points_mm) / self.inverse_depth - 1.0) / self.step
        level, slope, bend = self.coefficients
        variance = level + slope * s + bend * s * s
        return np.asarray(np.sqrt(np.clip(variance, self.least_px2, self.most_px2)))


def find_focus(
    view: View, centres_mm: FloatArray, blur_px: FloatArray, tuning: FocusTuning | None = None
) -> Focus:
    """Focus from marks at ``centres_mm`` (M, 3) whose borders are blurred by ``blur_px`` (M,)."""
    tuning = tuning or FocusTuning()
    inverse = 1.0 / _depths(view, centres_mm)
    middle = float(inverse.mean())
    s = (inverse / middle - 1.0) / tuning.step
    variance = blur_px**2
    design = np.column_stack([np.ones_like(s), s, s * s])
    prior = np.array([float(np.median(variance)), 0.0, 0.0])
    spread = np.array([tuning.level_px2, tuning.slope_px2, tuning.bend_px2])
    # A mark in shadow or under grease reads blurred: far residuals count less (Cauchy).
    weights = np.ones_like(s)
    solved = prior
    for _ in range(4):
        normal = (design.T * weights) @ design / tuning.reading_px2**2 + np.diag(spread**-2)
        pull = (design.T * weights) @ variance / tuning.reading_px2**2 + prior / spread**2
        solved = np.linalg.solve(normal, pull)
        residual = (variance - design @ solved) / tuning.reading_px2
        weights = 1.0 / (1.0 + (residual / 2.4) ** 2)
    return Focus(
        np.array([solved[0], solved[1], max(float(solved[2]), 0.0)]),
        middle,
        tuning.step,
        float((tuning.least_part * blur_px.min()) ** 2),
        float(blur_px.max() ** 2),
    )


def _depths(view: View, points_mm: FloatArray) -> FloatArray:
    """Distance (N,) along the optical axis."""
    return np.asarray((points_mm @ view.rotation.T + view.translation_mm)[:, 2])
