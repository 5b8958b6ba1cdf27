"""A function of one variable as a table of values at even distances."""

from __future__ import annotations

import numpy as np

from rigvision.ground.conventions import FloatArray


class EvenTable:
    """Linear interpolation between values (N,) at ``start``, ``start + step`` and so on.

    The same as ``np.interp``, which has to search where each argument lies: 0.14 ms against
    1.4 ms for the 33,000 pixels of a gauge's sides, and it is asked dozens of times a photo.
    Beyond its ends the first and the last value hold; NaN stays NaN.
    """

    def __init__(self, start: float, step: float, values: FloatArray) -> None:
        self._start, self._per_step = start, 1.0 / step
        self._values = np.asarray(values, dtype=np.float64)
        self._rises = np.diff(self._values, append=self._values[-1:])

    def __call__(self, at: FloatArray) -> FloatArray:
        """Values (...) at arguments (...)."""
        # In place: for arrays of this size fresh memory costs more than the arithmetic.
        place = np.subtract(at, self._start, dtype=np.float64)
        place *= self._per_step
        np.clip(place, 0.0, len(self._values) - 1, out=place)
        with np.errstate(invalid="ignore"):  # NaN has no index
            index = place.astype(np.intp)
        place -= index
        place *= self._rises.take(index, mode="clip")
        place += self._values.take(index, mode="clip")
        return place
