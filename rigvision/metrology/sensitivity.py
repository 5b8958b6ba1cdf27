"""How a point's place on the rig moves when the view's parameters do."""

from __future__ import annotations

from math import sqrt

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.vision.pose import Pose
from rigvision.vision.view import DERIVATIVE_STEPS, project_many

#: Parameter groups that a budget names, as indices into ``view.PARAMETERS``.
POSE = slice(0, 6)
FOCAL = slice(6, 7)
LENS = slice(7, 10)


def plane_sensitivity(pose: Pose, points_mm: FloatArray) -> FloatArray:
    """d(x, y) / d(parameters), (N, 2, 11), of points (N, 3) seen at fixed pixels.

    A point is read by carrying its pixel back to the plane z in which it lies; this says
    how x and y of that reading change with the view. By the implicit function theorem: the
    pixel stays, so what the view moves it by, the point's x and y must take back.
    """
    parameters = pose.view.parameters
    shifts = np.diag(DERIVATIVE_STEPS)
    many = project_many(np.concatenate([parameters + shifts, parameters - shifts]), points_mm)
    half = len(shifts)
    by_view = (many[:half] - many[half:]) / (2.0 * DERIVATIVE_STEPS)[:, None, None]  # (11, N, 2)
    step = 1e-3
    nudges = np.array([[step, 0.0, 0.0], [0.0, step, 0.0]])
    moved = [pose.view.project(points_mm + n) - pose.view.project(points_mm - n) for n in nudges]
    by_place = np.stack(moved, axis=-1) / (2.0 * step)  # (N, px, mm)
    return np.asarray(-np.linalg.solve(by_place, np.moveaxis(by_view, 0, -1)), dtype=np.float64)


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
