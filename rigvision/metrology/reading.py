"""What one photo says of the set-up, as numbers that several photos of it can share.

A reading is a list of places (the sill at a station, the yoke's shoulder, ...) with their
values, and the influences on them. An influence is a matrix: so many independent variables of
unit variance, times how far each pulls every value. Two photos whose influences carry the same
key share these variables, and so err together; everything else is a photo's own.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, field, replace
from math import inf

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.ground.measured import Kind
from rigvision.metrology.gap import GapTuning
from rigvision.metrology.yoke import YokeTuning
from rigvision.vision.camera_prior import CameraPrior
from rigvision.vision.pose import Pose
from rigvision.vision.slot import SlotEdges
from rigvision.vision.view_problem import SharedPulls
from rigvision.vision.yoke import YokeFeatures

#: What is read: a name and, for the edges, the station's x in mm. Lengths in mm, angles in rad.
Place = tuple[str, float]

SILL, DOOR = "sill y", "door y"
YOKE_X: Place = ("yoke x", 0.0)
YOKE_Y: Place = ("yoke y", 0.0)
YOKE_ANGLE: Place = ("yoke angle", 0.0)
SOCKET_Y: Place = ("socket y", 0.0)
SOCKET_ANGLE: Place = ("socket angle", 0.0)
FACE_X: Place = ("socket face x", 0.0)
CLOCK: Place = ("clock", 0.0)


@dataclass(frozen=True, slots=True)
class JointTuning:
    """How much of a fit's doubt all photos share, as part of its variance.

    Metal, paint and lamps are the same in every photo and mislead each of them alike. Measured
    on quick scenes with three views each: products of two views' errors of one figure, over
    the figure's mean square error.
    """

    # 55 sets: gap 0.76 (0.79 in 25 of them, 0.74 in 30), taper 0.34. The network that reads the
    # edges is misled less alike from different directions than a fit of shaded rounds was (0.9).
    edges_shared: float = 0.75
    # The same sets: lateral offset 0.04, tilt 0.02, clock 0.07, as a barrel is seen before other
    # things from another direction; seat gap 0.7, but its errors are a third of what it claims.
    yoke_shared: float = 0.2
    gap: GapTuning = field(default_factory=GapTuning)
    yoke: YokeTuning = field(default_factory=YokeTuning)


@dataclass(frozen=True, slots=True)
class PhotoView:
    """What the vision found in one photo of the set-up; None for what it could not read."""

    key: str  # tells photos apart
    pose: Pose
    shared: SharedPulls
    prior: CameraPrior  # photos with the same one were taken by the same phone
    slot: SlotEdges | None
    yoke: YokeFeatures | None

    @property
    def has_edges(self) -> bool:
        return self.slot is not None and len(self.slot.stations) >= 2


@dataclass(frozen=True, slots=True)
class Pull:
    """One influence on a reading of R values."""

    source: str
    kind: Kind
    key: Hashable
    by_variable: FloatArray  # (R, K)
    degrees_of_freedom: float = inf


@dataclass(frozen=True, slots=True)
class Reading:
    """Values (R,) of the places that one photo shows, and everything that pulls at them."""

    key: str
    places: tuple[Place, ...]
    values: FloatArray
    pulls: tuple[Pull, ...]

    def combined(self, weights: FloatArray, places: tuple[Place, ...]) -> Reading:
        """The same photo read as weighted sums of its values, weights (Q, R)."""
        pulls = tuple(replace(p, by_variable=weights @ p.by_variable) for p in self.pulls)
        return Reading(self.key, places, weights @ self.values, pulls)


def joined(parts: Sequence[Reading]) -> Reading:
    """Readings of different places in one photo as one."""
    starts = np.cumsum([0, *(len(part.values) for part in parts)])
    pulls = tuple(
        replace(p, by_variable=_placed(p.by_variable, int(start), int(starts[-1])))
        for part, start in zip(parts, starts, strict=False)
        for p in part.pulls
    )
    return Reading(
        parts[0].key,
        tuple(place for part in parts for place in part.places),
        np.concatenate([part.values for part in parts]),
        pulls,
    )


def _placed(rows: FloatArray, start: int, total: int) -> FloatArray:
    whole = np.zeros((total, rows.shape[1]))
    whole[start : start + len(rows)] = rows
    return whole
