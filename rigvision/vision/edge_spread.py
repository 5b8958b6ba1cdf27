"""How a picture shows a true step of brightness, as its marks' printed borders tell."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigvision.ground.conventions import FloatArray

#: Bins of the measured edge-spread function, px from the border, dark to light.
SPREAD_PX = np.arange(-8.0, 8.01, 0.25)


@dataclass(frozen=True, slots=True)
class EdgeSpread:
    """How this picture shows a true step from dark (0) to light (1): lens, focus, sharpening.

    ``response`` holds the brightness at the distances ``SPREAD_PX`` from the step.
    """

    response: FloatArray

    def rising(self, distance_px: FloatArray) -> FloatArray:
        """Response to a step from dark to light at distance 0."""
        return np.interp(distance_px, SPREAD_PX, self.response)

    def falling(self, distance_px: FloatArray) -> FloatArray:
        """One minus the response to a step from light to dark at distance 0."""
        return 1.0 - np.interp(-distance_px, SPREAD_PX, self.response)
