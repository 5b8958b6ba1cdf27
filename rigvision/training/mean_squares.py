"""The analysis of variance of a study: mean squares, and what each is expected to be.

A sum of squares is the squared length of ``W y`` for some matrix W. Its expectation under
the random model ``y = mean + sum of Z_k u_k``, with var(u_k) the k-th component, is
``sum_k var(u_k) |W Z_k|^2`` (squared Frobenius norm), whatever the cells hold. So expected mean
squares are never typed, and estimates are without bias in balanced and unbalanced studies alike.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.training.readings import IntArray, Readings
from rigvision.training.study_error import StudyError

Source = Literal["settings", "people", "interaction", "shots"]
#: What is left of a column counts as nothing below this part of its length.
_NOTHING = 1e-9
#: A line's length below this part of all readings' is what rounding leaves of 0.
_ROUNDING = 1e-13

BALANCED = "analysis of variance of equally filled cells"
UNWEIGHTED = "unweighted means of unequally filled cells (method of moments)"
FITTING = "fitting constants, as cells differ or are missing (Henderson's method III)"
NESTED = "nested analysis of variance, people first (Henderson's method III where unbalanced)"


@dataclass(frozen=True, slots=True)
class MeanSquare:
    """One line of the table. ``expected`` (K,) is what each component counts in it."""

    source: Source
    degrees_of_freedom: int
    value: float
    expected: FloatArray
    weights: FloatArray  # W, (rows, N): value = |W y|^2 / degrees_of_freedom

    @property
    def sum_of_squares(self) -> float:
        return self.value * self.degrees_of_freedom


@dataclass(frozen=True, slots=True)
class VarianceTable:
    """Lines and components have the same sources in the same order, shots last."""

    lines: tuple[MeanSquare, ...]
    estimator: str

    @property
    def sources(self) -> tuple[Source, ...]:
        return tuple(line.source for line in self.lines)

    @property
    def values(self) -> FloatArray:
        return np.array([line.value for line in self.lines])

    @property
    def freedoms(self) -> FloatArray:
        return np.array([float(line.degrees_of_freedom) for line in self.lines])

    @property
    def expected(self) -> FloatArray:
        """(lines, components)"""
        return np.array([line.expected for line in self.lines])

    def line(self, source: Source) -> MeanSquare | None:
        return next((line for line in self.lines if line.source == source), None)


def crossed_table(readings: Readings, *, interaction: bool) -> VarianceTable:
    """Settings and people crossed, each a random sample of many.

    With one setting or one person that line falls away. With the interaction: equally filled
    cells as usual; unequal, none empty: unweighted means; some empty: fitting constants.
    Without it what it would hold is part of the shots' line.

    Raises StudyError: one shot a cell (no interaction then), nothing repeated, no overlap.
    """
    effects = effect_columns(readings)
    if interaction and _can_interact(readings):
        full = bool(np.all(readings.counts > 0))
        if full and not readings.balanced:
            return _unweighted(readings, effects)
        return _fitted(readings, effects, with_cells=True)
    return _fitted(readings, effects, with_cells=False)


def nested_table(readings: Readings) -> VarianceTable:
    """Each setting belongs to one person. Raises StudyError: nothing to tell settings apart by."""
    effects = effect_columns(readings)
    people, settings = effects.get("people"), effects.get("settings")
    mean = _unit(np.ones((readings.values.size, 1)))
    weights: dict[Source, FloatArray] = {}
    basis = mean
    if people is not None:
        weights["people"] = _added(basis, people).T
        basis = np.hstack([basis, weights["people"].T])
    if settings is not None:
        weights["settings"] = _added(basis, settings).T
        basis = np.hstack([basis, weights["settings"].T])
    weights["shots"] = _rest(basis)
    return _table(readings, weights, effects, NESTED)


def _can_interact(readings: Readings) -> bool:
    """Whether there is an interaction at all. Raises StudyError where nothing tells it apart."""
    if min(readings.counts.shape) < 2:
        return False
    if readings.counts.max() < 2:
        raise StudyError(
            "one-shot-a-cell",
            "No setting was shot twice by one person, so what people do differently at certain "
            "settings cannot be told from what differs from shot to shot.",
            "Take at least two shots a cell; without the interaction it can be worked out.",
        )
    return True


def _fitted(
    readings: Readings, effects: dict[Source, FloatArray], *, with_cells: bool
) -> VarianceTable:
    """Each line is what its columns explain beyond those of the other effect."""
    mean = _unit(np.ones((readings.values.size, 1)))
    main = {k: v for k, v in effects.items() if k in ("settings", "people")}
    weights: dict[Source, FloatArray] = {}
    for source, columns in main.items():
        others = [v for k, v in main.items() if k != source]
        below = _joined(mean, *others)
        weights[source] = _added(below, columns).T
    basis = _joined(mean, *main.values())
    if with_cells:
        weights["interaction"] = _added(basis, effects["interaction"]).T
        basis = np.hstack([basis, weights["interaction"].T])
    weights["shots"] = _rest(basis)
    kept = {k: v for k, v in effects.items() if with_cells or k != "interaction"}
    name = BALANCED if readings.balanced else FITTING
    return _table(readings, weights, kept, name)


def _unweighted(readings: Readings, effects: dict[Source, FloatArray]) -> VarianceTable:
    """Each cell's mean counts once; the harmonic mean of their numbers scales them."""
    cells = effects["interaction"]
    numbers = cells.sum(axis=0)
    average = (cells / numbers).T  # (cells, N)
    scale = np.sqrt(1.0 / np.mean(1.0 / numbers))
    settings, people = average @ effects["settings"], average @ effects["people"]
    mean = _unit(np.ones((len(numbers), 1)))
    by_setting = _added(_joined(mean, people), settings)
    by_person = _added(_joined(mean, settings), people)
    basis = np.hstack([mean, by_setting, by_person])
    weights: dict[Source, FloatArray] = {
        "settings": scale * by_setting.T @ average,
        "people": scale * by_person.T @ average,
        "interaction": scale * _added(basis, np.eye(len(numbers))).T @ average,
        "shots": np.eye(readings.values.size) - cells @ average,
    }
    freedom_of_shots = readings.values.size - len(numbers)
    return _table(readings, weights, effects, UNWEIGHTED, freedom_of_shots)


def _table(
    readings: Readings,
    weights: dict[Source, FloatArray],
    effects: dict[Source, FloatArray],
    estimator: str,
    freedom_of_shots: int | None = None,
) -> VarianceTable:
    effects = {s: effects[s] for s in weights if s != "shots"}
    centred = readings.values - readings.values[0]  # equal readings are then exactly 0
    rounding = _ROUNDING**2 * float(centred @ centred)
    lines = []
    for source, w in weights.items():
        freedom = round(float(np.sum(w**2))) if source == "shots" else w.shape[0]
        if source == "shots" and freedom_of_shots is not None:
            freedom = freedom_of_shots
        if freedom < 1:
            raise _nothing_left(source, estimator)
        counted = [np.sum((w @ z) ** 2) for z in effects.values()]
        counted.append(np.sum(w**2))
        expected = np.array(counted) / freedom
        expected[expected < _NOTHING * expected.max()] = 0.0
        square = float(np.sum((w @ centred) ** 2))
        value = square / freedom if square > rounding else 0.0
        lines.append(MeanSquare(source, freedom, value, expected, w))
    return VarianceTable(tuple(lines), estimator)


def _nothing_left(source: Source, estimator: str) -> StudyError:
    if source == "shots":
        return StudyError(
            "nothing-repeated",
            "No shot was repeated, so what differs from shot to shot cannot be told.",
            "Take at least two shots of the same setting by the same person.",
        )
    if estimator == NESTED:
        return StudyError(
            "one-setting-each",
            "Every person has one setting only, so people and settings cannot be told apart.",
            "Let every person shoot at least two settings of their own.",
        )
    return StudyError(
        "no-overlap",
        "Settings and people cannot be told apart: hardly any setting was shot by two people.",
        "Let every person shoot every setting, or plan the study as nested.",
    )


def effect_columns(readings: Readings) -> dict[Source, FloatArray]:
    """Columns of zeros and ones; effects with one level only are part of the mean."""
    found: dict[Source, FloatArray] = {}
    many_settings, many_people = len(readings.settings) > 1, len(readings.people) > 1
    if many_settings:
        found["settings"] = _columns(readings.setting)
    if many_people:
        found["people"] = _columns(readings.person)
    if many_settings and many_people:
        cell = readings.setting * len(readings.people) + readings.person
        found["interaction"] = _columns(np.unique(cell, return_inverse=True)[1])
    return found


def _columns(index: IntArray) -> FloatArray:
    return np.asarray(index[:, None] == np.arange(index.max() + 1)[None, :], dtype=np.float64)


def _unit(column: FloatArray) -> FloatArray:
    return np.asarray(column / np.linalg.norm(column))


def _joined(basis: FloatArray, *effects: FloatArray) -> FloatArray:
    """An orthonormal basis of all of them together."""
    for columns in effects:
        basis = np.hstack([basis, _added(basis, columns)])
    return basis


def _added(basis: FloatArray, columns: FloatArray) -> FloatArray:
    """Orthonormal directions that columns add to an orthonormal basis. (N, new)"""
    beyond = columns - basis @ (basis.T @ columns)
    beyond -= basis @ (basis.T @ beyond)  # once more: what rounding left
    left, lengths, _ = np.linalg.svd(beyond, full_matrices=False)
    return np.asarray(left[:, lengths > _NOTHING * np.linalg.norm(columns)])


def _rest(basis: FloatArray) -> FloatArray:
    """What no column explains: the projection on the complement. (N, N)"""
    return np.asarray(np.eye(basis.shape[0]) - basis @ basis.T)
