"""What one photo says of the set-up, as numbers that several photos of it can share.

A reading is a list of places (the sill at a station, the yoke's shoulder, ...) with their
values, and the influences on them. An influence is a matrix: so many independent variables of
unit variance, times how far each pulls every value. Two photos whose influences carry the same
key share these variables, and so err together; everything else is a photo's own.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.metrology.gap import GapTuning
from rigvision.metrology.yoke import YokeTuning
from rigvision.vision.pose import CameraPrior, Pose, SharedPulls
from rigvision.vision.slot import SlotEdges
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

#: Keys of the depths, which photos from several directions see by parallax.
EDGES_DEPTH, YOKE_DEPTH, SOCKET_DEPTH = "depth of edges", "depth of yoke", "depth of socket"


@dataclass(frozen=True, slots=True)
class JointTuning:
    """How much of a fit's doubt all photos share, as part of its variance.

    Metal, paint and lamps are the same in every photo and mislead each of them alike. Measured
    on 30 quick scenes with three views each: products of two views' errors of one figure, over
    the figure's mean square error.
    """

    # Gap 0.94, taper 0.69; from directions that lie 20 to 40 deg apart the gap's is still 0.89.
    edges_shared: float = 0.9
    # Lateral offset 0.12, tilt 0.19, seat gap 0.15, clock 0.12: from another direction a barrel
    # is seen before other things.
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
    kind: Literal["A", "B"]
    key: Hashable
    by_variable: FloatArray  # (R, K)


@dataclass(frozen=True, slots=True)
class Block:
    """Part of a reading before the view's own influence is added."""

    places: tuple[Place, ...]
    values: FloatArray  # (R,)
    by_view: FloatArray  # (R, 11), derivative by the view's parameters
    pulls: tuple[Pull, ...]


@dataclass(frozen=True, slots=True)
class Reading:
    """Values (R,) of the places that one photo shows, and everything that pulls at them."""

    key: str
    places: tuple[Place, ...]
    values: FloatArray
    pulls: tuple[Pull, ...]

    def combined(self, weights: FloatArray, places: tuple[Place, ...]) -> Reading:
        """The same photo read as weighted sums of its values, weights (Q, R)."""
        pulls = tuple(Pull(p.source, p.kind, p.key, weights @ p.by_variable) for p in self.pulls)
        return Reading(self.key, places, weights @ self.values, pulls)


def joined(view: PhotoView, blocks: list[Block]) -> Reading:
    """Blocks of one photo as one reading, with the pulls of the view they all hang on."""
    starts = np.cumsum([0, *(len(b.values) for b in blocks)])
    pulls = [
        Pull(p.source, p.kind, p.key, _placed(p.by_variable, int(start), int(starts[-1])))
        for block, start in zip(blocks, starts, strict=False)
        for p in block.pulls
    ]
    by_view = np.concatenate([b.by_view for b in blocks])
    return Reading(
        view.key,
        tuple(place for b in blocks for place in b.places),
        np.concatenate([b.values for b in blocks]),
        (*pulls, *_view_pulls(by_view, view)),
    )


def shared_and_own(
    source: str, kind: Literal["A", "B"], by_variable: FloatArray, part: float, view: PhotoView
) -> Iterator[Pull]:
    """An influence of which all photos share a part of the variance."""
    yield Pull(source, kind, source, np.sqrt(part) * by_variable)
    yield Pull(source, kind, (view.key, source), np.sqrt(1.0 - part) * by_variable)


def factor(covariance: FloatArray) -> FloatArray:
    """F (n, n) with F F' = covariance; what rounding made negative counts as zero."""
    values, vectors = np.linalg.eigh(covariance)
    return np.asarray(vectors * np.sqrt(np.maximum(values, 0.0)))


def _view_pulls(by_view: FloatArray, view: PhotoView) -> Iterator[Pull]:
    """Gauge and phone, which other photos share, then what is left of the pose."""
    shared = np.column_stack([view.shared.marks, view.shared.camera])
    yield Pull("mark positions", "B", "mark positions", by_view @ view.shared.marks)
    focal, lens = view.shared.camera[:, :1], view.shared.camera[:, 1:]
    yield Pull("focal length", "B", (view.prior, "focal length"), by_view @ focal)
    yield Pull("lens", "B", (view.prior, "lens"), by_view @ lens)
    own = factor(view.pose.covariance - shared @ shared.T)
    yield Pull("pose", "B", (view.key, "pose"), by_view @ own)


def _placed(rows: FloatArray, start: int, total: int) -> FloatArray:
    whole = np.zeros((total, rows.shape[1]))
    whole[start : start + len(rows)] = rows
    return whole
