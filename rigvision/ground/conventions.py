"""The one home of every convention: pixels, axes, transforms, units.

Pixels
    The centre of the top-left pixel is (0, 0); x runs right, y down. Coordinates are
    always those of the picture as a person sees it, after EXIF orientation.
    (OpenCV's convention; the AprilTag C library puts that centre at (0.5, 0.5).)
Gauge axes
    Origin in the middle of the gauge's front face, x right along the sill, y up from
    sill to door, z out of the gauge towards the camera; right-handed; millimetres.
Camera axes
    x right, y down, z forward through the lens; millimetres (OpenCV's convention).
Transforms
    ``b_from_a`` takes coordinates in frame a to frame b: ``p_b = R p_a + t``.
Corners of a mark
    Top-left, top-right, bottom-right, bottom-left of the upright tag, that is
    (-, +), (+, +), (+, -), (-, -) in gauge x and y.
Angles
    Degrees where a person reads them, radians inside a computation (``_rad``).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

#: Unit offsets of a mark's corners from its centre, in half sizes, gauge axes. (4, 2)
CORNER_SIGNS: FloatArray = np.array([[-1.0, 1.0], [1.0, 1.0], [1.0, -1.0], [-1.0, -1.0]])

#: Lengths in model files and results hold at this temperature (ISO 1).
REFERENCE_TEMPERATURE_DEGC = 20.0

#: Diagonal of the 36 mm x 24 mm frame to which EXIF's FocalLengthIn35mmFilm refers.
FULL_FRAME_DIAGONAL_MM = float(np.hypot(36.0, 24.0))


def fold_deg(angle_deg: float, period_deg: float) -> float:
    """Fold an angle into (-period/2, period/2]."""
    folded = angle_deg - period_deg * np.round(angle_deg / period_deg)
    return float(folded + period_deg if folded <= -period_deg / 2 else folded)


def rotation_from_vector(vector_rad: FloatArray) -> FloatArray:
    """Rotation matrix (3, 3) of a rotation vector (3,), by Rodrigues' formula."""
    angle_rad = float(np.linalg.norm(vector_rad))
    if angle_rad < 1e-12:
        return np.eye(3) + cross_matrix(vector_rad)
    k = cross_matrix(vector_rad / angle_rad)
    turned = np.eye(3) + np.sin(angle_rad) * k + (1.0 - np.cos(angle_rad)) * (k @ k)
    return np.asarray(turned)


def cross_matrix(v: FloatArray) -> FloatArray:
    """The matrix (3, 3) for which ``cross_matrix(v) @ w`` is the cross product v x w."""
    return np.array([[0.0, -v[2], v[1]], [v[2], 0.0, -v[0]], [-v[1], v[0], 0.0]])
