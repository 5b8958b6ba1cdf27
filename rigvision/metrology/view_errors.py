"""How the solved view may err, and where fixed pixels come to lie on the rig when it does."""

from __future__ import annotations

import numpy as np

from rigvision.ground.conventions import FloatArray, rotations_from_vectors
from rigvision.ground.propagation import Source, root_of
from rigvision.vision.pose import Pose

#: Parameter groups that a budget names, as indices into ``view.PARAMETERS``. A pose is solved
#: with the border shift, which no point's place depends on.
_LENS, _FOCAL, _POSE = [7, 8, 9], [6], [0, 1, 2, 3, 4, 5, 10]

#: Prior observations of the solve: focal length, principal point (2), distortion, border shift.
_PRIORS = 5

#: Steps of the inverse of the distortion; each gains a factor of 3 k1 r^2, under 0.1 for phones.
_UNDISTORT_STEPS = 6


def view_sources(pose: Pose) -> tuple[Source, ...]:
    """The view's covariance (11, 11) as uncorrelated sources, each with shared inputs.

    Marks' positions first: their part is known apart. The rest is taken in the order lens,
    focal length, pose: each source holds what the ones before it leave open, so that the
    lens' share is its error with focal length and pose following as the solve makes them, and
    the pose's share is what were left with a camera known exactly. They add up in squares to
    the whole, correlations included (a Cholesky decomposition).
    """
    positions = np.zeros((11, 11)) if pose.from_positions is None else pose.from_positions
    order = _LENS + _FOCAL + _POSE
    root = np.zeros((11, 11))
    root[order] = _lower(np.asarray(pose.covariance - positions)[np.ix_(order, order)])
    lens, focal = len(_LENS), len(_LENS) + len(_FOCAL)
    coordinates = 8 * len(pose.used) - 2 * pose.hidden_sides
    freedom = max(coordinates + _PRIORS - len(pose.view.parameters), 1)
    return (
        Source("mark positions", "B", root_of(positions), inputs="view/mark positions"),
        Source("lens", "B", root[:, :lens], inputs="view/lens"),
        Source(
            "focal length",
            "B",
            root[:, lens:focal],
            input_uncertainty=float(root[_FOCAL[0], lens]),
            unit="1",
            inputs="view/focal length",
        ),
        Source("pose", "A", root[:, focal:], freedom, inputs="view/pose"),
    )


class FixedPixels:
    """Points of the rig as the pixels that show them: where other views put them."""

    def __init__(self, pose: Pose, points_mm: FloatArray) -> None:
        """``points_mm`` (N, 3) as the solved view sees them."""
        self._solved = pose.view.parameters
        self._pixels = pose.view.project(points_mm)
        self._z_mm = points_mm[:, 2]

    def read(self, view_error: FloatArray, depth_error_mm: FloatArray) -> FloatArray:
        """Places and slopes of the lines of sight (B, N, 4): x, y, dx/dz, dy/dz.

        ``view_error`` (B, 11) is the view's deviation from the solved one, ``depth_error_mm``
        (B, N) that of the planes z in which the points lie.
        """
        parameters = self._moved(view_error)
        rotation = rotations_from_vectors(parameters[:, :3])  # (B, 3, 3)
        centre = -np.einsum("bij,bi->bj", rotation, parameters[:, 3:6])  # (B, 3)
        rays = self._ideal(parameters) @ rotation
        slopes = rays[..., :2] / rays[..., 2:]
        depth = self._z_mm + depth_error_mm - centre[:, None, 2]
        places = centre[:, None, :2] + slopes * depth[..., None]
        return np.concatenate([places, slopes], axis=2)

    def _moved(self, view_error: FloatArray) -> FloatArray:
        """Parameters (B, 11) of views that err by so much.

        Translation errs in bearing and in the logarithm of distance, to first order the same
        as in its three parts: it goes with the logarithm of focal length in a straight line, as
        pixels see both, so that even a badly known focal length stays on it.
        """
        parameters = self._solved + view_error
        tz = self._solved[5]
        further = view_error[:, 5:6] / tz
        bearing = (view_error[:, 3:5] - self._solved[3:5] * further) / tz
        distance = tz * np.exp(further)
        parameters[:, 3:5] = (self._solved[3:5] / tz + bearing) * distance
        parameters[:, 5:6] = distance
        return np.asarray(parameters)

    def _ideal(self, parameters: FloatArray) -> FloatArray:
        """Directions (B, N, 3) in camera axes, distortion taken off."""
        focal = np.exp(parameters[:, 6])[:, None, None]
        distorted = (self._pixels - parameters[:, None, 7:9]) / focal
        k1, ideal = parameters[:, None, 9:10], distorted
        for _ in range(_UNDISTORT_STEPS):
            ideal = distorted / (1.0 + k1 * np.sum(ideal**2, axis=2, keepdims=True))
        return np.concatenate([ideal, np.ones((*ideal.shape[:2], 1))], axis=2)


def _lower(covariance: FloatArray) -> FloatArray:
    """Cholesky's lower factor, of a covariance scaled to 1 on its diagonal first.

    By way of its eigenvalues: focal length and distance of an unknown lens go together but for a
    millionth part, and rounding then takes the least of them below zero.
    """
    scale = np.sqrt(np.maximum(np.diag(covariance), 1e-30))
    values, vectors = np.linalg.eigh(covariance / np.outer(scale, scale))
    upper = np.linalg.qr((vectors * np.sqrt(np.maximum(values, 0.0))).T, mode="r")
    signs = np.where(np.diag(upper) < 0.0, -1.0, 1.0)
    return np.asarray(scale[:, None] * (signs[:, None] * upper).T)
