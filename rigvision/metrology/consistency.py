"""Whether several photos show one and the same set-up, and which of them does not.

Each photo's reading is first reduced to the few figures that tell set-ups apart: where the
sill lies, gap, taper, yoke against socket. If one photo is left out, chi-squared of the common
solution falls by what that photo contradicts all others, allowing for what each is unsure of
and for what they share. A fall too large for chance is a contradiction; with two photos it
cannot be told whose, with more it is the photo without which the others agree.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import degrees, log

import numpy as np

from rigvision.ground.chi_squared import chi_squared_tail
from rigvision.ground.conventions import FloatArray
from rigvision.ground.measured import Measured
from rigvision.metrology.joint import budget, solve, stacked
from rigvision.metrology.photo_reading import edge_lines
from rigvision.metrology.reading import (
    CLOCK,
    FACE_X,
    SILL,
    SOCKET_ANGLE,
    SOCKET_Y,
    YOKE_ANGLE,
    YOKE_X,
    YOKE_Y,
    Place,
    Reading,
)
from rigvision.world.frame import Frame


@dataclass(frozen=True, slots=True)
class ConsistencyTuning:
    """When photos count as contradicting each other; common practice."""

    # Of all sets of photos that agree, this part is called contradictory by chance: divided by
    # the number of photos that are tested (Bonferroni).
    false_alarm: float = 0.01
    # A photo is named only where leaving it out explains the rest so many times better than
    # leaving out any other.
    naming_odds: float = 20.0


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure by which set-ups are told apart, in words and in the unit of its values."""

    name: str
    unit: str


SILL_PLACE, SILL_TILT = Figure("place of the sill", "mm"), Figure("direction of the sill", "deg")
GAP, TAPER = Figure("gap", "mm"), Figure("taper", "mm")
_YOKE_FIGURES: dict[Place, Figure] = {
    YOKE_X: Figure("place of the yoke along its slide", "mm"),
    YOKE_Y: Figure("place of the yoke across its slide", "mm"),
    YOKE_ANGLE: Figure("direction of the yoke", "deg"),
    SOCKET_Y: Figure("place of the socket", "mm"),
    SOCKET_ANGLE: Figure("direction of the socket", "deg"),
    FACE_X: Figure("place of the socket's face", "mm"),
    CLOCK: Figure("clock", "deg"),
}
_FIGURES = {f.name: f for f in (SILL_PLACE, SILL_TILT, GAP, TAPER, *_YOKE_FIGURES.values())}


@dataclass(frozen=True, slots=True)
class Contradiction:
    """One photo against all others. Nothing to compare: no degrees of freedom."""

    chi_squared: float
    degrees_of_freedom: int
    differences: Mapping[Figure, Measured]  # this photo minus the others

    @property
    def probability(self) -> float | None:
        """Of contradicting this much by chance."""
        return _probability(self.chi_squared, self.degrees_of_freedom)

    @property
    def largest(self) -> tuple[Figure, Measured] | None:
        """The figure that differs by most standard uncertainties."""
        pairs = self.differences.items()
        return max(pairs, key=lambda p: abs(p[1].value) / p[1].standard_uncertainty, default=None)

    @property
    def weight(self) -> float:
        """By how much more chi-squared falls without this photo than chance would have it."""
        return self.chi_squared - self.degrees_of_freedom


@dataclass(frozen=True, slots=True)
class Consistency:
    """All photos together, and each against the others, by the readings' keys.

    ``agree`` says whether one set-up explains all photos but the odd one, which is compared
    with those, and they among themselves.
    """

    chi_squared: float
    degrees_of_freedom: int
    photos: Mapping[str, Contradiction]
    agree: bool
    odd: str | None = None

    @property
    def probability(self) -> float | None:
        """Of as much contradiction in all by chance."""
        return _probability(self.chi_squared, self.degrees_of_freedom)


def compare_photos(
    readings: Sequence[Reading], frame: Frame, tuning: ConsistencyTuning | None = None
) -> Consistency:
    """Whether the photos show one set-up; where all but one do, which that is."""
    tuning = tuning or ConsistencyTuning()
    figures = [_figures(reading, frame) for reading in readings]
    whole = solve(figures)
    found = _contradictions(figures)
    agree = not _any_beyond_chance(found, tuning)
    odd = None
    if not agree and len(figures) > 2:
        odd = _odd_one_out(found, tuning)
    if odd is not None:
        rest = _contradictions([f for f in figures if f.key != odd])
        if _any_beyond_chance(rest, tuning):
            odd = None
        else:
            found, agree = {**rest, odd: found[odd]}, True
    return Consistency(whole.chi_squared, whole.degrees_of_freedom, found, agree, odd)


def _odd_one_out(found: Mapping[str, Contradiction], tuning: ConsistencyTuning) -> str | None:
    """The photo without which the rest fits best, if no other comes near it."""
    ranked = sorted(found, key=lambda key: -found[key].weight)
    lead = found[ranked[0]].weight - found[ranked[1]].weight
    return ranked[0] if lead > 2.0 * log(tuning.naming_odds) else None


def _any_beyond_chance(found: Mapping[str, Contradiction], tuning: ConsistencyTuning) -> bool:
    level = tuning.false_alarm / max(len(found), 1)
    return any(c.probability is not None and c.probability < level for c in found.values())


def _contradictions(figures: Sequence[Reading]) -> dict[str, Contradiction]:
    """Each photo against all others."""
    if len(figures) < 2:
        return {f.key: Contradiction(0.0, 0, {}) for f in figures}
    whole = solve(figures)
    found = {}
    for one in figures:
        others = [f for f in figures if f.key != one.key]
        rest = solve(others)
        found[one.key] = Contradiction(
            max(whole.chi_squared - rest.chi_squared, 0.0),
            whole.degrees_of_freedom - rest.degrees_of_freedom,
            _differences(one, others),
        )
    return found


def _differences(one: Reading, others: Sequence[Reading]) -> dict[Figure, Measured]:
    """One photo minus the solution of the others, with what they share cancelled."""
    rest = solve(others)
    pulls = stacked([one, *others])
    differences = {}
    for k, place in enumerate(one.places):
        if place in rest.places:
            mine = np.eye(len(one.places))[k]
            theirs = rest.gain[rest.places.index(place)]
            value = float(one.values[k] - rest.values[rest.places.index(place)])
            weights = np.concatenate([mine, -theirs])
            differences[_FIGURES[place[0]]] = budget(value, weights, pulls)
    return differences


def _figures(reading: Reading, frame: Frame) -> Reading:
    """The reading reduced to the figures that it tells."""
    weights: dict[Figure, FloatArray] = _edge_figures(reading, frame)
    for place, figure in _YOKE_FIGURES.items():
        if place in reading.places:
            row = np.zeros(len(reading.places))
            row[reading.places.index(place)] = degrees(1.0) if figure.unit == "deg" else 1.0
            weights[figure] = row
    places = tuple((figure.name, 0.0) for figure in weights)
    return reading.combined(np.stack(list(weights.values())), places)


def _edge_figures(reading: Reading, frame: Frame) -> dict[Figure, FloatArray]:
    """Both edges' straight lines, (R,) weights for each figure that tells them."""
    x_mm = np.array([x for name, x in reading.places if name == SILL])
    if not len(x_mm):
        return {}
    span = frame.gap.stations_x_mm[-1] - frame.gap.stations_x_mm[0]
    lines = np.zeros((4, len(reading.places)))
    # An edge block comes first in its reading, sill and door of each station in turn.
    lines[:, : 2 * len(x_mm)] = np.linalg.pinv(edge_lines(x_mm, frame))
    sill, sill_rise, door, door_rise = lines
    return {
        SILL_PLACE: sill,
        SILL_TILT: degrees(2.0 / span) * sill_rise,
        GAP: door - sill,
        TAPER: 2.0 * (door_rise - sill_rise),
    }


def _probability(chi_squared: float, degrees_of_freedom: int) -> float | None:
    return chi_squared_tail(chi_squared, degrees_of_freedom) if degrees_of_freedom > 0 else None
