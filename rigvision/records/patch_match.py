"""How well two patches of a face match, and how well they would by chance.

The chance is read from the patches themselves: laid on each other in wrong places they
correlate as other parts would, with all the streaks and shadows that these two have.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rigvision.ground.conventions import FloatArray
from rigvision.records.packed_patch import LEAST_CELLS

ComplexArray = npt.NDArray[np.complexfloating]

#: Cells by which a face that lies off its drawing's depth may appear moved.
REACH = 1
#: Columns from which on a place is wrong, and rows up to which it is tried.
_WRONG_FROM, _WRONG_ROWS = 6, 2
#: Part of the cells in common below which a place says nothing.
_COMMON = 0.5


@dataclass(frozen=True, slots=True)
class PatchMatch:
    """``correlation`` is the best of so many ``places``, ``background`` its standard deviation
    in wrong ones.
    """

    correlation: float
    background: float
    places: int = (2 * REACH + 1) ** 2


def match_patches(one: FloatArray, other: FloatArray) -> PatchMatch | None:
    """Match of two patches (rows, columns); None where too little of one place is seen in both."""
    if one.shape != other.shape:
        return None
    correlation, common = _correlations(one, other)
    rows, columns = (np.abs(_lags(n)) for n in correlation.shape)
    near = (rows[:, None] <= REACH) & (columns <= REACH) & (common >= LEAST_CELLS)
    if not near.any():
        return None
    tried = (rows[:, None] <= _WRONG_ROWS) & (columns <= _COMMON * one.shape[1])
    enough = common >= _COMMON * common[0, 0]
    wrong = tried & (columns >= _WRONG_FROM) & enough
    background = float(np.sqrt(np.mean(correlation[wrong] ** 2))) if wrong.any() else 1.0
    return PatchMatch(float(correlation[near].max()), background)


def _lags(n: int) -> FloatArray:
    """By how many cells the places of a transform of this length lie off."""
    return np.asarray(np.fft.fftfreq(n, 1.0 / n), dtype=np.float64)


def _correlations(one: FloatArray, other: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Correlation and number of common cells for every displacement that is looked at.

    The transform is longer than the patches by as much as is looked at, so that nothing that
    comes round its end gets there.
    """
    rows, columns = one.shape
    shape = rows + _WRONG_ROWS, columns + round(columns * _COMMON)
    seen = [np.fft.rfft2(np.isfinite(p), shape) for p in (one, other)]
    values = [np.nan_to_num(p) for p in (one, other)]
    spectra = [np.fft.rfft2(v, shape) for v in values]
    energies = [np.fft.rfft2(v**2, shape) for v in values]

    def together(a: ComplexArray, b: ComplexArray) -> FloatArray:
        return np.asarray(np.fft.irfft2(a * np.conj(b), shape), dtype=np.float64)

    common = np.rint(together(seen[0], seen[1]))
    power = together(energies[0], seen[1]) * together(seen[0], energies[1])
    root = np.sqrt(np.maximum(power, 0.0))
    product = together(spectra[0], spectra[1])
    return np.where(common > 0.5, product / np.maximum(root, 1e-9), 0.0), common
