"""How the white of the marks' pads came out: the gauge's own grey card, all over the plate."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rigvision.ground.conventions import FloatArray
from rigvision.photo.picture import Picture
from rigvision.vision.view import View
from rigvision.world.gauge import Gauge

#: Samples along each side of a pad's white rim, and how much of its width is kept clear.
SAMPLES, CLEAR_PART = 9, 0.25
#: Linear light from which a pixel counts as at the sensor's limit: JPEG leaves clipped white
#: a code or two below it.
SATURATION = 0.97


@dataclass(frozen=True, slots=True)
class Pads:
    """Linear light of each plate mark's pad in the picture, marks (M,) in rising order."""

    ids: tuple[int, ...]
    light: FloatArray  # (M,) median; NaN outside the picture
    saturated: FloatArray  # (M,) part at the sensor's limit; NaN outside the picture

    @property
    def white(self) -> float:
        """Light of the gauge's white; NaN where no pad is in the picture."""
        seen = self.light[np.isfinite(self.light)]
        return float(np.median(seen)) if len(seen) else float("nan")

    @property
    def blown_part(self) -> float:
        """Part of all white in the picture that is at the sensor's limit."""
        seen = self.saturated[np.isfinite(self.saturated)]
        return float(np.mean(seen)) if len(seen) else 0.0


def find_pads(picture: Picture, view: View, gauge: Gauge) -> Pads:
    """Light on the white rims between the marks' black borders and their pads' ends."""
    ids = tuple(sorted(gauge.marks.centres_mm))
    rim = _rim_mm(gauge.marks.size_mm / 2, gauge.marks.pad_mm / 2)
    centres = np.array([gauge.marks.centres_mm[i] for i in ids])
    points = np.zeros((len(ids), len(rim), 3))
    points[..., :2] = centres[:, None] + rim
    light, seen = _nearest_light(picture, view.project(points.reshape(-1, 3)))
    light, seen = light.reshape(points.shape[:2]), seen.reshape(points.shape[:2])
    whole = seen.mean(axis=1) > 0.5
    median = np.full(len(ids), np.nan)
    median[whole] = [
        np.median(row[kept]) for row, kept in zip(light[whole], seen[whole], strict=True)
    ]
    blown = np.where(seen, light > SATURATION, False).sum(axis=1) / np.maximum(seen.sum(axis=1), 1)
    return Pads(ids, median, np.where(whole, blown, np.nan))


def _nearest_light(
    picture: Picture, points_px: FloatArray
) -> tuple[FloatArray, npt.NDArray[np.bool_]]:
    """Linear light of the pixels nearest to points (N, 2), and which lie in the picture.

    A rim is pixels wide: nothing is gained between them, and reading them alone is quick.
    """
    column, row = np.round(points_px).astype(np.intp).T
    seen = (column >= 0) & (column < picture.width_px) & (row >= 0) & (row < picture.height_px)
    light = np.zeros(len(points_px))
    light[seen] = picture.linear_at(row[seen], column[seen])
    return light, seen


def _rim_mm(inner_mm: float, outer_mm: float) -> FloatArray:
    """Points (N, 2) along the middle of a square rim."""
    reach = inner_mm + 0.5 * (outer_mm - inner_mm)
    along = np.linspace(-reach, reach, SAMPLES) * (1.0 - CLEAR_PART)
    side = np.full(SAMPLES, reach)
    return np.concatenate(
        [
            np.column_stack(pair)
            for pair in ((along, side), (along, -side), (side, along), (-side, along))
        ]
    )
