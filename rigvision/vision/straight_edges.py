"""Which stations lie on one straight edge, and how much more their readings scatter than claimed.

Each station is read by itself; sill and door are straight over all of them. A station off the
line has something else for an edge. Scatter beyond what was claimed is claimed then.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.vision.slot_profiles import BoolArray


@dataclass(frozen=True, slots=True)
class StraightTuning:
    """How straight edges are, and what is no longer chance."""

    edge_mm: float = 0.015  # of machined edges about a straight line, over all stations
    # Of a reading's variance, what differs from station to station and is no line either
    # (``EdgeTuning``: neither common nor drifting). Path-traced samples scatter by 0.016 mm.
    apart: float = 0.15
    outlier: float = 4.0  # standard deviations off the line: one good reading in 10,000
    # Of the stations read, so many must lie on one line, else none is believed: what lies over
    # most of an edge may be straight itself, and leave the true edge to few.
    agreeing_part: float = 0.8
    # Fewer will do where all others lie further into the slot: grease, a hem and dust only ever
    # reach into it, so that strays beyond the line would say that the line is theirs.
    uncovered_part: float = 0.7
    # Times the median claim of the edge, as a variance: where all do not make straight edges,
    # readings that unsure are left out of account.
    most_doubt: float = 9.0
    # Times the claimed variance: more scatter about the line, and it is no edge's. Chance does
    # so to one good edge in 2000 (chi-squared over its 5 degrees of freedom).
    most_scatter: float = 4.5


def on_straight_edges(
    x_mm: FloatArray,
    edges_mm: FloatArray,
    variance_mm2: FloatArray,
    tuning: StraightTuning | None = None,
) -> tuple[BoolArray, FloatArray]:
    """Which stations (S,) lie on both lines, and what variance (2,) their own scatter adds.

    ``edges_mm`` and ``variance_mm2`` are (S, 2): sill and door.
    """
    tuning = tuning or StraightTuning()
    kept, more = _on_lines(x_mm, edges_mm, variance_mm2, len(x_mm), tuning)
    if kept.any() or not len(x_mm):
        return kept, more
    sure = np.all(variance_mm2 <= tuning.most_doubt * np.median(variance_mm2, axis=0), axis=1)
    if not sure.all():
        kept[sure], more = _on_lines(
            x_mm[sure], edges_mm[sure], variance_mm2[sure], len(x_mm), tuning
        )
    return kept, more


def _on_lines(
    x_mm: FloatArray,
    edges_mm: FloatArray,
    variance_mm2: FloatArray,
    of_all: int,
    tuning: StraightTuning,
) -> tuple[BoolArray, FloatArray]:
    """``on_straight_edges`` of stations that all count, ``of_all`` that were read."""
    kept = np.ones(len(x_mm), dtype=bool)
    if len(x_mm) < 3:
        return kept, np.zeros(2)
    covered = kept.copy()
    own = tuning.apart * variance_mm2 + tuning.edge_mm**2
    for edge, into_slot in enumerate((1.0, -1.0)):
        line = _consensus(x_mm, edges_mm[:, edge], own[:, edge], tuning)
        off = edges_mm[:, edge] - line[0] - line[1] * x_mm
        on_line = np.abs(off) <= tuning.outlier * np.sqrt(own[:, edge])
        kept &= on_line
        covered &= on_line | (into_slot * off > 0.0)
    least = tuning.uncovered_part if covered.all() else tuning.agreeing_part
    if kept.sum() < max(2, least * of_all):
        return np.zeros(len(x_mm), dtype=bool), np.zeros(2)
    claimed = own[kept].mean(axis=0)
    scatter = np.array([_scatter(x_mm[kept], edges_mm[kept, e], own[kept, e]) for e in range(2)])
    if (scatter > tuning.most_scatter * claimed).any():
        return np.zeros(len(x_mm), dtype=bool), np.zeros(2)
    return kept, np.maximum(scatter - claimed, 0.0)


def _consensus(
    x: FloatArray, y: FloatArray, variance: FloatArray, tuning: StraightTuning
) -> FloatArray:
    """Intercept and slope of the line that most readings lie on: of those through two of them,
    the one with the least squares, each counted up to an outlier's; then fitted to what is near.
    """
    i, j = np.triu_indices(len(x), 1)
    slope = (y[j] - y[i]) / (x[j] - x[i])
    start = y[i] - slope * x[i]
    squares = (y - start[:, None] - slope[:, None] * x) ** 2 / variance
    best = int(np.argmin(np.minimum(squares, tuning.outlier**2).sum(axis=1)))
    near = squares[best] <= tuning.outlier**2
    return _fit(x[near], y[near], variance[near])


def _fit(x: FloatArray, y: FloatArray, variance: FloatArray) -> FloatArray:
    design = np.column_stack([np.ones_like(x), x])
    weighted = design.T / variance
    return np.asarray(np.linalg.solve(weighted @ design, weighted @ y))


def _scatter(x: FloatArray, y: FloatArray, variance: FloatArray) -> float:
    """Variance of readings about the straight line through them; 0 where two make the line."""
    if len(x) < 3:
        return 0.0
    line = _fit(x, y, variance)
    return float(np.sum((y - line[0] - line[1] * x) ** 2)) / (len(x) - 2)
