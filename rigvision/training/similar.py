"""Earlier shots that are most like one: in figures, in how they were taken, in their light."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import log

import numpy as np
import numpy.typing as npt

from rigvision.training.shot import Shot
from rigvision.training.shot_pictures import Pictures, ShownPictures

#: Differences that count as much as half a tolerance does in a figure: of view, then of light.
VIEW_SCALES = {"tilt_deg": 15.0, "distance": 0.5}
LIGHT_SCALES = {"mean": 0.12, "spread": 0.08, "warmth": 0.25}
MOST = 4
#: Fewer facts in common than this say nothing.
LEAST_COMMON = 3


@dataclass(frozen=True, slots=True)
class Similar:
    """``apart``: the root mean square of all differences, 1 where each is half a tolerance."""

    shot: Shot
    apart: float


def similar_earlier(
    shots: Sequence[Shot], pictures: Mapping[str, Pictures]
) -> dict[str, tuple[Similar, ...]]:
    """For each shot, by its key, the nearest that were made before it, the nearest first."""
    if not shots:
        return {}
    facts = [dict(_facts(shot, pictures.get(shot.key))) for shot in shots]
    names = sorted({name for known in facts for name in known})
    table = np.array([[known.get(name, np.nan) for name in names] for known in facts])
    return {shot.key: tuple(_nearest(shots, table, at)) for at, shot in enumerate(shots)}


def _facts(shot: Shot, pictures: Pictures | None) -> Iterator[tuple[str, float]]:
    """What is known of a shot, in units of ``apart``."""
    for c in shot.result.decision.characteristics if shot.result.decision else ():
        half = (c.upper - c.lower) / 2.0
        if half > 0.0:
            yield c.quantity, (c.value - (c.upper + c.lower) / 2.0) / half
    view = shot.result.view
    if view.tilt_deg is not None:
        yield "view tilt", view.tilt_deg / VIEW_SCALES["tilt_deg"]
    if view.distance_mm:
        yield "distance", log(max(view.distance_mm, 1.0)) / VIEW_SCALES["distance"]
    if isinstance(pictures, ShownPictures):
        for (name, scale), value in zip(LIGHT_SCALES.items(), pictures.light, strict=True):
            yield f"light {name}", value / scale


def _nearest(shots: Sequence[Shot], table: npt.NDArray[np.float64], at: int) -> Iterator[Similar]:
    apart = table - table[at]
    common = np.isfinite(apart).sum(axis=1)
    squares = np.where(np.isfinite(apart), apart, 0.0) ** 2
    distance = np.sqrt(squares.sum(axis=1) / np.maximum(common, 1))
    shot, given = shots[at], 0
    for other in np.argsort(distance, kind="stable"):
        if common[other] < LEAST_COMMON or not _is_earlier(shots[other], other, shot, at):
            continue
        yield Similar(shots[other], float(distance[other]))
        given += 1
        if given == MOST:
            return


def _is_earlier(other: Shot, place: int, shot: Shot, at: int) -> bool:
    """By the time it was made; by its place where neither has one. Never the same photo."""
    if place == at or other.result.photo.sha256 == shot.result.photo.sha256:
        return False
    return (other.made_at, place) < (shot.made_at, at)
