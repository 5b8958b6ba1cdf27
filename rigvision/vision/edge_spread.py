"""How a picture shows a true step of brightness, as its marks' printed borders tell."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from rigvision.ground.conventions import FloatArray, PixelArray
from rigvision.ground.even_table import EvenTable
from rigvision.ground.normal import cumulative_normal

#: Bins of the measured edge-spread function, px from the border, dark to light.
SPREAD_STEP_PX = 0.25
SPREAD_PX = np.arange(-8.0, 8.01, SPREAD_STEP_PX)


@dataclass(frozen=True)
class EdgeSpread:
    """How this picture shows a true step from dark (0) to light (1): lens, focus, sharpening.

    ``response`` holds the brightness at the distances ``SPREAD_PX`` from the step.
    """

    response: FloatArray
    blur_px: float = 1.0  # sigma of the borders it was measured on

    def rising(self, distance_px: FloatArray) -> FloatArray:
        """Response to a step from dark to light at distance 0."""
        return self._table(distance_px)

    def falling(self, distance_px: FloatArray) -> FloatArray:
        """One minus the response to a step from light to dark at distance 0."""
        return 1.0 - self._table(-distance_px)

    @cached_property
    def _table(self) -> EvenTable:
        return EvenTable(SPREAD_PX[0], SPREAD_STEP_PX, self.response)


@dataclass(frozen=True, slots=True)
class StepPixels:
    """Pixels beside fitted sides (N,): distance from the border, brightness dark 0, light 1."""

    distance_px: PixelArray
    brightness: PixelArray
    counts: npt.NDArray[np.intp]  # (S,) pixels of each side, side by side
    blur_px: FloatArray  # (S,) sigma of each side


def edge_spread(pixels: Sequence[StepPixels], near_blur_px: float | None = None) -> EdgeSpread:
    """Median brightness of the sides' pixels by distance from their border.

    ``near_blur_px``: of those sides alone that are about as blurred as that. Sharpening
    overshoots the more the sharper a border is, so a side out of focus tells little of one
    that is not.
    """
    blur_px = np.concatenate([p.blur_px for p in pixels])
    if not len(blur_px):
        return EdgeSpread(cumulative_normal(SPREAD_PX))
    distance = np.concatenate([p.distance_px for p in pixels])
    brightness = np.concatenate([p.brightness for p in pixels])
    if near_blur_px is not None:
        kept = _alike(blur_px, near_blur_px)
        chosen = np.repeat(kept, np.concatenate([p.counts for p in pixels]))
        distance, brightness, blur_px = distance[chosen], brightness[chosen], blur_px[kept]
    bins = np.round((distance - SPREAD_PX[0]) / SPREAD_STEP_PX)
    # Every bin's median from one sort: bin by bin, and in each by brightness, which keeps
    # within a bin's width. One median a bin cost 2 ms a photo.
    width = 1e3
    order = np.sort(bins * width + np.clip(brightness, -0.4 * width, 0.4 * width))
    borders = np.searchsorted(order, (np.arange(len(SPREAD_PX) + 1) - 0.5) * width)
    low, count = borders[:-1], np.diff(borders)
    enough = count >= 40
    low, count = low[enough], count[enough]
    middle = (order[low + (count - 1) // 2] + order[low + count // 2]) / 2
    response = cumulative_normal(SPREAD_PX / float(np.median(blur_px)))
    response[enough] = middle - np.flatnonzero(enough) * width
    return EdgeSpread(response, float(np.median(blur_px)))


#: Sides whose blur differs by less than this part are alike; and at least so many are taken.
ALIKE_PART, LEAST_SIDES = 0.12, 8


def _alike(blur_px: FloatArray, wanted_px: float) -> npt.NDArray[np.bool_]:
    """Which sides (S,) are blurred about as wanted, or the nearest few."""
    unlike = np.abs(np.log(blur_px / wanted_px))
    nearest = np.sort(unlike)[min(LEAST_SIDES, len(unlike)) - 1]
    return np.asarray(unlike <= max(float(nearest), ALIKE_PART))
