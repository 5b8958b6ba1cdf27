"""Studies drawn at random: intervals of ratios, and a check of the intervals of components."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.training.intervals import Interval
from rigvision.training.mean_squares import Source, VarianceTable

SEED = 1
#: The ends of a 95 % interval then wander by about a hundredth of its width.
DRAWS = 20_000
#: Whole studies, each worked out again.
STUDIES = 2_000


@dataclass(frozen=True, slots=True)
class RatioIntervals:
    """Of standard deviations: the gauge's share of the study, and settings over gauge."""

    gauge_of_total: Interval
    settings_of_gauge: Interval


def ratio_intervals(table: VarianceTable, confidence: float = 0.95) -> RatioIntervals | None:
    """Generalized intervals: what components the mean squares may have come from.

    Each drawn mean square is the one found times its degrees of freedom over a chi-squared
    draw (Hamada and Weerahandi, J. Quality Technology 32, 2000, 241; from memory). None where the
    study knows no settings, or nothing varies.
    """
    if "settings" not in table.sources or not table.values.any():
        return None
    chance = np.random.default_rng(SEED).chisquare(table.freedoms, (DRAWS, len(table.lines)))
    squares = table.values * table.freedoms / chance
    drawn = np.maximum(squares @ np.linalg.inv(table.expected).T, 0.0)
    settings = drawn[:, table.sources.index("settings")]
    total = drawn.sum(axis=1)
    gauge = np.maximum(total - settings, 1e-300)
    return RatioIntervals(
        _middle(np.sqrt(gauge / np.maximum(total, 1e-300)), confidence),
        _middle(np.sqrt(settings / gauge), confidence),
    )


def again(
    table: VarianceTable, effects: dict[Source, FloatArray], confidence: float = 0.95
) -> dict[Source, Interval]:
    """Between which standard deviations most studies like this one would find each component.

    Studies are drawn with the components found as truth and with the same cells, and each is
    worked out as this one was (parametric bootstrap). ``effects``: ``effect_columns``.
    """
    variances = np.maximum(np.linalg.inv(table.expected) @ table.values, 0.0)
    rng = np.random.default_rng(SEED)
    size = table.lines[0].weights.shape[1]
    drawn = np.zeros((size, STUDIES))
    for source, variance in zip(table.sources, variances.tolist(), strict=True):
        columns = np.eye(size) if source == "shots" else effects[source]
        drawn += variance**0.5 * columns @ rng.standard_normal((columns.shape[1], STUDIES))
    squares = np.array(
        [
            np.sum((line.weights @ drawn) ** 2, axis=0) / line.degrees_of_freedom
            for line in table.lines
        ]
    )
    found = np.sqrt(np.maximum(np.linalg.inv(table.expected) @ squares, 0.0))
    return {s: _middle(found[i], confidence) for i, s in enumerate(table.sources)}


def _middle(values: FloatArray, confidence: float) -> Interval:
    low, high = np.quantile(values, [0.5 - 0.5 * confidence, 0.5 + 0.5 * confidence])
    return float(low), float(high)
