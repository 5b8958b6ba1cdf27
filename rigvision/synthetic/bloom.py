"""Light that a lens scatters around bright spots: glass, dust and grease on it."""

from __future__ import annotations

import cv2
import numpy as np

from rigvision.synthetic.camera import F32

#: Standard deviations of the scatter, px in a 4000 px wide picture, and the share of each.
WIDTHS_PX = ((6.0, 0.4), (30.0, 0.35), (150.0, 0.25))
#: The scatter is computed on a picture so many times smaller than its own width.
PER_CELL = 3.0


def bloomed(linear: F32, share: float, scale: float) -> F32:
    """The light (h, w) with a ``share`` of it scattered; ``scale`` is width over 4000 px."""
    result = linear * np.float32(1.0 - share)
    height, width = linear.shape
    for sigma_px, part in WIDTHS_PX:
        cells = max(1, int(sigma_px * scale / PER_CELL))
        size = -(-width // cells), -(-height // cells)
        small = cv2.resize(linear, size, interpolation=cv2.INTER_AREA)
        small = cv2.GaussianBlur(small, (0, 0), sigma_px * scale / cells)
        wide = cv2.resize(small, (width, height), interpolation=cv2.INTER_LINEAR)
        result += np.float32(share * part) * wide
    return np.asarray(result, np.float32)
