"""Bias against a master, and whether it changes along the range (AIAG MSA, linearity study)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.training.intervals import Interval
from rigvision.training.quantiles import f_tail, t_quantile, t_tail
from rigvision.training.study_error import StudyError


@dataclass(frozen=True, slots=True)
class Bias:
    """Mean reading minus master, in the readings' unit.

    ``interval`` allows for the scatter of the shots and for the master's own uncertainty.
    ``probability`` is that of so large a bias by chance, the master taken as exact; None, like
    the interval, where nothing was repeated or nothing scatters.
    """

    setting: str
    reference: float
    reference_uncertainty: float  # standard
    readings: int
    bias: float
    deviation: float | None
    interval: Interval | None
    probability: float | None

    @property
    def proven(self) -> bool:
        """Whether the interval leaves out 0."""
        return self.interval is not None and not self.interval[0] <= 0.0 <= self.interval[1]


@dataclass(frozen=True, slots=True)
class Line:
    """``bias = intercept + slope * reference`` through single readings, shots independent.

    ``lack_of_fit`` is the probability of so crooked a bias if it were a line; None where it
    cannot be told. ``explained`` is R squared, None where all biases are equal.
    """

    slope: float
    slope_error: float
    slope_probability: float | None
    intercept: float
    intercept_error: float
    intercept_probability: float | None
    deviation: float
    explained: float | None
    freedom: int
    mean_reference: float
    spread_of_references: float  # sum of squares
    readings: int
    lack_of_fit: float | None

    def bias_at(self, reference: float) -> float:
        return self.intercept + self.slope * reference

    def slope_interval(self, confidence: float = 0.95) -> Interval:
        reach = t_quantile(0.5 * (1.0 + confidence), self.freedom) * self.slope_error
        return self.slope - reach, self.slope + reach

    @property
    def proven(self) -> bool:
        """Whether the slope's interval leaves out 0."""
        low, high = self.slope_interval()
        return low > 0.0 or high < 0.0

    def band(self, reference: float, confidence: float = 0.95) -> Interval:
        """Where the mean bias at a reference lies, by the scatter of the shots."""
        apart = (reference - self.mean_reference) ** 2 / self.spread_of_references
        reach = self.deviation * sqrt(1.0 / self.readings + apart)
        reach *= t_quantile(0.5 * (1.0 + confidence), self.freedom)
        return self.bias_at(reference) - reach, self.bias_at(reference) + reach


@dataclass(frozen=True, slots=True)
class LinearityStudy:
    """``line`` is None with fewer than three readings, or one reference only; ``why_no_line``."""

    biases: tuple[Bias, ...]
    overall: float
    line: Line | None
    why_no_line: str = ""


@dataclass(frozen=True, slots=True)
class MasterReadings:
    """What was read of a setting whose true value is known. ``values`` (n,)."""

    setting: str
    reference: float
    reference_uncertainty: float  # standard
    values: FloatArray


def linearity_study(known: Sequence[MasterReadings], confidence: float = 0.95) -> LinearityStudy:
    """Biases and the line through them. Raises StudyError where no setting has a master."""
    kept = [m for m in known if m.values.size]
    if not kept:
        raise StudyError(
            "no-master",
            "No setting that was shot has a known value.",
            "Give settings a reference_mm in the plan to learn the bias.",
        )
    biases = tuple(_bias(m, confidence) for m in kept)
    errors = np.concatenate([m.values - m.reference for m in kept])
    references = np.concatenate([np.full(m.values.size, m.reference) for m in kept])
    line, why = _line(references, errors)
    return LinearityStudy(biases, float(errors.mean()), line, why)


def _bias(master: MasterReadings, confidence: float) -> Bias:
    count = master.values.size
    bias = float(master.values.mean()) - master.reference
    given = (master.setting, master.reference, master.reference_uncertainty, count, bias)
    if count < 2:
        return Bias(*given, None, None, None)
    deviation = float(master.values.std(ddof=1))
    error = deviation / sqrt(count)
    reach = t_quantile(0.5 * (1.0 + confidence), count - 1) * error
    # The master's part is not made smaller by more shots; its own coverage factor is normal.
    of_master = t_quantile(0.5 * (1.0 + confidence), 1e9) * master.reference_uncertainty
    whole = sqrt(reach**2 + of_master**2)
    probability = t_tail(bias / error, count - 1) if error else None
    return Bias(*given, deviation, (bias - whole, bias + whole), probability)


def _line(references: FloatArray, errors: FloatArray) -> tuple[Line | None, str]:
    count = errors.size
    levels = np.unique(references)
    if levels.size < 2:
        return None, "Only one master value was shot: bias along the range cannot be told."
    if count < 3:
        return None, "With fewer than three shots no line can be judged."
    middle = float(references.mean())
    spread = float(np.sum((references - middle) ** 2))
    slope = float((references - middle) @ (errors - errors.mean())) / spread
    intercept = float(errors.mean()) - slope * middle
    left = errors - intercept - slope * references
    freedom = count - 2
    deviation = sqrt(float(left @ left) / freedom)
    slope_error = deviation / sqrt(spread)
    intercept_error = deviation * sqrt(1.0 / count + middle**2 / spread)
    total = float(np.sum((errors - errors.mean()) ** 2))
    return Line(
        slope,
        slope_error,
        t_tail(slope / slope_error, freedom) if slope_error else None,
        intercept,
        intercept_error,
        t_tail(intercept / intercept_error, freedom) if intercept_error else None,
        deviation,
        1.0 - float(left @ left) / total if total else None,
        freedom,
        middle,
        spread,
        count,
        _lack_of_fit(references, errors, float(left @ left)),
    ), ""


def _lack_of_fit(references: FloatArray, errors: FloatArray, left: float) -> float | None:
    """F test of what the line leaves between levels against the scatter within them."""
    levels, index = np.unique(references, return_inverse=True)
    means = np.bincount(index, errors) / np.bincount(index)
    within = float(np.sum((errors - means[index]) ** 2))
    freedom, freedom_within = levels.size - 2, errors.size - levels.size
    if freedom < 1 or freedom_within < 1 or within <= 0.0:
        return None
    f = (max(left - within, 0.0) / freedom) / (within / freedom_within)
    return f_tail(f, freedom, freedom_within)
