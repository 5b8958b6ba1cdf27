"""Roughly where the slot is: the cut of a profile into sill face, slot and door face.

Light enters as its logarithm: a shadow or a scratch changes it by a factor, and counts as much
on a dark door as on a bright sill. Faces may have borders of their own (``face_pieces``); the
slot may have one, where its inner face gives way to the duct, and the line of sight says where.
So a shadow on the door is a border on a face, which costs a little, and what it would leave
unexplained in a slot that reached up to it costs much.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.vision.face_pieces import FacePieces, PieceTuning
from rigvision.vision.light_curve import DARKEST
from rigvision.vision.lost_station import LossCause
from rigvision.vision.slot_profiles import BoolArray, IndexArray, SlotProfiles
from rigvision.world.frame import Frame


@dataclass(frozen=True, slots=True)
class CutTuning:
    """Every free choice of the search, in millimetres in the plane of the edges."""

    coarse_mm: float = 0.075  # step of the search
    sill_search_mm: float = 1.4  # how far the sill may be from where it should be
    # The gauge sits on the sill, mostly: Student's t with this scale, 3 degrees of freedom.
    sill_prior_mm: float = 0.2
    smallest_gap_mm: float = 0.12
    line_agreement_mm: float = 0.35  # stations further off the others' line are searched again
    least_contrast: float = 0.004  # metal over slot, linear light; less is no edge
    duct_margin: float = 1.2  # of the duct against the inner face, which it cannot outshine
    dark_part: float = 0.25  # of the metal: as dark as this, either is
    inner_brightness: float = 0.6  # of inner face and duct against the metal beside, at most
    # What lies deep gets least light: nats for each factor e by which a face is darker.
    darker_face: float = 5.0
    # Darker than this part of the profile's upper quartile is black: noise and flare rule there.
    black_part: float = 0.02
    # Nats by which a slot must explain a profile better than pieces of one face do.
    least_evidence: float = 1.5
    # Rivals are looked for so far off, in steps; nats a station by which the best must win.
    rival_reach_mm: float = 6.5
    rival_mm: float = 0.3
    least_margin: float = 1.5
    # Nats by which a duct as light as the faces is less likely than a dark one; mostly such a
    # duct is not thought of. Lighter than this part of the darker face, it is light.
    light_duct: float = np.inf
    light_part: float = 0.4
    smallest_light_gap_mm: float = 0.3
    # Before a light duct an edge's round is a darker or lighter line: nats, longest, and by how
    # much it may be darker than its face.
    round: float = 1.0
    round_mm: float = 0.4
    round_drop: float = 1.0  # in the logarithm of light
    steep_part: float = 0.2  # of an edge's steepest rise: less steep, and the edge has ended
    # Rounds fade, so that their dark ends look like the edge; half-way from the face so far off
    # to the darkest of the slot is nearer to it, by at most so much.
    face_mm: tuple[float, float] = (0.25, 0.5)
    most_fade_mm: float = 0.5
    pieces: PieceTuning = field(default_factory=PieceTuning)


@dataclass(frozen=True, slots=True)
class Cut:
    """What one station's profile says: the slot's rough edges, or why there are none."""

    edges_mm: tuple[float, float] | None
    cause: LossCause | None = None
    light: bool = False  # the duct is taken to be light


def coarse_edges(
    profiles: SlotProfiles, frame: Frame, tuning: CutTuning | None = None
) -> list[tuple[float, float] | None]:
    """Sill and door at every station."""
    return [cut.edges_mm for cut in cut_slot(profiles, frame, tuning)]


def cut_slot(profiles: SlotProfiles, frame: Frame, tuning: CutTuning | None = None) -> list[Cut]:
    """Sill and door at every station, and a second look where one strays from the rest."""
    tuning = tuning or CutTuning()
    tables = [_costs(profiles, i, frame, tuning) for i in range(len(profiles.x_mm))]
    found = [_best(table, tuning) for table in tables]
    seen = [(x, *c.edges_mm) for x, c in zip(profiles.x_mm, found, strict=True) if c.edges_mm]
    if len(seen) < 3:
        return _half_way(profiles, found, tuning)
    table = np.array(seen)
    lines = [_median_line(table[:, 0], table[:, k]) for k in (1, 2)]
    expected = np.column_stack([a + b * profiles.x_mm for a, b in lines])
    margin = _margin(tables, expected, tuning)
    if margin < tuning.least_margin:
        return [c if c.edges_mm is None else Cut(None, "two-places") for c in found]
    for index, costs in enumerate(tables):
        edges, near = found[index].edges_mm, tuning.line_agreement_mm
        if costs and (edges is None or np.abs(edges - expected[index]).max() > near):
            found[index] = _best(costs.near(expected[index], near), tuning)
    return _half_way(profiles, found, tuning)


def _half_way(profiles: SlotProfiles, cuts: list[Cut], tuning: CutTuning) -> list[Cut]:
    """The cuts with their edges where light has fallen half-way from the faces to the slot."""
    return [
        cut
        if cut.edges_mm is None or cut.light
        else Cut(_half_way_edges(profiles.y_mm, profiles.light[i], cut.edges_mm, tuning))
        for i, cut in enumerate(cuts)
    ]


def _half_way_edges(
    y_mm: FloatArray, light: FloatArray, edges_mm: tuple[float, float], tuning: CutTuning
) -> tuple[float, float]:
    near, far = tuning.face_mm
    first, last = np.searchsorted(y_mm, edges_mm)
    deepest = int(first + np.argmin(light[first : last + 1]))
    found = []
    for edge_mm, outwards in zip(edges_mm, (-1, 1), strict=True):
        away = outwards * (y_mm - edge_mm)
        level = np.median(light[(away > near) & (away < far) & np.isfinite(light)])
        over = np.flatnonzero(light[deepest::outwards] >= (level + light[deepest]) / 2.0)
        at_mm = float(y_mm[deepest + outwards * over[0]]) if len(over) else edge_mm
        found.append(at_mm if abs(at_mm - edge_mm) <= tuning.most_fade_mm else edge_mm)
    return found[0], found[1]


def _median_line(x: FloatArray, y: FloatArray) -> tuple[float, float]:
    """Theil-Sen line: intercept and slope; half the points may be wrong."""
    i, j = np.triu_indices(len(x), 1)
    slope = float(np.median((y[j] - y[i]) / (x[j] - x[i])))
    return float(np.median(y - slope * x)), slope


@dataclass(frozen=True, slots=True)
class _Costs:
    """Every cut of one profile: its cost in nats, infinite where it is no slot."""

    sill_mm: FloatArray  # (A,) rising
    door_mm: FloatArray  # (B,) rising
    cost: FloatArray  # (A, B)
    values: FloatArray  # (N,) logarithm of light, of which ...
    y_mm: FloatArray  # (N,) ... these are the places
    plain: float  # cost of the profile as one face in pieces, without a slot
    light: BoolArray  # (A, B) whether the duct is taken to be light
    ordered: bool  # some cut has a dark slot's order of brightness
    dark: bool  # a face beside every possible slot is too dark for one to show

    def near(self, edges_mm: FloatArray, within_mm: float) -> _Costs:
        """The cuts whose edges lie within a distance of those (2,)."""
        sill = np.abs(self.sill_mm - edges_mm[0]) <= within_mm
        door = np.abs(self.door_mm - edges_mm[1]) <= within_mm
        return replace(self, cost=np.where(sill[:, None] & door[None, :], self.cost, np.inf))

    def about(self, edges_mm: FloatArray, borders_mm: FloatArray) -> FloatArray:
        """Least cost (K, K) of cuts whose edges lie off those (2,) by each span of ``borders``;
        nowhere more than without a slot.
        """
        n = len(borders_mm) - 1
        pooled = np.full((n, n), self.plain)
        sill = np.searchsorted(borders_mm, self.sill_mm - edges_mm[0]) - 1
        door = np.searchsorted(borders_mm, self.door_mm - edges_mm[1]) - 1
        rows, at = np.unique(sill, return_index=True)
        columns, start = np.unique(door, return_index=True)
        least = np.minimum.reduceat(np.minimum.reduceat(self.cost, at, axis=0), start, axis=1)
        inside = np.ix_((rows >= 0) & (rows < n), (columns >= 0) & (columns < n))
        pooled[np.ix_(rows[(rows >= 0) & (rows < n)], columns[(columns >= 0) & (columns < n)])] = (
            np.minimum(least[inside], self.plain)
        )
        return pooled

    def rises(self, edges_mm: FloatArray, tuning: CutTuning) -> FloatArray:
        """How far (2, 2) the steep rise at sill and door goes on, from and to, off the edges."""
        slope = np.gradient(self.values)
        found = np.zeros((2, 2))
        for k, sign in enumerate((-1.0, 1.0)):
            at = int(np.clip(np.searchsorted(self.y_mm, edges_mm[k]), 2, len(slope) - 3))
            peak = at - 2 + int(np.argmax(sign * slope[at - 2 : at + 3]))
            flat = sign * slope < tuning.steep_part * sign * slope[peak]
            below, above = np.flatnonzero(flat[:peak]), np.flatnonzero(flat[peak:])
            first = int(below[-1]) if len(below) else 0
            last = peak + int(above[0]) if len(above) else len(slope) - 1
            found[k] = self.y_mm[first] - edges_mm[k], self.y_mm[last] - edges_mm[k]
        return found


def _best(costs: _Costs | None, tuning: CutTuning) -> Cut:
    if costs is None:
        return Cut(None, "out-of-view")
    a, b = np.unravel_index(int(np.argmin(costs.cost)), costs.cost.shape)
    if costs.cost[a, b] <= costs.plain - tuning.least_evidence:
        edges_mm = float(costs.sill_mm[a]), float(costs.door_mm[b])
        return Cut(edges_mm, light=bool(costs.light[a, b]))
    if costs.ordered:
        return Cut(None, "disagrees")
    return Cut(None, "dark" if costs.dark else "no-contrast")


def _margin(tables: list[_Costs | None], expected_mm: FloatArray, tuning: CutTuning) -> float:
    """Nats a station by which the slot along two lines (S, 2) wins over the best elsewhere.

    Elsewhere is off the lines in one and the same way at all stations, and past the rise of
    light that is the edge itself.
    """
    width = tuning.rival_mm
    steps = int(tuning.rival_reach_mm / width)
    borders = width * (np.arange(-steps, steps + 2.0) - 0.5)
    off = (borders[1:] + borders[:-1]) / 2.0
    total, rises = np.zeros((len(off), len(off))), []
    for costs, expected in zip(tables, expected_mm, strict=True):
        if costs is not None and costs.cost.size:
            total += costs.about(expected, borders)
            rises.append(costs.rises(expected, tuning))
    # Sill and door, each from and to: where half the stations still see the same edge.
    reach = np.median(rises, axis=0) + width * np.array([-1.0, 1.0])
    same = [(off > low) & (off < high) for low, high in reach]
    here = np.ix_(*same)
    best = float(total[here].min())
    total[here] = np.inf
    return (float(total.min()) - best) / len(rises)


def _costs(profiles: SlotProfiles, index: int, frame: Frame, tuning: CutTuning) -> _Costs | None:
    """Every cut of a station's profile; None where too little of it is in view."""
    seen = np.flatnonzero(np.isfinite(profiles.light[index]))
    if len(seen) < 20:
        return None
    # What reads the edges finds the place; here a few hundredths of a millimetre will do.
    stride = max(1, int(tuning.coarse_mm / float(profiles.y_mm[1] - profiles.y_mm[0])))
    rows = slice(int(seen[0]), int(seen[-1]) + 1, stride)
    y, light = profiles.y_mm[rows], profiles.light[index, rows]
    if not np.isfinite(light).all():
        return None
    n, step, edge_y = len(y), float(y[1] - y[0]), frame.sill.edge_y_mm
    sill = np.arange(5, n - 12)
    sill = sill[np.abs(y[sill] - edge_y) < tuning.sill_search_mm]
    door = np.arange(10, n - 5)
    if not len(sill) or not len(door):
        return None
    s, d = sill[:, None], door[None, :]  # what hangs on one edge alone is worked out once
    inner = _inner_border(profiles, s, d, step)
    black = tuning.black_part * float(np.sort(light)[3 * n // 4]) + DARKEST
    values = np.log(np.maximum(light, 0.0) + black)
    pieces = FacePieces(values, tuning.pieces)
    before, beyond = pieces.before(), pieces.beyond()
    # The inner face darkens with depth; the duct is of one brightness.
    of_inner, of_duct = pieces.line, pieces.level
    low, high = (of_inner, of_duct) if profiles.ray_slope >= 0.0 else (of_duct, of_inner)
    cost = before[s] + low[s, inner] + high[inner, d] + beyond[d]
    seating = 2.0 * np.log1p(((y[s] - edge_y) / tuning.sill_prior_mm) ** 2 / 3.0)
    cost += seating
    cost += tuning.darker_face * (_darkest(values, s, d) - values.min())
    apart = (d - s) * step >= tuning.smallest_gap_mm
    is_slot, metal, slot = _is_slot(light, s, inner, d, profiles.ray_slope >= 0.0, step, tuning)
    cost[~(is_slot & apart)] = np.inf
    bright = metal > tuning.least_contrast
    lit = np.full(cost.shape, np.inf)
    if np.isfinite(tuning.light_duct):
        lit = seating + _light_slot(pieces, s, d, step, tuning)
        lit[~(bright & (slot > tuning.light_part * metal))] = np.inf
    plain = float((before + beyond)[:-1].min()) + tuning.pieces.border
    ordered = bool(np.isfinite(cost).any())
    is_light = lit < cost
    cost = np.minimum(cost, lit)
    return _Costs(y[sill], y[door], cost, values, y, plain, is_light, ordered, not bright.any())


def _light_slot(
    pieces: FacePieces, s: IndexArray, d: IndexArray, step: float, tuning: CutTuning
) -> FloatArray:
    """Cost (A, B) of slots before a duct of whatever brightness, but one: it lights the inner
    face too. Next to the slot the edges' rounds may be of their own.
    """
    reach = max(2, round(tuning.round_mm / step))
    before = pieces.before_round(reach, tuning.round, tuning.round_drop)
    beyond = pieces.beyond_round(reach, tuning.round, tuning.round_drop)
    # The edges' own blur reaches a sample into the slot.
    inside = pieces.level[np.minimum(s + 1, d), np.maximum(d - 1, s)]
    cost = before[s] + inside + beyond[d] + tuning.light_duct
    apart = (d - s) * step >= tuning.smallest_light_gap_mm
    return np.where(apart, cost, np.inf)


def _darkest(values: FloatArray, s: IndexArray, d: IndexArray) -> FloatArray:
    """The least value (A, B) in each slot from ``s`` (A, 1) to ``d`` (1, B)."""
    first = int(s.min())
    least = np.minimum.accumulate(
        np.where(np.arange(first, len(values)) >= s, values[first:], np.inf), axis=1
    )
    return np.asarray(least[:, np.maximum(d[0] - 1 - first, 0)])


def _is_slot(
    light: FloatArray,
    s: IndexArray,
    inner: IndexArray,
    d: IndexArray,
    from_above: bool,
    step: float,
    tuning: CutTuning,
) -> tuple[BoolArray, FloatArray, FloatArray]:
    """Which cuts have a slot's order of brightness: both metal edges over its inner face, and
    that over the duct. Light of the darker face beside the slot, and of the slot.
    """
    running = np.concatenate([[0.0], np.cumsum(light)])

    def mean(start: IndexArray, stop: IndexArray) -> FloatArray:
        return np.asarray((running[stop] - running[start]) / np.maximum(stop - start, 1))

    beside = max(3, int(0.35 / step))
    sill = mean(np.maximum(s - beside, 0), s)
    door = mean(d, np.minimum(d + beside, len(light)))
    metal = np.minimum(sill, door)
    # Where one of the two parts is not in view it is as dark as need be.
    first = np.where(inner > s, mean(s, inner), 0.0)
    second = np.where(d > inner, mean(inner, d), 0.0)
    inner_face, duct, beside_it = (first, second, sill) if from_above else (second, first, door)
    slot = mean(s, d)
    order = (
        (metal - slot > tuning.least_contrast)
        & (inner_face < tuning.inner_brightness * beside_it)
        & (duct < tuning.inner_brightness * metal)
        & (
            (duct < tuning.duct_margin * inner_face)
            | (duct < tuning.dark_part * metal)
            | (inner_face == 0.0)
        )
    )
    return np.asarray(order), metal, slot


def _inner_border(profiles: SlotProfiles, s: IndexArray, d: IndexArray, step: float) -> IndexArray:
    """Where the inner face of sill (seen from above) or door (from below) gives way to duct."""
    slope, radius = profiles.ray_slope, profiles.radius_mm
    if slope >= 0.0:
        depth = slope * (profiles.sill_depth_mm - radius) / step
        return np.asarray(np.minimum(s + round(depth), np.maximum(s, d)))
    depth = -slope * (profiles.door_depth_mm - radius) / step
    return np.asarray(np.maximum(d - round(depth), np.minimum(s, d)))
