"""Several readings of one set-up solved together: generalised least squares.

Every photo reads the same places, each with its own noise and with influences that other
photos share; the solution weighs all values by their full covariance. Influences with a prior
(plane depths, radii) are part of that covariance: solving for them as further unknowns gives
the same places, and what the photos say of them together comes out as ``told``.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import sqrt

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.ground.measured import Influence, Measured
from rigvision.metrology.reading import Place, Pull, Reading


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

    def told(self, key: Hashable) -> tuple[float, float] | None:
        """What the photos say of a shared influence of one variable: estimate and standard
        uncertainty, in units of the prior's; (0, 1) where they say nothing, None if unknown.
        """
        found = [p.by_variable for p in self.pulls if p.key == key]
        if not found:
            return None
        pull = found[0][:, 0]
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
    """A weighted sum of values (N,) with the share of every source, in order of appearance."""
    variance: dict[str, float] = {}
    kinds: dict[str, str] = {}
    for pull in pulls:
        share = by_value @ pull.by_variable
        variance[pull.source] = variance.get(pull.source, 0.0) + float(share @ share)
        kinds[pull.source] = pull.kind
    return Measured(
        value,
        tuple(
            Influence(source, "A" if kinds[source] == "A" else "B", sqrt(v))
            for source, v in variance.items()
        ),
    )


def stacked(readings: Sequence[Reading]) -> tuple[Pull, ...]:
    """The pulls of several readings on all their values, those of one key made one."""
    starts = np.cumsum([0, *(len(r.values) for r in readings)])
    whole: dict[Hashable, Pull] = {}
    for reading, start in zip(readings, starts, strict=False):
        for pull in reading.pulls:
            if pull.key not in whole:
                empty = np.zeros((int(starts[-1]), pull.by_variable.shape[1]))
                whole[pull.key] = Pull(pull.source, pull.kind, pull.key, empty)
            rows = slice(int(start), int(start) + len(reading.values))
            whole[pull.key].by_variable[rows] += pull.by_variable
    return tuple(whole.values())
