"""The original pixels beside each side of the marks, with their distance from its line."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rigvision.ground.conventions import FloatArray, PixelArray
from rigvision.photo.picture import Picture

TRIM_PX, MOST_TRIM = 5.0, 0.12  #: left out at each end of a side, and as part of it at most
MODULES = 8.0  #: modules along a side of family 36h11, its black border included
REACH_MODULES = 0.80  #: how far from the line to look; one module away other edges begin
MAX_REACH_PX = 8


@dataclass(frozen=True, slots=True)
class SidePixels:
    """Pixels around each side: along (S, R, 1), across and light (S, R, C)."""

    along: PixelArray  # -1..1 from start to end of the side
    across_px: PixelArray
    light: PixelArray  # 0 where not seen
    seen: npt.NDArray[np.bool_]  # in the picture, and nearer than other edges

    def part(self, sides: npt.NDArray[np.bool_]) -> SidePixels:
        """The samples of some sides."""
        return SidePixels(
            self.along[sides], self.across_px[sides], self.light[sides], self.seen[sides]
        )


def outward(starts: FloatArray, ends: FloatArray) -> FloatArray:
    """Unit normals (S, 2) pointing out of a quad whose corners run clockwise in the picture."""
    along = ends - starts
    along = along / np.linalg.norm(along, axis=1, keepdims=True)
    return np.column_stack([along[:, 1], -along[:, 0]])


def side_pixels(
    picture: Picture,
    starts: FloatArray,
    ends: FloatArray,
    rows: int,
    module_px: FloatArray,
) -> SidePixels:
    """Whole pixels near each side, along rows or columns, whichever crosses it more squarely.

    ``module_px`` (S,) is the size of a module of each side's mark.

    Below, a side's "rows" are picture rows or columns, and "columns" the other of the two.
    """
    side = np.arange(len(starts))
    length = ends - starts
    along_y = np.abs(length[:, 1]) >= np.abs(length[:, 0])
    major = np.where(along_y, 1, 0)  # the coordinate that steps from row to row
    start, run = starts[side, major, None], length[side, major, None]
    minor_start, slope = starts[side, 1 - major, None], length[side, 1 - major, None] / run
    # The next side's blur, sharpened, reaches in at each end.
    trim = (TRIM_PX / np.linalg.norm(length, axis=1)[:, None]).clip(max=MOST_TRIM)
    row = np.round(start + (trim + (1.0 - 2.0 * trim) * np.linspace(0.0, 1.0, rows)) * run)
    column = np.round(minor_start + slope * (row - start))  # nearest to the line
    reach = _reach_px(module_px)
    beside = np.arange(-reach, reach + 1)

    normal = outward(starts, ends)
    across_row = (row - start) * normal[side, major, None]
    across_row += (column - minor_start) * normal[side, 1 - major, None]
    across = across_row[:, :, None] + beside * normal[side, 1 - major, None, None]

    # A short side has fewer rows than are asked for: none may count twice.
    twice = np.diff(row, axis=1, prepend=np.nan) == 0.0
    size = np.array([picture.width_px, picture.height_px])
    columns = column[:, :, None] + beside
    # A side partly outside the picture is fitted to what is there; far samples belong to
    # other edges, whatever the slant.
    seen = (columns >= 0) & (columns < size[1 - major, None, None])
    seen &= ((row >= 0) & (row < size[major, None]) & ~twice)[:, :, None]
    seen &= np.abs(across) <= REACH_MODULES * module_px[:, None, None]
    light = _light(picture, row[:, :, None], columns, along_y[:, None, None], seen)
    along = (2.0 * (row - start) / run - 1.0)[:, :, None]
    return SidePixels(along.astype(np.float32), across.astype(np.float32), light, seen)


def _light(
    picture: Picture,
    row: FloatArray,
    column: FloatArray,
    along_y: npt.NDArray[np.bool_],
    seen: npt.NDArray[np.bool_],
) -> PixelArray:
    """Linear light of the pixels that are seen, 0 for the others."""
    light = np.zeros(seen.shape, dtype=np.float32)
    row, column = np.broadcast_to(row, seen.shape), np.broadcast_to(column, seen.shape)
    upright = np.broadcast_to(along_y, seen.shape)[seen]
    x, y = np.where(upright, (column[seen], row[seen]), (row[seen], column[seen])).astype(np.intp)
    light[seen] = picture.linear_at(y, x)
    return light


def _reach_px(module_px: FloatArray) -> int:
    longest = float(module_px.max(initial=0.0))
    return int(np.clip(np.ceil(REACH_MODULES * longest), 3, MAX_REACH_PX))
