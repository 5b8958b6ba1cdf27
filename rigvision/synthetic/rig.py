"""Gauge, frame and their state together, with the tables that rays look up."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
import numpy.typing as npt

from rigvision.synthetic.camera import F32
from rigvision.synthetic.scene import Scene
from rigvision.synthetic.surface import U8
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge

#: Cells of the plate's lookup table for marks, mm.
MARK_CELL_MM = 0.5


@dataclass(frozen=True)
class Rig:
    """Gauge, frame and their state, with what the rays look up."""

    scene: Scene
    gauge: Gauge
    frame: Frame
    #: Half width of the zone around thin features that is sampled finely.
    guard_mm: float

    @cached_property
    def mark_ids(self) -> list[int]:
        return sorted(self.gauge.marks.centres_mm)

    @cached_property
    def mark_cells(self) -> U8:
        """For each cell of the plate: 1 + place in ``mark_ids`` of the pad in it, or 0."""
        (x0, x1), (y0, y1) = self.gauge.plate.x_mm, self.gauge.plate.y_mm
        shape = (int((y1 - y0) / MARK_CELL_MM) + 2, int((x1 - x0) / MARK_CELL_MM) + 2)
        cells = np.zeros(shape, np.uint8)
        half = self.gauge.marks.pad_mm / 2
        for number, mark in enumerate(self.mark_ids, start=1):
            cx, cy = self.gauge.marks.centres_mm[mark]
            left, right = (int((cx + d - x0) / MARK_CELL_MM) for d in (-half, half))
            low, high = (int((cy + d - y0) / MARK_CELL_MM) for d in (-half, half))
            cells[max(low, 0) : high + 1, max(left, 0) : right + 1] = number
        return cells

    @cached_property
    def mark_bits(self) -> npt.NDArray[np.bool_]:
        """Black cells of each mark (n, 8, 8), first row at the bottom; border included."""
        return np.stack([tag_bits(mark) for mark in self.mark_ids])

    @cached_property
    def mark_centres(self) -> F32:
        return np.array([self.gauge.marks.centres_mm[m] for m in self.mark_ids], np.float32)


def tag_bits(tag_id: int) -> npt.NDArray[np.bool_]:
    """Black cells (8, 8) of a 36h11 tag with its border, first row at the bottom (low y)."""
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    image = cv2.aruco.generateImageMarker(family, tag_id, 8, borderBits=1)
    return np.asarray(image[::-1] < 128)
