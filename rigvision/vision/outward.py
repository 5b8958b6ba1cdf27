"""How a mark's corners move when its borders do, as tone curves and sharpening make them."""

from __future__ import annotations

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.vision.marks import Mark
from rigvision.vision.view import View


def outward_shift(corners_px: FloatArray) -> FloatArray:
    """Displacement (4, 2) of a mark's corners when its four borders move out by one pixel."""
    along = np.roll(corners_px, -1, axis=0) - corners_px
    along = along / np.linalg.norm(along, axis=1, keepdims=True)
    normal = np.column_stack([along[:, 1], -along[:, 0]])
    pairs = np.stack([np.roll(normal, 1, axis=0), normal], axis=1)  # sides that meet at a corner
    return np.linalg.solve(pairs, np.ones((4, 2, 1)))[:, :, 0]


def corrected_corners(mark: Mark, view: View) -> FloatArray:
    """A mark's corners (4, 2) px with the common border shift taken off."""
    return mark.corners_px - view.border_shift_px * outward_shift(mark.corners_px)
