"""In what measure a mark's corners are compared: across its sides, by how well each is known."""

from __future__ import annotations

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.vision.marks import Mark
from rigvision.vision.outward import outward_shift
from rigvision.vision.pose_tuning import PoseTuning


def _padded(rows: FloatArray) -> FloatArray:
    """Rows (R, N) filled up with zeros to (8, N): what is not known says nothing."""
    return np.concatenate([rows, np.zeros((8 - len(rows), rows.shape[1]))])


def mark_measures(
    mark: Mark, position_px: float, tuning: PoseTuning
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """From displacements of a mark's corners to those of its sides' ends, in px (8, 8), and

    uncorrelated, in standard deviations (8, 8); and in the latter measure, how a mark goes wrong
    (8, 10): moved in x and in y, then the ends of each side alone. Zeros for hidden sides.
    """
    covariance = mark.covariance_px2 + np.eye(8) * tuning.corner_floor_px**2
    covariance = covariance + np.tile(np.eye(2), (4, 4)) * position_px**2
    outward = outward_shift(mark.corners_px).ravel()
    covariance += np.outer(outward, outward) * tuning.own_shift_px**2
    across = mark.across_sides()
    root = np.linalg.cholesky(across @ covariance @ across.T)
    ends = np.eye(8)[np.repeat(mark.sides, 2)]
    moved = across @ np.tile(np.eye(2), (4, 1))
    solved = np.linalg.solve(root, np.column_stack([across, moved, ends]))
    return _padded(across), _padded(solved[:, :8]), _padded(solved[:, 8:])
