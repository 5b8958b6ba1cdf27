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

from typing import TypeVar

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
#: For pixels by the ten thousand: half the memory to move, and finer than any sensor.
PixelArray = npt.NDArray[np.float32]
Real = TypeVar("Real", np.float32, np.float64)

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
    """Rotation matrix (3, 3) of a rotation vector (3,)."""
    return np.asarray(rotations_from_vectors(vector_rad[None, :])[0])


def rotations_from_vectors(vectors_rad: FloatArray) -> FloatArray:
    """Rotation matrices (B, 3, 3) of rotation vectors (B, 3), by Rodrigues' formula."""
    angle = np.linalg.norm(vectors_rad, axis=1)[:, None, None]
    x, y, z = (vectors_rad / np.maximum(angle[:, :, 0], 1e-12)).T
    zero = np.zeros_like(x)
    k = np.stack([zero, -z, y, z, zero, -x, -y, x, zero], axis=1).reshape(-1, 3, 3)
    return np.asarray(np.eye(3) + np.sin(angle) * k + (1.0 - np.cos(angle)) * (k @ k))
