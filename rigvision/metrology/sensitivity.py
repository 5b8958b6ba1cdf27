"""How a point's place on the rig moves when the view's parameters do."""

from __future__ import annotations

from math import sqrt

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.vision.pose import Pose
from rigvision.vision.view import PARAMETERS, View

#: Parameter groups that a budget names, as indices into ``view.PARAMETERS``.
POSE = slice(0, 6)
FOCAL = slice(6, 7)
LENS = slice(7, 10)

#: Steps of the numerical derivatives, in each parameter's unit (rad, mm, 1, px, 1, px).
_STEPS = np.array([1e-5] * 3 + [1e-3] * 3 + [1e-5] + [1e-2] * 2 + [1e-5, 1e-2])


def plane_sensitivity(pose: Pose, points_mm: FloatArray) -> FloatArray:
    """d(x, y) / d(parameters), (N, 2, 11), of points (N, 3) seen at fixed pixels.

    A point is read by carrying its pixel back to the plane z in which it lies; this says
    how x and y of that reading change with the view.
    """
    pixels = pose.view.project(points_mm)
    out = np.zeros((len(points_mm), 2, len(PARAMETERS)))
    for index, step in enumerate(_STEPS):
        shift = np.zeros(len(PARAMETERS))
        shift[index] = step
        up, down = (
            _read(View(pose.view.parameters + sign * shift), pixels, points_mm[:, 2])
            for sign in (1.0, -1.0)
        )
        out[:, :, index] = (up - down) / (2.0 * step)
    return out


def _read(view: View, pixels: FloatArray, z_mm: FloatArray) -> FloatArray:
    centre, rays = view.camera_centre_mm, view.rays(pixels)
    return np.asarray((centre + rays * ((z_mm - centre[2]) / rays[:, 2])[:, None])[:, :2])


def spread(sensitivity: FloatArray, covariance: FloatArray, part: slice) -> float:
    """Standard uncertainty of a scalar from one group of view parameters, correlations kept.

    ``sensitivity`` (11,) is the scalar's derivative by the parameters.
    """
    s = sensitivity[part]
    variance = float(s @ covariance[part, part] @ s)
    return sqrt(max(variance, 0.0))


def view_spreads(sensitivity: FloatArray, covariance: FloatArray) -> tuple[float, float, float]:
    """Uncertainty of a scalar from pose, focal length and lens, summing to the whole.

    The three are correlated, so they are taken one after the other: lens, then what focal
    length adds, then what pose adds; each may be zero but none is negative in square.
    """
    whole = spread(sensitivity, covariance, slice(0, 10)) ** 2
    inner = spread(sensitivity, covariance, slice(6, 10)) ** 2
    lens = min(spread(sensitivity, covariance, LENS) ** 2, whole)
    focal = min(max(inner - lens, 0.0), whole - lens)
    pose = max(whole - lens - focal, 0.0)
    return sqrt(pose), sqrt(focal), sqrt(lens)
