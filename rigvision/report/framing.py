"""Which part of a photo is shown where: cut out, turned level, scaled.

Only the copy that people look at is resampled; nothing is measured on it.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil
from typing import Protocol

import cv2
import numpy as np
import numpy.typing as npt

from rigvision.ground.conventions import FloatArray
from rigvision.world.gauge import Gauge

#: RGB (H, W, 3).
Pixels = npt.NDArray[np.uint8]


class Projection(Protocol):
    """What takes points (N, 3) of the gauge's space into the photo (N, 2), as a solved view."""

    def project(self, points_mm: FloatArray) -> FloatArray: ...


#: Room around the gauge, as a part of its width: enough to see where it sits.
MARGIN = 0.05


@dataclass(frozen=True, slots=True)
class Framing:
    """shown = scale * turn @ photo + shift, all in px with pixel centres on whole numbers."""

    scale: float
    turn: FloatArray  # (2, 2) rotation
    shift_px: FloatArray  # (2,)
    width_px: int
    height_px: int

    def shown(self, photo_px: FloatArray) -> FloatArray:
        """Where points (N, 2) of the photo appear."""
        points = np.asarray(photo_px, dtype=np.float64).reshape(-1, 2)
        return np.asarray(self.scale * points @ self.turn.T + self.shift_px)

    def cut(self, photo: Pixels) -> Pixels:
        """The part of the photo, as it appears; black beyond the photo's border."""
        step = max(1, int(1.0 / self.scale)) if self.scale < 0.75 else 1
        small, matrix = photo, self.scale * self.turn
        shift = self.shift_px
        if step > 1:  # means of blocks first: far apart samples would flicker
            height, width = photo.shape[0] // step, photo.shape[1] // step
            whole_blocks = photo[: height * step, : width * step]
            small = np.asarray(
                cv2.resize(whole_blocks, (width, height), None, 0, 0, cv2.INTER_AREA)
            )
            # The centre of block b lies at step * b + (step - 1) / 2 of the photo.
            shift = matrix @ np.full(2, (step - 1) / 2.0) + shift
        rows = np.column_stack([step * matrix, shift])
        size = (self.width_px, self.height_px)
        return np.asarray(cv2.warpAffine(small, rows, size, flags=cv2.INTER_CUBIC), dtype=np.uint8)


def whole_photo(photo: Pixels, width_px: int, highest_px: int) -> Framing:
    """All of a photo, as large as fits."""
    scale = min(width_px / photo.shape[1], highest_px / photo.shape[0])
    height_px = max(1, round(photo.shape[0] * scale))
    left_px = (width_px - photo.shape[1] * scale) / 2.0
    shift = np.array([left_px, 0.0]) + 0.5 * scale - 0.5
    return Framing(scale, np.eye(2), shift, width_px, height_px)


def around_gauge(view: Projection, gauge: Gauge, width_px: int, highest_px: int) -> Framing:
    """The gauge with a margin, turned so that the sill lies level whatever way it was held."""
    (x0, x1), (y0, y1) = gauge.plate.x_mm, gauge.plate.y_mm
    plate = np.array([[x0, y0, 0.0], [x1, y0, 0.0], [x1, y1, 0.0], [x0, y1, 0.0]])
    turn = level_turn(view, (x0 + x1) / 2.0, (y0 + y1) / 2.0, 0.0)
    turned = view.project(plate) @ turn.T
    low, high = turned.min(axis=0), turned.max(axis=0)
    margin = MARGIN * float(high[0] - low[0])
    size = high - low + 2.0 * margin
    scale = min(width_px / float(size[0]), highest_px / float(size[1]))
    height_px = min(highest_px, ceil(float(size[1]) * scale))
    middle = np.array([width_px - 1, height_px - 1]) / 2.0
    return Framing(scale, turn, middle - scale * (low + high) / 2.0, width_px, height_px)


def around_point(
    view: Projection, point_mm: FloatArray, scale: float, width_px: int, height_px: int
) -> Framing:
    """The surroundings of a point (3,) of the gauge's space, turned level."""
    turn = level_turn(view, *(float(v) for v in point_mm))
    middle = np.array([width_px - 1, height_px - 1]) / 2.0
    shift = middle - scale * (view.project(point_mm[None])[0] @ turn.T)
    return Framing(scale, turn, shift, width_px, height_px)


def level_turn(view: Projection, x_mm: float, y_mm: float, z_mm: float) -> FloatArray:
    """Rotation (2, 2) that lays the gauge's x at this point along the picture's x."""
    ends = view.project(np.array([[x_mm - 1.0, y_mm, z_mm], [x_mm + 1.0, y_mm, z_mm]]))
    across = (ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0])
    return np.array([[across[0], across[1]], [-across[1], across[0]]])
