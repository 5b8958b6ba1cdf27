"""Several readings of one set-up solved together: generalised least squares.

Every photo reads the same places, each with its own noise and with influences that other
photos share; the solution weighs all values by their full covariance. Influences with a prior
(plane depths, radii) are part of that covariance: solving for them as further unknowns gives
the same places, and what the photos say of them together comes out as ``told``.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from math import hypot, sqrt

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.ground.measured import Influence, Measured
from rigvision.metrology.reading import Place, Pull, Reading

#: Effects below this part of the combined uncertainty are rounding.
NO_EFFECT = 1e-9


@dataclass(frozen=True)
class JointSolution:
    """Places (P,) that explain all N values best, and how they follow from each value."""

    places: tuple[Place, ...]
    values: FloatArray  # (P,)
    gain: FloatArray  # (P, N), places by values
    chi_squared: float
    degrees_of_freedom: int
    pulls: tuple[Pull, ...]  # on all N values; no two with the same key
    _weighted_residuals: FloatArray  # (N,), inverse covariance times what is left over
    _innovation: FloatArray  # (N, N), inverse covariance with the places fitted

    def value(self, place: Place) -> float | None:
        return float(self.values[self.places.index(place)]) if place in self.places else None

    @cached_property
    def covariance(self) -> FloatArray:
        """(P, P) of the places."""
        shares = (self.gain @ p.by_variable for p in self.pulls)
        return np.asarray(sum(s @ s.T for s in shares))

    def measured(self, value: float, by_place: FloatArray) -> Measured:
        """A figure with its budget; ``by_place`` (P,) is its derivative by the places."""
        return budget(value, by_place @ self.gain, self.pulls)

    def told(self, key: Hashable, variable: int = 0) -> tuple[float, float] | None:
        """What the photos say of a shared influence's variable: estimate and standard
        uncertainty, in units of the prior's; (0, 1) where they say nothing, None if unknown.
        """
        found = [p.by_variable for p in self.pulls if p.key == key]
        if not found:
            return None
        pull = found[0][:, variable]
        left = 1.0 - float(pull @ self._innovation @ pull)
        return float(pull @ self._weighted_residuals), sqrt(max(left, 0.0))


def solve(readings: Sequence[Reading]) -> JointSolution:
    """The places that all readings share. There must be at least one reading."""
    places = tuple(dict.fromkeys(place for r in readings for place in r.places))
    values = np.concatenate([r.values for r in readings])
    design = np.zeros((len(values), len(places)))
    order = {place: k for k, place in enumerate(places)}
    seen = [order[place] for r in readings for place in r.places]
    design[np.arange(len(values)), seen] = 1.0
    pulls = stacked(readings)
    covariance = sum((p.by_variable @ p.by_variable.T for p in pulls), np.zeros((1, 1)))
    inverse = np.linalg.inv(covariance)
    weighted_design = design.T @ inverse
    gain = np.asarray(np.linalg.solve(weighted_design @ design, weighted_design))
    found = gain @ values
    left_over = values - design @ found
    weighted = inverse @ left_over
    return JointSolution(
        places,
        found,
        gain,
        float(left_over @ weighted),
        len(values) - len(places),
        pulls,
        weighted,
        np.asarray(inverse - weighted_design.T @ gain),
    )


def budget(value: float, by_value: FloatArray, pulls: Sequence[Pull]) -> Measured:
    """A weighted sum of values (N,), with a line for each source that acts on it."""
    effects: dict[str, list[tuple[Pull, FloatArray]]] = {}
    for pull in pulls:
        effects.setdefault(pull.source, []).append((pull, by_value @ pull.by_variable))
    influences = [_influence(source, parts) for source, parts in effects.items()]
    least = NO_EFFECT * hypot(*(i.standard_uncertainty for i in influences))
    return Measured(value, tuple(i for i in influences if i.standard_uncertainty > least))


def _influence(source: str, parts: list[tuple[Pull, FloatArray]]) -> Influence:
    """One line of the budget from all pulls of a source.

    How well its size is known does not grow with the photos: the fewest degrees of freedom
    count. ``effects`` holds all of its variables, so that two figures of one solution know
    how far they err together.
    """
    effects = np.concatenate([effect for _, effect in parts])
    return Influence(
        source,
        parts[0][0].kind,
        float(np.linalg.norm(effects)),
        min(pull.degrees_of_freedom for pull, _ in parts),
        effects=tuple(effects.tolist()),
        inputs=f"joint/{source}",
    )


def stacked(readings: Sequence[Reading]) -> tuple[Pull, ...]:
    """The pulls of several readings on all their values, those of one key made one."""
    starts = np.cumsum([0, *(len(r.values) for r in readings)])
    whole: dict[Hashable, Pull] = {}
    for reading, start in zip(readings, starts, strict=False):
        for pull in reading.pulls:
            if pull.key not in whole:
                empty = np.zeros((int(starts[-1]), pull.by_variable.shape[1]))
                whole[pull.key] = replace(pull, by_variable=empty)
            rows = slice(int(start), int(start) + len(reading.values))
            whole[pull.key].by_variable[rows] += pull.by_variable
    return tuple(whole.values())
