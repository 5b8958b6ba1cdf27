"""Where a barrel's limb gives way to what lies behind it, told from shading by sharpness.

Light across a limb is a smooth curve, and on top of it what only an outline can bring: a step,
a bend, and the root-like fall of a round surface that turns away, each as sharp as the
picture's own blur and all of unknown strength. How likely each place of the outline is then
follows in closed form. Where nothing sharp is seen, as on a dark limb before a dark pocket,
all places stay about as likely as each other, and the reading says so by its width.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.vision.light_curve import LEAST_MISFIT, CurveTuning, LightCurve

#: Cells of the grid on which shapes are blurred, for one sigma of the blur.
CELLS_PER_BLUR = 3


@dataclass(frozen=True, slots=True)
class LimbTuning:
    """Strengths are standard deviations believed beforehand, as parts of the local light."""

    curve: CurveTuning = field(default_factory=lambda: CurveTuning(curve_mm=0.35, local_floor=0.1))
    curve_blurs: float = 5.0  # length over which the curve bends, at least, in sigmas of the blur
    # Part of the blur of the marks' borders that an outline is taken to have: the full blur lets
    # shading that is nearly as sharp pass for one (measured on path-traced pictures).
    blur_part: float = 0.85
    step: float = 0.4
    bend: float = 0.4  # per mm
    fall: float = 0.5  # per radian of the surface's turning away, and per square radian
    sample_weight: float = 0.3  # of a pixel as evidence: neighbours share pixels and grain
    waviness_mm: float = 0.012  # dirt and burrs move one segment's outline by so much
    stray: float = 0.03  # probability that a segment shows another border than the outline


class LimbModel:
    """Likelihood of an outline at each of ``places_mm`` (P,) for light at ``s_mm`` (S,).

    ``s_mm`` grows outwards; ``blur_mm`` is the sigma of the picture's own blur.
    """

    def __init__(
        self,
        s_mm: FloatArray,
        places_mm: FloatArray,
        blur_mm: float,
        radius_mm: float,
        tuning: LimbTuning | None = None,
    ) -> None:
        self._tuning = tuning or LimbTuning()
        # A curve that bends as fast as the picture's blur would pass for any border.
        t = self._tuning
        length_mm = float(np.hypot(t.curve.curve_mm, t.curve_blurs * blur_mm))
        self._curve = LightCurve(s_mm, replace(t.curve, curve_mm=length_mm))
        own_blur_mm = self._tuning.blur_part * blur_mm
        parts = self._sharp_parts(s_mm[None, :] - places_mm[:, None], own_blur_mm, radius_mm)
        design = self._curve.whiten @ parts
        turned = np.swapaxes(design, 1, 2)
        normal = turned @ design + np.eye(design.shape[2])
        self._volume = np.linalg.slogdet(normal)[1]
        self._explained = np.linalg.solve(np.linalg.cholesky(normal), turned)
        apart = (places_mm[:, None] - places_mm[None, :]) / self._tuning.waviness_mm
        spread = np.exp(-0.5 * apart**2)
        self._wavy = spread / spread.sum(axis=1, keepdims=True)

    def log_likelihood(self, light: FloatArray) -> FloatArray:
        """Of the outline at each place (P, K), for profiles (S, K); 0 is the mean of a profile."""
        t = self._tuning
        white = self._curve.white(light)
        misfit = np.sum(white**2, axis=0) - np.sum((self._explained @ white) ** 2, axis=1)
        # The curve's strength is known but roughly: a factor common to all is integrated out.
        # Wholly black profiles leave nothing over, wherever the outline is put.
        doubt = len(light) * np.log(np.maximum(misfit, LEAST_MISFIT)) + self._volume[:, None]
        density = self._wavy @ np.exp(-0.5 * t.sample_weight * (doubt - doubt.min(axis=0)))
        density /= density.mean(axis=0)
        return np.asarray(np.log((1.0 - t.stray) * density + t.stray))

    def _sharp_parts(self, beyond_mm: FloatArray, blur_mm: float, radius_mm: float) -> FloatArray:
        """Step, bend and falls (..., 4) as the picture shows them, ``beyond_mm`` the outline."""
        t = self._tuning
        cell = blur_mm / CELLS_PER_BLUR
        reach = float(np.abs(beyond_mm).max()) + 4.0 * blur_mm
        grid = np.arange(-reach, reach, cell)
        inside = np.clip(0.5 - grid / cell, 0.0, 1.0)
        turned = np.arccos(np.clip(1.0 + np.minimum(grid, 0.0) / radius_mm, -1.0, 1.0))
        parts = [
            t.step * (1.0 - inside),
            t.bend * np.maximum(grid, 0.0),
            t.fall * turned * inside,
            t.fall * turned**2 * inside,
        ]
        from_middle = np.arange(-4 * CELLS_PER_BLUR, 4 * CELLS_PER_BLUR + 1)
        kernel = np.exp(-0.5 * (from_middle / CELLS_PER_BLUR) ** 2)
        kernel /= kernel.sum()
        seen = [np.interp(beyond_mm, grid, np.convolve(p, kernel, "same")) for p in parts]
        return np.stack(seen, axis=-1)
