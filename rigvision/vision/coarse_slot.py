"""Roughly where the slot is: the cut of a profile into sill face, slot and door face."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rigvision.ground.conventions import FloatArray
from rigvision.vision.slot_profiles import BoolArray, SlotProfiles
from rigvision.world.frame import Frame

IndexArray = npt.NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class CutTuning:
    """Every free choice of the search, in millimetres in the plane of the edges."""

    coarse_mm: float = 0.075  # step of the search
    sill_search_mm: float = 1.4  # how far the sill may be from where it should be
    sill_prior_mm: float = 0.5  # the gauge sits on it, or nearly
    smallest_gap_mm: float = 0.12
    line_agreement_mm: float = 0.35  # stations further off the others' line are searched again
    least_contrast: float = 0.004  # metal over slot, linear light; less is no edge
    duct_margin: float = 1.2  # of the duct against the inner face, which it cannot outshine
    dark_part: float = 0.25  # of the metal: as dark as this, either is
    inner_brightness: float = 0.6  # of inner face and duct against the metal beside, at most


def coarse_edges(
    profiles: SlotProfiles, frame: Frame, tuning: CutTuning | None = None
) -> list[tuple[float, float] | None]:
    """Sill and door at every station, and a second look where one strays from the rest."""
    tuning = tuning or CutTuning()
    free = (-np.inf, np.inf)
    found = [_cut(profiles, i, frame, tuning, free, free) for i in range(len(profiles.x_mm))]
    seen = [(x, *edges) for x, edges in zip(profiles.x_mm, found, strict=True) if edges]
    if len(seen) < 3:
        return found
    table = np.array(seen)
    lines = [_median_line(table[:, 0], table[:, k]) for k in (1, 2)]
    for index, x_mm in enumerate(profiles.x_mm):
        expected = [line[0] + line[1] * x_mm for line in lines]
        bounds = [(e - tuning.line_agreement_mm, e + tuning.line_agreement_mm) for e in expected]
        edges = found[index]
        if edges is None or any(
            not low <= e <= high for e, (low, high) in zip(edges, bounds, strict=True)
        ):
            found[index] = _cut(profiles, index, frame, tuning, bounds[0], bounds[1])
    return found


def _median_line(x: FloatArray, y: FloatArray) -> tuple[float, float]:
    """Theil-Sen line: intercept and slope; half the points may be wrong."""
    i, j = np.triu_indices(len(x), 1)
    slope = float(np.median((y[j] - y[i]) / (x[j] - x[i])))
    return float(np.median(y - slope * x)), slope


def _cut(
    profiles: SlotProfiles,
    index: int,
    frame: Frame,
    tuning: CutTuning,
    sill_bounds: tuple[float, float],
    door_bounds: tuple[float, float],
) -> tuple[float, float] | None:
    """The cut into sill face, slot and door face that leaves the least unexplained.

    Faces may shade linearly; the slot has two levels, its visible inner face and the
    duct, whose border lies where the view's angle puts it. Brightness enters as its
    square root, so that a dark door counts as much as a bright sill.
    """
    seen = np.flatnonzero(np.isfinite(profiles.light[index]))
    if len(seen) < 20:
        return None
    # The fit that follows finds the place; here a few hundredths of a millimetre will do.
    stride = max(1, int(tuning.coarse_mm / float(profiles.y_mm[1] - profiles.y_mm[0])))
    rows = slice(int(seen[0]), int(seen[-1]) + 1, stride)
    y, light = profiles.y_mm[rows], profiles.light[index, rows]
    if not np.isfinite(light).all():
        return None
    step = float(y[1] - y[0])
    sums = _RunningSums(np.sqrt(np.maximum(light, 0.0)))
    n = len(y)
    edge_y = frame.sill.edge_y_mm
    low = np.searchsorted(y, max(edge_y - tuning.sill_search_mm, sill_bounds[0]))
    high = np.searchsorted(y, min(edge_y + tuning.sill_search_mm, sill_bounds[1]))
    sill = np.arange(max(int(low), 5), min(int(high), n - 12))
    door = np.arange(10, n - 5)
    door = door[(y[door] >= door_bounds[0]) & (y[door] <= door_bounds[1])]
    if not len(sill) or not len(door):
        return None
    s, d = (a.ravel() for a in np.meshgrid(sill, door, indexing="ij"))
    apart = (d - s) * step >= tuning.smallest_gap_mm
    s, d = s[apart], d[apart]
    if not len(s):
        return None
    inner = _inner_border(profiles, s, d, step)
    cost = sums.line_misfit(np.zeros_like(s), s) + sums.line_misfit(d, np.full_like(d, n))
    cost += sums.level_misfit(s, inner) + sums.level_misfit(inner, d)
    noise = max(float(np.median(np.abs(np.diff(sums.values)))) ** 2, 1e-7)
    cost = cost / noise + ((y[s] - edge_y) / tuning.sill_prior_mm) ** 2
    cost[~_is_slot(sums, s, inner, d, profiles.ray_slope >= 0.0, step, tuning)] = np.inf
    best = int(np.argmin(cost))
    if not np.isfinite(cost[best]):
        return None
    return float(y[s[best]]), float(y[d[best]])


def _is_slot(
    sums: _RunningSums,
    s: IndexArray,
    inner: IndexArray,
    d: IndexArray,
    from_above: bool,
    step: float,
    tuning: CutTuning,
) -> BoolArray:
    """Which cuts have a slot's order of brightness: both metal edges over its inner face, and
    that over the duct. Else a shadow's border on a face could pass for an edge.
    """
    beside = max(3, int(0.35 / step))
    sill = sums.mean(np.maximum(s - beside, 0), s) ** 2
    door = sums.mean(d, np.minimum(d + beside, len(sums.values))) ** 2
    metal = np.minimum(sill, door)
    # Where one of the two parts is not in view it is as dark as need be.
    first = np.where(inner > s, sums.mean(s, inner) ** 2, 0.0)
    second = np.where(d > inner, sums.mean(inner, d) ** 2, 0.0)
    inner_face, duct, beside_it = (first, second, sill) if from_above else (second, first, door)
    whole = sums.mean(s, d) ** 2
    return np.asarray(
        (metal - whole > tuning.least_contrast)
        & (inner_face < tuning.inner_brightness * beside_it)
        & (duct < tuning.inner_brightness * metal)
        & ((duct < tuning.duct_margin * inner_face) | (duct < tuning.dark_part * metal))
    )


def _inner_border(profiles: SlotProfiles, s: IndexArray, d: IndexArray, step: float) -> IndexArray:
    """Where the inner face of sill (seen from above) or door (from below) gives way to duct."""
    slope, radius = profiles.ray_slope, profiles.radius_mm
    if slope >= 0.0:
        depth = slope * (profiles.sill_depth_mm - radius) / step
        return np.asarray(np.minimum(s + round(depth), d))
    depth = -slope * (profiles.door_depth_mm - radius) / step
    return np.asarray(np.maximum(d - round(depth), s))


class _RunningSums:
    """Misfit of straight or level pieces of a profile, each from a few running sums."""

    def __init__(self, values: FloatArray) -> None:
        index = np.arange(len(values), dtype=float)
        self.values = values

        def running(v: FloatArray) -> FloatArray:
            return np.concatenate([[0.0], np.cumsum(v)])

        self._v, self._vv, self._iv = (running(v) for v in (values, values**2, index * values))

    def mean(self, start: IndexArray, stop: IndexArray) -> FloatArray:
        return np.asarray((self._v[stop] - self._v[start]) / np.maximum(stop - start, 1))

    def level_misfit(self, start: IndexArray, stop: IndexArray) -> FloatArray:
        n = np.maximum(stop - start, 1)
        total = self._v[stop] - self._v[start]
        return np.asarray(np.maximum(self._vv[stop] - self._vv[start] - total**2 / n, 0.0))

    def line_misfit(self, start: IndexArray, stop: IndexArray) -> FloatArray:
        n = np.maximum(stop - start, 2).astype(float)
        centre = (start + stop - 1) / 2.0
        total = self._v[stop] - self._v[start]
        cross = self._iv[stop] - self._iv[start] - centre * total
        spread = n * (n**2 - 1.0) / 12.0
        misfit = self.level_misfit(start, stop) - cross**2 / spread
        return np.asarray(np.maximum(misfit, 0.0))
