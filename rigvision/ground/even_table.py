"""A function of one variable as a table of values at even distances."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from rigvision.ground.conventions import FloatArray, Real


class EvenTable:
    """Linear interpolation between values (N,) at ``start``, ``start + step`` and so on.

    The same as ``np.interp``, which has to search where each argument lies: 0.14 ms against
    1.4 ms for the 33,000 pixels of a gauge's sides, and it is asked dozens of times a photo.
    Beyond its ends the first and the last value hold; NaN stays NaN.
    """

    def __init__(self, start: float, step: float, values: FloatArray) -> None:
        self._start, self._per_step, self._last = start, 1.0 / step, len(values) - 1
        rises = np.diff(values, append=values[-1:])
        self._tables = {
            np.dtype(kind): (values.astype(kind), rises.astype(kind))
            for kind in (np.float32, np.float64)
        }

    def __call__(self, at: npt.NDArray[Real]) -> npt.NDArray[Real]:
        """Values (...) at arguments (...), in the arguments' own precision."""
        values, rises = self._tables[at.dtype]
        # In place: for arrays of this size fresh memory costs more than the arithmetic.
        place: npt.NDArray[Any] = np.atleast_1d(at - self._start)
        place *= self._per_step
        np.clip(place, 0.0, self._last, out=place)
        with np.errstate(invalid="ignore"):  # NaN has no index
            index = place.astype(np.intp)
        place -= index
        place *= rises.take(index, mode="clip")
        place += values.take(index, mode="clip")
        return place.reshape(at.shape)
