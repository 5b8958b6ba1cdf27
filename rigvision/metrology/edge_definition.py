"""How far an edge's outline, as the picture shows it, may lie from where it is taken to be.

What reads the edges says how far the shading that it knows may mislead it (``edge fit``). Here
stands what it cannot know: polish, paint, dirt and lamps unlike any it was shown. Kept apart
from the gap's own arithmetic, as it belongs to how edges are found.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigvision.ground.measured import freedom_of
from rigvision.ground.propagation import Source


@dataclass(frozen=True, slots=True)
class EdgeDefinitionTuning:
    """Standard uncertainties in parts of the edge radius."""

    # Shift of one edge at all stations alike: what errors on path-traced development pictures
    # exceeded the reading's own account by (docs/accuracy.md).
    common_radii: float = 0.08
    # How well that is itself known: judged from campaigns (docs/accuracy.md), in which
    # error over stated uncertainty exceeded 1 by 0.19 in the worst class of gaps.
    relative_doubt: float = 0.15


def edge_definition(
    stations: int, radius_mm: float, tuning: EdgeDefinitionTuning | None = None
) -> Source:
    """Source of edge errors (2 S,), sill and door of each station, in mm along y.

    Sill and door face each other and are lit apart: each has a shift of its own, common to
    its stations.
    """
    tuning = tuning or EdgeDefinitionTuning()
    common = np.tile(np.eye(2), (stations, 1)) * tuning.common_radii
    return Source(
        "edge definition",
        "B",
        common * radius_mm,
        freedom_of(tuning.relative_doubt),
        input_uncertainty=tuning.common_radii * radius_mm,
        unit="mm",
        inputs="edges/definition",
    )
