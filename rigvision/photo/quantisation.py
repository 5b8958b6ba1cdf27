"""A JPEG's quantisation table: how much it loses, and whether an encoder can have written it.

A decoder multiplies by whatever steps the file states. One changed by damage gives a whole
picture that looks odd and measures wrong, and no check sum tells. But encoders' steps follow how
well the eye sees a frequency: they change little from one to the next, and most are one table,
scaled. A step that stands out of either is none that an encoder wrote.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from rigvision.ground.conventions import FloatArray

#: Steps (64,) row by row: of the lowest frequency first, across.
Steps = tuple[int, ...]

#: T.81, table K.1: steps of the luma at IJG quality 50, row by row.
_STEPS_AT_50 = np.array(
    [
        *(16, 11, 10, 16, 24, 40, 51, 61, 12, 12, 14, 19, 26, 58, 60, 55),
        *(14, 13, 16, 24, 40, 57, 69, 56, 14, 17, 22, 29, 51, 87, 80, 62),
        *(18, 22, 37, 56, 68, 109, 103, 77, 24, 35, 55, 64, 81, 104, 113, 92),
        *(49, 64, 78, 87, 103, 121, 120, 101, 72, 92, 95, 98, 112, 100, 103, 99),
    ]
)
#: What larger steps are cut down to by libjpeg, in 8 bits and in 16.
_LARGEST_IN_8_BIT, _LARGEST = 255, 32767
#: How far a step may lie outside of what its eight neighbours span, as a power of two of the step
#: plus 1: encoders' own tables come to 0.8 (IJG 1 to 100, mozjpeg's nine at 1 to 100, Pillow's
#: presets, files of phones and editors). The mean's step is chosen apart from all others.
_MOST_APART, _MOST_APART_OF_MEAN = 2.0, 3.0
#: How far a step may be from the one scale that all others of the usual table share: the more of
#: a count and a part. Encoders round up, down or to the nearest.
_ROUNDING, _PART = 2, 0.25


def ijg_quality(luma_steps: Steps) -> int:
    """The quality, 1 to 100, of the IJG's table nearest to these 64 quantisation steps.

    Encoders with tables of their own get the quality that loses about as much.
    """
    quality = np.arange(1, 101)
    scale = np.where(quality < 50, 5000 // quality, 200 - 2 * quality)
    tables = np.clip((_STEPS_AT_50 * scale[:, None] + 50) // 100, 1, 255)
    apart = np.abs(np.log(tables) - np.log(np.maximum(luma_steps, 1))).sum(axis=1)
    return int(quality[apart.argmin()])


def check_steps(steps: Steps) -> None:
    """Raises ValueError for 64 steps that no encoder writes."""
    table = np.asarray(steps, dtype=np.float64)
    if len(table) != 64:
        raise ValueError(f"a quantisation table has {len(table)} steps instead of 64")
    if table.min() < 1 or table.max() > _LARGEST:
        raise ValueError(f"a quantisation step is {table.min():.0f} or {table.max():.0f}")
    apart = _outside_of_neighbours(table)
    most = np.full(64, _MOST_APART)
    most[0] = _MOST_APART_OF_MEAN
    odd = (apart > most) | _alone_off_the_usual(table)
    if odd.any():
        raise ValueError(
            f"no encoder writes a quantisation step of {table[odd.argmax()]:.0f} there"
        )


def _outside_of_neighbours(table: FloatArray) -> FloatArray:
    """By how much each step (64,) lies outside the range of those around it, octaves."""
    octaves = np.pad(np.log2(table.reshape(8, 8) + 1.0), 1, constant_values=np.nan)
    around = np.stack(
        [octaves[i : i + 8, j : j + 8] for i in range(3) for j in range(3) if (i, j) != (1, 1)]
    )
    inner = octaves[1:9, 1:9]
    above, below = inner - np.nanmax(around, axis=0), np.nanmin(around, axis=0) - inner
    return np.asarray(np.maximum(above, below).ravel())


def _alone_off_the_usual(table: FloatArray) -> npt.NDArray[np.bool_]:
    """Which step (64,) alone keeps a table from being the usual one, scaled by some percentage."""
    largest = _LARGEST_IN_8_BIT if table.max() <= _LARGEST_IN_8_BIT else _LARGEST
    least = np.where(table == 1, 0.0, (100.0 * table - 50.0) / _STEPS_AT_50)
    most = (100.0 * table + 50.0) / _STEPS_AT_50
    most[table >= largest] = np.inf
    low, high = _extreme_of_others(least, -1), _extreme_of_others(most, 1)
    scaled = (_STEPS_AT_50 * np.stack([low, high]) + 50.0) / 100.0
    lowest, highest = np.clip([np.ceil(scaled[0] - 1.0), np.floor(scaled[1])], 1, largest)
    expected = np.clip(table, lowest, highest)
    far = np.abs(table - expected) >= np.maximum(_ROUNDING, _PART * np.minimum(table, expected))
    far[0] = False  # some encoders choose the mean's step by itself
    return np.asarray((low < high) & far)


def _extreme_of_others(values: FloatArray, sign: int) -> FloatArray:
    """Of all values (N,) but each one's own (N,): the least, or for ``sign`` -1 the largest."""
    ordered = np.sort(sign * values)
    alone = (sign * values == ordered[0]) & (np.count_nonzero(sign * values == ordered[0]) == 1)
    return np.asarray(sign * np.where(alone, ordered[1], ordered[0]))
