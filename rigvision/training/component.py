"""Variance components of a study: how much settings, people and shots each contribute."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from typing import Literal

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.training.intervals import Interval, variance_interval
from rigvision.training.mean_squares import Source, VarianceTable
from rigvision.training.quantiles import f_tail

Part = Literal[
    "repeatability", "people", "interaction", "reproducibility", "gauge", "settings", "total"
]
#: What each part is made of, in the order of a report.
PARTS: dict[Part, tuple[Source, ...]] = {
    "repeatability": ("shots",),
    "people": ("people",),
    "interaction": ("interaction",),
    "reproducibility": ("people", "interaction"),
    "gauge": ("shots", "people", "interaction"),
    "settings": ("settings",),
    "total": ("settings", "people", "interaction", "shots"),
}


@dataclass(frozen=True, slots=True)
class Component:
    """``variance`` is never negative; ``estimated`` is what came out before it was cut at 0.

    ``interval`` is of the variance, cut at 0 too; None where the method has none. For a sum of
    parts ``variance`` is the sum of the parts as they are counted.
    """

    part: Part
    variance: float
    estimated: float
    interval: Interval | None

    @property
    def deviation(self) -> float:
        """Standard deviation, in the readings' unit."""
        return sqrt(self.variance)

    @property
    def deviation_interval(self) -> Interval | None:
        return None if self.interval is None else (sqrt(self.interval[0]), sqrt(self.interval[1]))


@dataclass(frozen=True, slots=True)
class SourceTest:
    """Whether a source contributes beyond chance. ``probability`` None where nothing varies."""

    source: Source
    f: float | None
    freedom: float
    freedom_below: float
    probability: float | None


def components_of(table: VarianceTable, confidence: float = 0.95) -> tuple[Component, ...]:
    """All parts that the table can tell. Negative components count as 0."""
    solved = np.linalg.inv(table.expected)
    raw = dict(zip(table.sources, (solved @ table.values).tolist(), strict=True))
    found = []
    for part, made_of in PARTS.items():
        sources = [s for s in made_of if s in raw]
        if not sources or (part == "reproducibility" and "people" not in raw):
            continue
        chosen = np.array([float(s in sources) for s in table.sources])
        low, high = variance_interval(chosen @ solved, table.values, table.freedoms, confidence)
        variance = sum(max(raw[s], 0.0) for s in sources)
        interval = (min(max(low, 0.0), variance), max(high, variance))
        found.append(Component(part, variance, sum(raw[s] for s in sources), interval))
    return tuple(found)


def tests_of(table: VarianceTable) -> tuple[SourceTest, ...]:
    """Each source against what its line would be without it.

    In balanced studies that is one other line; else a combination of lines with Satterthwaite's
    degrees of freedom.
    """
    return tuple(_test(table, i) for i in range(len(table.lines) - 1))


def _test(table: VarianceTable, index: int) -> SourceTest:
    line = table.lines[index]
    without = table.expected[index].copy()
    without[index] = 0.0
    shares = without @ np.linalg.inv(table.expected)
    parts: FloatArray = shares * table.values
    parts[np.abs(shares) < 1e-12 * np.abs(shares).max()] = 0.0
    below = float(parts.sum())
    if below <= 0.0:
        return SourceTest(line.source, None, line.degrees_of_freedom, 0.0, None)
    freedom = below**2 / float(np.sum(parts**2 / table.freedoms))
    f = line.value / below
    probability = f_tail(f, line.degrees_of_freedom, freedom)
    return SourceTest(line.source, f, line.degrees_of_freedom, freedom, probability)
