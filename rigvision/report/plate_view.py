"""Where the gauge's plate lies in a photo, from the marks alone: enough to frame it.

Nothing is measured with it: the lens is taken for free of distortion, which bends a plate that
fills the picture by a pixel or two.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.world.gauge import Gauge

#: A mark further from where the others put it was another's, or the picture is another.
_MOST_RESIDUAL_PX = 12.0
_LEAST_MARKS = 4


@dataclass(frozen=True, slots=True)
class PlateView:
    """``plane``: homography (3, 3) from the plate's face, in mm, to the upright photo.

    ``camera_mm`` (3,) is where the camera stood, None where that is not known.
    """

    plane: FloatArray
    camera_mm: FloatArray | None = None

    def project(self, points_mm: FloatArray) -> FloatArray:
        """Where points (N, 3) of the plate's face appear (N, 2); their z is not looked at."""
        points = np.asarray(points_mm, dtype=np.float64).reshape(-1, 3)
        ahead = np.column_stack([points[:, :2], np.ones(len(points))]) @ self.plane.T
        return np.asarray(ahead[:, :2] / ahead[:, 2:])

    def project_behind(self, points_mm: FloatArray) -> FloatArray:
        """Where points (N, 3) behind the face appear (N, 2): where the rays to them meet it."""
        points = np.asarray(points_mm, dtype=np.float64).reshape(-1, 3)
        camera = self.camera_mm
        if camera is None or camera[2] <= 0.0:
            return self.project(points)
        along = camera[2] / (camera[2] - points[:, 2:])
        return self.project(camera + along * (points - camera))


def plate_view(
    marks_px: Mapping[str, tuple[float, float]],
    gauge: Gauge,
    camera_mm: tuple[float, float, float] | None = None,
) -> PlateView | None:
    """The view that the middles of the marks fit; None where fewer than four do."""
    centres = gauge.marks.centres_mm
    seen = [(centres[int(i)], px) for i, px in marks_px.items() if _is_known(i, centres)]
    if len(seen) < _LEAST_MARKS:
        return None
    on_plate = np.array([c for c, _ in seen], dtype=np.float64)
    in_photo = np.array([px for _, px in seen], dtype=np.float64)
    plane, _ = cv2.findHomography(on_plate, in_photo)
    if plane is None or not np.isfinite(plane).all():
        return None
    camera = None if camera_mm is None else np.array(camera_mm, dtype=np.float64)
    view = PlateView(np.asarray(plane, dtype=np.float64), camera)
    left = view.project(np.column_stack([on_plate, np.zeros(len(seen))])) - in_photo
    fits = np.isfinite(left).all() and float(np.abs(left).max()) <= _MOST_RESIDUAL_PX
    return view if fits else None


def _is_known(mark: str, centres: Mapping[int, object]) -> bool:
    return mark.isascii() and mark.isdigit() and int(mark) in centres
