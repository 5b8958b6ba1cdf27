"""What a frame shows of a photo, small enough for a page."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.report.framing import Framing, Pixels

#: The whole is no wider or higher. px
MOST_PX = 1400


@dataclass(frozen=True, slots=True)
class ShownPart:
    """What a frame shows of a photo, from (left, top), ``step`` times smaller."""

    codes: Pixels
    left: int
    top: int
    step: int
    framing: Framing

    def level(self, scale: float) -> Pixels:
        """Turned level, at a scale of the analysed image's."""
        framing = self.framing
        # Pixel p of these is the middle of pixels step * p + (step - 1) / 2 of the photo.
        first = np.array([self.left, self.top]) + (self.step - 1) / 2.0
        at = framing.scale * framing.turn @ first + framing.shift_px
        smaller = Framing(
            framing.scale * self.step * scale,
            framing.turn,
            at * scale + 0.5 * (scale - 1.0),
            max(1, round(framing.width_px * scale)),
            max(1, round(framing.height_px * scale)),
        )
        return smaller.cut(self.codes)


def shown_part(codes: Pixels, framing: Framing) -> ShownPart:
    """Means of whole blocks: far apart samples would flicker."""
    left, top, right, bottom = part_of(codes, framing, corners(framing))
    part = codes[top:bottom, left:right]
    step = max(1, int(np.ceil(max(part.shape[:2]) / MOST_PX)))
    height, width = max(1, part.shape[0] // step), max(1, part.shape[1] // step)
    blocks = part[: height * step, : width * step]
    small: Any = cv2.resize(blocks, (width, height), None, 0, 0, cv2.INTER_AREA)
    return ShownPart(small, left, top, step, framing)


def corners(framing: Framing) -> FloatArray:
    width, height = framing.width_px / framing.scale, framing.height_px / framing.scale
    return np.array([[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]])


def part_of(codes: Pixels, framing: Framing, box: FloatArray) -> tuple[int, int, int, int]:
    """Left, top, right, bottom of the pixels that a figure (4, 2) of the frame may show."""
    shift = framing.shift_px / framing.scale
    there = (box - 0.5 / framing.scale - shift) @ framing.turn  # the turn's inverse
    low, high = np.floor(there.min(axis=0)), np.ceil(there.max(axis=0)) + 1.0
    height, width = codes.shape[:2]
    left, right = (int(np.clip(v, 0, width)) for v in (low[0], high[0]))
    top, bottom = (int(np.clip(v, 0, height)) for v in (low[1], high[1]))
    if right <= left or bottom <= top:  # the gauge is said to be outside of the picture
        return 0, 0, min(width, 1), min(height, 1)
    return left, top, right, bottom
