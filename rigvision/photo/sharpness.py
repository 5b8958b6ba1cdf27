"""How sharp and how light a picture is as a whole: asked only when nothing was found in it."""

from __future__ import annotations

import cv2
import numpy as np

from rigvision.photo.picture import Picture

#: Blur added for comparison, px: well above a sharp picture's own, below a useless one's.
_ADDED_PX = 2.0
#: The steepest part of the picture: its strongest edges, and no fewer pixels than noise needs.
_STEEPEST = 99.9


def blur_px(picture: Picture) -> float:
    """Sigma of the blur of the picture's strongest edges, px.

    A step blurred by sigma has its steepest slope proportional to 1 / sigma. Blurring once
    more by a known amount shows how steep it was: s0 / s1 = sqrt(1 + (added / sigma)^2).
    """
    codes = picture.luma.astype(np.float32)
    before, after = (_steepest(image) for image in (codes, _blurred(codes)))
    if after <= 0.0 or before <= after:
        return float("inf")
    return float(_ADDED_PX / np.sqrt((before / after) ** 2 - 1.0))


def lightest(picture: Picture) -> float:
    """Linear light, 0..1, that only the lightest hundredth of the picture exceeds."""
    thinned = picture.linear(0, 0, picture.width_px, picture.height_px)[::8, ::8]
    return float(np.quantile(thinned, 0.99))


def _blurred(codes: np.ndarray) -> np.ndarray:
    return np.asarray(cv2.GaussianBlur(codes, (0, 0), _ADDED_PX))


def _steepest(codes: np.ndarray) -> float:
    dx, dy = codes[1:-1, 2:] - codes[1:-1, :-2], codes[2:, 1:-1] - codes[:-2, 1:-1]
    return float(np.percentile(np.hypot(dx, dy)[::2, ::2], _STEEPEST))
