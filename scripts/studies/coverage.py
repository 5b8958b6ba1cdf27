"""Studies drawn from known components: what is found on average, and what intervals hold."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from rigvision.training.component import PARTS, Part, components_of
from rigvision.training.mean_squares import (
    VarianceTable,
    crossed_table,
    effect_columns,
    nested_table,
)
from rigvision.training.readings import Readings, readings_of

#: Standard deviations of settings, people, interaction, shots.
TRUTH = {"settings": 1.0, "people": 0.5, "interaction": 0.4, "shots": 0.3}
WORDS = {
    "repeatability": "shot to shot",
    "people": "people",
    "interaction": "interaction",
    "gauge": "gauge and photo in all",
    "settings": "settings",
}
Cells = list[tuple[int, int, int]]  # setting, person, shots


@dataclass(frozen=True, slots=True)
class Layout:
    name: str
    cells: Cells
    nested: bool = False


@dataclass(frozen=True, slots=True)
class Row:
    """``found`` over ``true`` variance, and how often the 95 % interval held the true one."""

    layout: str
    part: Part
    true: float
    found: float
    held: float


LAYOUTS = (
    Layout("10 x 3, 3 shots", [(i, j, 3) for i in range(10) for j in range(3)]),
    Layout("8 x 4, 1 to 3 shots", [(i, j, 1 + (i + j) % 3) for i in range(8) for j in range(4)]),
    Layout(
        "8 x 4, a fifth of the cells missing",
        [(i, j, 1 + (i * j) % 2) for i in range(8) for j in range(4) if (i + 2 * j) % 5],
    ),
    Layout(
        "nested, 5 people, 3 settings each, 1 to 3 shots",
        [(3 * j + k, j, 1 + (j + k) % 3) for j in range(5) for k in range(3)],
        nested=True,
    ),
)


def rows_of(layout: Layout, studies: int, seed: int) -> list[Row]:
    """Figures of so many drawn studies."""
    truth = {s: d for s, d in TRUTH.items() if not (layout.nested and s == "interaction")}
    cells = [(f"{i}", f"{j}", 0.0) for i, j, n in layout.cells for _ in range(n)]
    readings = readings_of(cells)
    table = nested_table(readings) if layout.nested else crossed_table(readings, interaction=True)
    squares = _squares(readings, table, truth, studies, seed)
    found: dict[Part, list[float]] = {}
    held: dict[Part, int] = {}
    for values in squares.T:
        lines = tuple(
            replace(line, value=float(v)) for line, v in zip(table.lines, values, strict=True)
        )
        for component in components_of(VarianceTable(lines, table.estimator)):
            part = component.part
            low, high = component.interval or (0.0, 0.0)
            found.setdefault(part, []).append(component.estimated)
            held[part] = held.get(part, 0) + (low <= _true(part, truth) <= high)
    return [
        Row(layout.name, p, _true(p, truth), float(np.mean(found[p])), held[p] / studies)
        for p in WORDS
        if p in found
    ]


def table_of(rows: list[Row]) -> str:
    """As Markdown."""
    lines = [
        "| cells | part | found / true variance, mean | 95 % interval holds it |",
        "| --- | --- | ---: | ---: |",
    ]
    for row in rows:
        lines.append(
            f"| {row.layout} | {WORDS[row.part]} | {row.found / row.true:.3f} | "
            f"{100 * row.held:.1f} % |"
        )
    return "\n".join(lines)


def _squares(
    readings: Readings, table: VarianceTable, truth: dict[str, float], studies: int, seed: int
) -> np.ndarray:
    """Mean squares of drawn studies. (lines, studies)"""
    rng = np.random.default_rng(seed)
    size = readings.values.size
    columns = effect_columns(readings)
    drawn = np.zeros((size, studies))
    for source, deviation in truth.items():
        effect = np.eye(size) if source == "shots" else columns[source]
        drawn += deviation * effect @ rng.standard_normal((effect.shape[1], studies))
    return np.array(
        [
            np.sum((line.weights @ drawn) ** 2, axis=0) / line.degrees_of_freedom
            for line in table.lines
        ]
    )


def _true(part: Part, truth: dict[str, float]) -> float:
    return sum(truth[s] ** 2 for s in PARTS[part] if s in truth)
