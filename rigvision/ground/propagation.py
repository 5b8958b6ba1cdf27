"""Uncertainty from inputs to results by the law of propagation (JCGM 100:2008, 5).

A measurement model is a function of its inputs' deviations from their estimates. Written for
many draws at once, the same function gives the sensitivities here and the Monte Carlo
distribution in ``metrology.monte_carlo``: there is no second model that could differ.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import inf
from typing import Literal

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.ground.measured import Influence, Kind, Measured

Shape = Literal["normal", "rectangular"]

#: Deviations (B, n) of every source's inputs, by its name, to results (B, Q).
Model = Callable[[Mapping[str, FloatArray]], FloatArray]

#: Deviation at which sensitivities are taken, in standard uncertainties: small enough to be
#: the tangent, large enough to stay clear of rounding.
_STEP = 0.1

#: Effects below this part of the combined uncertainty are rounding.
_NO_EFFECT = 1e-9


@dataclass(frozen=True, eq=False)
class Source:
    """A source of uncertainty: inputs that vary together.

    The inputs' deviation from their estimates is ``root @ z``, with z uncorrelated and of
    variance 1; so their covariance is ``root @ root.T``. ``shape`` is each z's distribution;
    with finite degrees of freedom it is Student's t instead of the normal.
    """

    name: str
    kind: Kind
    root: FloatArray  # (n, k), in the inputs' own units
    degrees_of_freedom: float = inf
    shape: Shape = "normal"
    #: Of the input, for the budget: u(x) and its unit. None: z itself, 1 without unit.
    input_uncertainty: float | None = None
    unit: str = ""
    #: Names these inputs wherever they enter another result; "" where none does.
    inputs: str = ""


def single(
    name: str,
    kind: Kind,
    u: float,
    unit: str,
    degrees_of_freedom: float = inf,
    shape: Shape = "normal",
    inputs: str = "",
) -> Source:
    """A source that is one input with standard uncertainty ``u``."""
    return Source(name, kind, np.array([[u]]), degrees_of_freedom, shape, u, unit, inputs)


def root_of(covariance: FloatArray) -> FloatArray:
    """R (n, n) with R R^T = covariance, which may be singular."""
    # As a correlation matrix: beside px^2, rounding would swallow the digits of rad^2.
    scale = np.sqrt(np.diag(covariance))
    unit = np.where(scale > 0.0, scale, 1.0)
    values, vectors = np.linalg.eigh(covariance / np.outer(unit, unit))
    return np.asarray(unit[:, None] * vectors * np.sqrt(np.maximum(values, 0.0)))


def propagate(model: Model, sources: tuple[Source, ...]) -> list[Measured]:
    """Every result of the model with its budget: a line for each source that acts on it."""
    values, effects = linearised(model, sources)
    sizes = np.array([np.linalg.norm(by_source, axis=0) for by_source in effects])  # (S, Q)
    # A source of no size still says that it was thought of; one that does not act, nothing.
    least = _NO_EFFECT * np.linalg.norm(sizes, axis=0)
    counts = (sizes > least) | np.array([[not source.root.any()] for source in sources])
    signed = [by_source.T.tolist() for by_source in effects]  # (Q, k) of each source
    budgets = []
    for k, value in enumerate(values.tolist()):
        acting = np.flatnonzero(counts[:, k]).tolist()
        influences = [_influence(sources[s], float(sizes[s, k]), signed[s][k]) for s in acting]
        budgets.append(Measured(value, tuple(influences)))
    return budgets


def linearised(
    model: Model, sources: tuple[Source, ...]
) -> tuple[FloatArray, tuple[FloatArray, ...]]:
    """The model's results (Q,), and how far each source's standard inputs move them, (k, Q)."""
    stops = np.cumsum([source.root.shape[1] for source in sources])
    parts = [slice(stop - s.root.shape[1], stop) for s, stop in zip(sources, stops, strict=True)]
    size = int(stops[-1])
    deviations = {}
    for source, part in zip(sources, parts, strict=True):
        # Rows: up by each standard input in turn, down by each, and last the estimates.
        rows = np.zeros((2 * size + 1, len(source.root)))
        rows[:size][part] = _STEP * source.root.T
        rows[size : 2 * size][part] = -_STEP * source.root.T
        deviations[source.name] = rows
    results = model(deviations)
    effects = (results[:size] - results[size : 2 * size]) / (2.0 * _STEP)
    return results[-1], tuple(effects[part] for part in parts)


def _influence(source: Source, contribution: float, effects: list[float]) -> Influence:
    u = 1.0 if source.input_uncertainty is None else source.input_uncertainty
    # Several inputs have no common sign.
    signed = effects[0] if len(effects) == 1 else contribution
    return Influence(
        source.name,
        source.kind,
        contribution,
        source.degrees_of_freedom,
        u,
        source.unit,
        signed / u if u > 0.0 else None,
        tuple(effects),
        source.inputs,
    )
