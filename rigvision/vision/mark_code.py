"""What a mark must look like: its known grid of black and white, held against the picture.

A mark whose place is known need not be decoded. Wherever two neighbouring cells of its grid
differ, the white one must be the brighter: that holds in shadow, haze and half under dirt, where
no common threshold parts black from white. Of the pairs, those that say so less those that say the
contrary are the agreement: 1 for a clean mark, about 0 for anything else.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
import numpy.typing as npt

from rigvision.ground.conventions import FloatArray

#: Cells a side: six bits, the black border, and the white pad around it.
BORDER, GRID = 8, 10
#: Pixels of a rectified patch for each cell, and cells beyond the grid on every side.
CELL_PX, MARGIN_CELLS = 6, 2
#: Brighter by less, of both together, tells nothing: noise, and what JPEG does to a flat patch.
TELLING = 0.04
#: Codes that noise alone may make two flat cells differ by.
TELLING_CODES = 2.0
#: Places that agree nearly as well as the best, by so much: the nearest of them is taken.
ALIKE = 0.06
#: A side shows where its contrast is this part of the mark's own, over so many cells in a row; of a
#: cell beside a covered one it is not known how much.
SIDE_CONTRAST, LEAST_CELLS, UNSURE_CELLS = 0.4, 3, 0.5


@dataclass(frozen=True, slots=True)
class CodeMatch:
    """Where a mark's grid agrees best with the picture, and how well."""

    agreement: float  # over all pairs of the mark, -1..1
    corners_px: FloatArray  # (4, 2)
    #: From where to where each side shows (4, 2), parts of its length; both 0 where it does not.
    shown: FloatArray


def match_code(
    codes: npt.NDArray[np.uint8], corners_px: FloatArray, mark_id: int, reach_cells: float = 1.5
) -> CodeMatch:
    """Hold a mark's grid against codes (H, W) where its corners (4, 2) are expected, and so many

    cells about it. The further it may be, the more places there are for chance to agree.
    """
    size = CELL_PX * (GRID + 2 * MARGIN_CELLS)
    first, last = CELL_PX * (MARGIN_CELLS + 1) - 0.5, CELL_PX * (MARGIN_CELLS + 1 + BORDER) - 0.5
    flat = np.array([[first, first], [last, first], [last, last], [first, last]])
    to_picture = cv2.getPerspectiveTransform(flat.astype(np.float32), corners_px.astype(np.float32))
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    patch = cv2.warpPerspective(codes, to_picture, (size, size), flags=flags)
    means = cv2.blur(patch, (CELL_PX - 1, CELL_PX - 1)).astype(np.float32)
    reach = round(reach_cells * CELL_PX)
    steps = np.arange(-reach, reach + 1)
    centres = CELL_PX * (MARGIN_CELLS + np.arange(GRID)) + CELL_PX // 2
    rows = centres + steps[:, None]  # (D, GRID)
    cells = means[rows[:, None, :, None], rows[None, :, None, :]]  # (D, D, GRID, GRID)
    contrast = _contrast(cells, _pairs(mark_id))
    score = np.sign(contrast).mean(axis=2)
    # Of places that agree nearly alike the nearest: agreement has a flat top.
    away = np.hypot(steps[:, None], steps[None, :])
    away = np.where(score >= score.max() - ALIKE, away, np.inf)
    down, right = np.unravel_index(int(np.argmin(away)), away.shape)
    shifted = flat + np.array([steps[right], steps[down]])
    moved = cv2.perspectiveTransform(shifted[None].astype(np.float32), to_picture)[0]
    found = contrast[down, right]
    return CodeMatch(float(score[down, right]), moved.astype(np.float64), _shown(found, mark_id))


def _shown(contrast: FloatArray, mark_id: int) -> FloatArray:
    """From where to where each side shows (4, 2), by the contrast of all pairs (P,)."""
    agreeing = contrast[contrast > 0.0]
    least = SIDE_CONTRAST * float(np.median(agreeing)) if len(agreeing) else np.inf
    return np.array([_longest_run(contrast[side] > least) for side in _across_sides(mark_id)])


def _longest_run(shows: npt.NDArray[np.bool_]) -> tuple[float, float]:
    """The longest run of cells that show, as parts of the side; (0, 0) where it is too short."""
    borders = np.flatnonzero(np.diff(np.concatenate([[0], shows, [0]])))
    starts, ends = borders[::2], borders[1::2]
    if not len(starts) or (ends - starts).max() < LEAST_CELLS:
        return 0.0, 0.0
    longest = int(np.argmax(ends - starts))
    first, last = float(starts[longest]), float(ends[longest])
    first += UNSURE_CELLS if first > 0 else 0.0
    last -= UNSURE_CELLS if last < BORDER else 0.0
    return first / BORDER, last / BORDER


def _contrast(cells: npt.NDArray[np.float32], pairs: npt.NDArray[np.intp]) -> FloatArray:
    """By how much each pair's white cell is brighter (D, D, P), part of both; 0 where that tells

    nothing.
    """
    flat = cells.reshape(*cells.shape[:2], -1)
    white, black = flat[..., pairs[:, 0]], flat[..., pairs[:, 1]]
    both = white + black
    telling = np.abs(white - black) > np.maximum(TELLING * both, TELLING_CODES)
    return np.asarray(np.where(telling, (white - black) / np.maximum(both, 1.0), 0.0), np.float64)


@lru_cache(maxsize=64)
def grid(mark_id: int) -> npt.NDArray[np.bool_]:
    """A mark's cells (10, 10), white True, the pad's first ring included."""
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    printed = cv2.aruco.generateImageMarker(family, mark_id, BORDER)
    return np.pad(np.asarray(printed) > 127, 1, constant_values=True)


@lru_cache(maxsize=64)
def _pairs(mark_id: int) -> npt.NDArray[np.intp]:
    """Flat indices (P, 2) of neighbouring cells that differ, the white one first."""
    white, index = grid(mark_id), np.arange(GRID * GRID).reshape(GRID, GRID)
    across = np.stack([index[:, :-1].ravel(), index[:, 1:].ravel()], axis=1)
    down = np.stack([index[:-1].ravel(), index[1:].ravel()], axis=1)
    both = np.concatenate([across, down])
    bits = white.ravel()[both]
    differ = both[bits[:, 0] != bits[:, 1]]
    first_white = white.ravel()[differ[:, 0]]
    return np.asarray(np.where(first_white[:, None], differ, differ[:, ::-1]))


@lru_cache(maxsize=64)
def _across_sides(mark_id: int) -> npt.NDArray[np.intp]:
    """Which pairs lie across the border's sides (4, 8), from first corner to second."""
    row, column = np.divmod(_pairs(mark_id)[:, 0], GRID)  # of the white cell: in the pad
    last = GRID - 1
    sides = ((row == 0, column), (column == last, row), (row == last, -column), (column == 0, -row))
    return np.stack([np.flatnonzero(on)[np.argsort(order[on])] for on, order in sides])
