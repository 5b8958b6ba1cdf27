"""Gauge study by averages and ranges, as it is done with paper and pencil (AIAG MSA)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.training.component import Component, Part
from rigvision.training.range_constants import range_constant, range_limit
from rigvision.training.readings import Readings
from rigvision.training.study_error import StudyError


@dataclass(frozen=True, slots=True)
class AverageRange:
    """``mean_ranges`` are the people's; ``limit`` is what ranges stay under by chance.

    It knows no interaction: what people do differently at certain settings is lost in it.
    """

    mean_ranges: tuple[float, ...]
    mean_range: float
    difference_of_people: float
    range_of_settings: float
    limit: float
    components: tuple[Component, ...]


def average_range(readings: Readings) -> AverageRange:
    """Raises StudyError where cells are not equally filled with at least two shots."""
    shots = int(readings.counts.flat[0])
    if not readings.balanced or shots < 2:
        raise StudyError(
            "not-for-ranges",
            "Averages and ranges need the same number of shots, two or more, in every cell.",
            "Use the analysis of variance, which does without.",
        )
    cells = cell_values(readings)
    ranges = np.ptp(cells, axis=2)
    by_person = cells.mean(axis=(0, 2))
    by_setting = cells.mean(axis=(1, 2))
    mean_range = float(ranges.mean())
    difference, spread = float(np.ptp(by_person)), float(np.ptp(by_setting))
    return AverageRange(
        tuple(ranges.mean(axis=0).tolist()),
        mean_range,
        difference,
        spread,
        mean_range * range_limit(shots),
        range_components(mean_range, difference, spread, cells.shape),
    )


def cell_values(readings: Readings) -> FloatArray:
    """Readings of equally filled cells. (settings, people, shots)"""
    order = np.lexsort((readings.person, readings.setting))
    settings, people = readings.counts.shape
    return readings.values[order].reshape(settings, people, -1)


def range_components(
    mean_range: float, difference: float, spread: float, shape: tuple[int, ...]
) -> tuple[Component, ...]:
    """From the mean range in a cell, the range of people's and of settings' averages.

    ``shape``: settings, people, shots a cell.
    """
    settings, people, shots = shape
    repeat = (mean_range * range_constant(shots)) ** 2
    found = [_component("repeatability", repeat)]
    person = 0.0
    if people > 1:
        between = (difference * range_constant(people, 1)) ** 2 - repeat / (settings * shots)
        person = max(between, 0.0)
        found.append(Component("people", person, between, None))
        found.append(Component("reproducibility", person, between, None))
    found.append(_component("gauge", repeat + person))
    setting = (spread * range_constant(settings, 1)) ** 2 if settings > 1 else 0.0
    if settings > 1:
        found.append(_component("settings", setting))
    found.append(_component("total", repeat + person + setting))
    return tuple(found)


def _component(part: Part, variance: float) -> Component:
    return Component(part, variance, variance, None)
