"""Light along a line as one smooth random curve, whatever shading it stands for.

What is sharper than the curve can bend stands out from it: whitened, the curve is noise of
unit spread, and a step or bend of given place is a known signal in it. All strengths are
standard deviations believed beforehand, as parts of the local light.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigvision.ground.conventions import FloatArray

#: Linear light, far below the darkest code of an 8-bit picture (1 / 255 / 12.92 = 3e-4).
DARKEST = 3e-5
#: Sum of squares of whitened light: far below what rounding to codes leaves, above the nothing
#: of a wholly black strip.
LEAST_MISFIT = 1e-9


@dataclass(frozen=True, slots=True)
class CurveTuning:
    """How light may go along a line where no border is."""

    curve: float = 0.5  # of the smooth curve, and the length over which it may bend
    curve_mm: float = 0.4
    line: float = 1.0  # of the straight part under it, per mm
    level: float = 3.0
    texture: float = 0.02  # grain and scratches that averaging leaves, and their size
    texture_mm: float = 0.12
    noise: float = 0.006
    local_mm: float = 0.5  # over which light is averaged to say what is a part of it
    local_floor: float = 0.3  # of the whole window's mean, added to that average


class LightCurve:
    """The curve at places ``x_mm`` (S,). ``borders`` (S, B) are shapes of borders whose strength
    is unknown and of no interest.
    """

    def __init__(
        self, x_mm: FloatArray, tuning: CurveTuning, borders: FloatArray | None = None
    ) -> None:
        t = self._tuning = tuning
        apart = np.abs(x_mm[:, None] - x_mm[None, :])
        near = np.sqrt(5.0) * apart / t.curve_mm  # Matern's covariance of order 5/2
        covariance = t.curve**2 * (1.0 + near + near**2 / 3.0) * np.exp(-near)
        covariance += t.texture**2 * np.exp(-apart / t.texture_mm)
        middle = x_mm - x_mm.mean()
        covariance += t.level**2 + t.line**2 * middle[:, None] * middle[None, :]
        covariance += t.noise**2 * np.eye(len(x_mm))
        if borders is not None:
            covariance += borders @ borders.T
        self.whiten = np.asarray(np.linalg.inv(np.linalg.cholesky(covariance)))
        local = np.exp(-0.5 * (apart / t.local_mm) ** 2)
        self._local = local / local.sum(axis=1, keepdims=True)

    def white(self, light: FloatArray) -> FloatArray:
        """Light (S, K) as parts of the local light, whitened."""
        t = self._tuning
        level = self._local @ light + t.local_floor * light.mean(axis=0)
        # Black is possible.
        return np.asarray(self.whiten @ (light / (level + DARKEST)))
