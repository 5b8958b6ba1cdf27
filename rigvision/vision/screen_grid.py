"""Whether the picture shows a screen: the grid of its pixels, or the moire it makes.

A screen's pixels repeat in two directions over the whole gauge, so that the spectrum of every
small tile of the picture has a sharp peak at nearly the same frequency. Metal, print and shadows
have ridges and slopes in their spectra, but no peak that stands out all around and stays.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from rigvision.ground.conventions import FloatArray
from rigvision.photo.picture import Picture
from rigvision.vision.view import View
from rigvision.world.gauge import Gauge

BoolArray = npt.NDArray[np.bool_]
IndexArray = npt.NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class GridTuning:
    """Every free choice of the search."""

    tile_px: int = 96
    # Tiles each way over the gauge: a first look, and a closer one where that shows anything.
    first_tiles: int = 3
    tiles: int = 7
    worth_a_look: float = 0.2  # part of the first tiles
    # Cycles a pixel. Below, a tag's own modules and the view's shading; a JPEG's blocks repeat
    # at eighths, within the width of a tile's peak.
    lowest: float = 0.07
    block: float = 1 / 8
    block_width: float = 0.016
    near: tuple[int, int] = (3, 6)  # cells around a peak against which it must stand out
    candidates: int = 6  # strongest frequencies of a tile, slope of its spectrum taken off
    stands_out: float = 3.5  # natural logarithm of power: a factor of 33 all around
    together: float = 0.12  # of the frequency: how alike tiles' peaks must be


@dataclass(frozen=True, slots=True)
class ScreenGrid:
    """The sharp frequency that the tiles share."""

    part: float  # of the tiles that show it
    pitch_px: float  # its wavelength; 0 where there is none


def find_screen_grid(
    picture: Picture, view: View, gauge: Gauge, tuning: GridTuning | None = None
) -> ScreenGrid:
    """Look for a screen's grid over the gauge."""
    tuning = tuning or GridTuning()
    first = _grid(_tiles(picture, view, gauge, tuning.first_tiles, tuning), tuning)
    if first.part < tuning.worth_a_look:
        return first
    return _grid(_tiles(picture, view, gauge, tuning.tiles, tuning), tuning)


def _grid(tiles: FloatArray, tuning: GridTuning) -> ScreenGrid:
    """What tiles (T, N, N) of codes share."""
    if not len(tiles):
        return ScreenGrid(0.0, 0.0)
    peaks, excess = _peaks(tiles, tuning)
    sharp = peaks[excess > tuning.stands_out]
    if not len(sharp):
        return ScreenGrid(0.0, 0.0)
    apart = np.linalg.norm(sharp[:, None] - sharp, axis=2)
    alike = apart < tuning.together * np.linalg.norm(sharp, axis=1)[:, None]
    best = int(np.argmax(alike.sum(axis=1)))
    frequency = float(np.linalg.norm(np.mean(sharp[alike[best]], axis=0)))
    return ScreenGrid(float(alike[best].sum() / len(tiles)), 1.0 / frequency)


def _tiles(
    picture: Picture, view: View, gauge: Gauge, each_way: int, tuning: GridTuning
) -> FloatArray:
    """Tiles (T, N, N) of codes, spread over the plate as far as it is in the picture."""
    x, y = np.meshgrid(
        *(_inner(*range_mm, each_way) for range_mm in (gauge.plate.x_mm, gauge.plate.y_mm))
    )
    middles = view.project(np.column_stack([x.ravel(), y.ravel(), np.zeros(x.size)]))
    corners = np.round(middles).astype(int) - tuning.tile_px // 2
    size = np.array([picture.width_px, picture.height_px]) - tuning.tile_px
    whole = (corners >= 0).all(axis=1) & (corners <= size).all(axis=1)
    n = tuning.tile_px
    return np.array(
        [picture.luma[top : top + n, left : left + n] for left, top in corners[whole]],
        dtype=np.float64,
    )


def _inner(low: float, high: float, count: int) -> FloatArray:
    """So many places between two ends, none at the ends."""
    return low + (high - low) * (np.arange(count) + 0.5) / count


def _peaks(tiles: FloatArray, tuning: GridTuning) -> tuple[FloatArray, FloatArray]:
    """Frequency (T, 2) of each tile's sharpest peak, and by how much it stands out (T,)."""
    n = tiles.shape[1]
    u, v, asked = _frequencies(n, tuning)
    window = np.hanning(n)
    centred = tiles - tiles.mean(axis=(1, 2), keepdims=True)
    power = np.abs(np.fft.rfft2(centred * np.outer(window, window))) ** 2
    # Edges make spectra fall with the square of frequency.
    flat = np.where(asked, power * (u * u + v * v), 0.0).reshape(len(tiles), -1)
    strongest = np.argpartition(flat, -tuning.candidates, axis=1)[:, -tuning.candidates :]
    # An even tile, blown out or black, has no strongest frequency: any is as good, even of no use.
    excess = np.where(asked.ravel()[strongest], _standing_out(power, strongest, tuning), -np.inf)
    tile, best = np.arange(len(tiles)), excess.argmax(axis=1)
    at = strongest[tile, best]
    return np.column_stack([u.ravel()[at], v.ravel()[at]]), excess[tile, best]


@lru_cache(maxsize=2)
def _frequencies(n: int, tuning: GridTuning) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Frequencies u, v (N, M) of half a spectrum, and which of them neither a tag nor a JPEG's
    blocks have, nor the half's own ends, which have no neighbours.
    """
    v, u = np.meshgrid(np.fft.fftfreq(n), np.fft.rfftfreq(n), indexing="ij")
    off = [np.abs(f - tuning.block * np.round(f / tuning.block)) for f in (u, v)]
    blocks = (off[0] < tuning.block_width) & (off[1] < tuning.block_width)
    column, reach = np.arange(u.shape[1]), tuning.near[1]
    inner = (column >= reach) & (column < u.shape[1] - reach)
    return u, v, (np.hypot(u, v) > tuning.lowest) & ~blocks & inner


def _standing_out(power: FloatArray, cells: IndexArray, tuning: GridTuning) -> FloatArray:
    """By how much cells (T, C) of spectra (T, N, M) exceed what lies some cells off (natural
    logarithm), in the direction in which they do so least: along a ridge that is nothing.
    """
    tile = np.arange(len(power))[:, None]
    row, column = np.divmod(cells, power.shape[2])
    level = np.log(power[tile, row, column] + 1.0)  # a code's rounding alone gives more than that
    steps = np.arange(tuning.near[0], tuning.near[1] + 1)
    steps = np.concatenate([-steps, steps])
    least = np.full(cells.shape, np.inf)
    for down, right in ((0, 1), (1, 0), (1, 1), (1, -1)):
        rows = (row[..., None] + down * steps) % power.shape[1]
        columns = (column[..., None] + right * steps).clip(0, power.shape[2] - 1)
        beside = power[tile[..., None], rows, columns]
        least = np.minimum(least, level - np.log(beside + 1.0).mean(axis=-1))
    return least
