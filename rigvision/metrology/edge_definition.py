"""How far an edge's outline, as the picture shows it, may lie from where it is taken to be.

Beyond noise: a round's shading depends on polish, paint and lamps, and misleads where the
edge is put. Kept apart from the gap's own arithmetic, as it belongs to how edges are found.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigvision.ground.measured import freedom_of
from rigvision.ground.propagation import Source


@dataclass(frozen=True, slots=True)
class EdgeDefinitionTuning:
    """Standard uncertainties in parts of the edge radius."""

    # Shift of one edge at all stations alike: measured on path-traced pictures
    # (docs/accuracy.md).
    common_radii: float = 0.14
    # The same, apart at each station: local dirt, burrs, light.
    station_radii: float = 0.06
    # How well the two are themselves known: judged from campaigns (docs/accuracy.md), in which
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
    apart = np.eye(2 * stations) * tuning.station_radii
    edge_radii = float(np.hypot(tuning.common_radii, tuning.station_radii))
    return Source(
        "edge definition",
        "B",
        np.hstack([common, apart]) * radius_mm,
        freedom_of(tuning.relative_doubt),
        input_uncertainty=edge_radii * radius_mm,
        unit="mm",
        inputs="edges/definition",
    )
