"""How an edge runs along each station: whether it is straight, and where glare swallows it.

A machined edge is straight to some hundredths of a millimetre, and what hides it is not: grains,
a film of grease, a rag's hem wander. Its place column by column is where the light has fallen
half-way from face to slot; that is not the tangent plane, but runs parallel to it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.vision.slot_profiles import BoolArray, SlotPixels


@dataclass(frozen=True, slots=True)
class CourseTuning:
    """Where an edge's course is looked for, in mm in the plane of the edges."""

    reach_mm: float = 0.75  # on either side of the edge
    face_mm: float = 0.3  # further off than this before it, all is face
    piece_mm: float = 0.4  # of edge averaged for one place
    slot_mm: tuple[float, float] = (-0.15, 0.5)  # where the darkest of the slot is, beyond the edge
    shape_mm: float = 0.4  # on either side of an edge, what its light looks like there
    least_pieces: int = 5


@dataclass(frozen=True, slots=True)
class EdgeCourse:
    """Of sill and door at each station."""

    wander_mm: FloatArray  # (S, 2) spread of the edge about a straight line; inf where not seen
    # (S, 2) the part of it that neighbouring pieces share: noise wanders too, but makes no waves
    waves_mm: FloatArray
    clipped: FloatArray  # (S, 2) part of the face beside the edge at the sensor's limit


def edge_course(
    pixels: SlotPixels,
    edges_mm: FloatArray,
    light_duct: BoolArray | None = None,
    tuning: CourseTuning | None = None,
) -> EdgeCourse:
    """Course of the edges found at ``edges_mm`` (S, 2), ``light_duct`` (S,) saying before what."""
    tuning = tuning or CourseTuning()
    lit = np.zeros(len(edges_mm), dtype=bool) if light_duct is None else light_duct
    # The door is the sill's mirror image along an axis that runs down.
    sides = (
        _one_side(pixels.light, pixels.y_mm, edges_mm[:, 0], lit, pixels, tuning),
        _one_side(pixels.light[:, ::-1], -pixels.y_mm[::-1], -edges_mm[:, 1], lit, pixels, tuning),
    )
    wander, waves, clipped = (np.stack(side, axis=1) for side in zip(*sides, strict=True))
    return EdgeCourse(wander, waves, clipped)


def _one_side(
    light: FloatArray,
    v_mm: FloatArray,
    edge_mm: FloatArray,
    lit: BoolArray,
    pixels: SlotPixels,
    t: CourseTuning,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Wander, waves and clipped part (S,) of edges whose face lies before them along ``v_mm``."""
    step = float(v_mm[1] - v_mm[0])
    reach = int(np.ceil(t.reach_mm / step))
    middle = np.rint((edge_mm - v_mm[0]) / step).astype(int)
    middle = np.clip(middle, reach, len(v_mm) - 1 - reach)
    rows = middle[:, None] + np.arange(-reach, reach + 1)
    window = light[np.arange(len(edge_mm))[:, None], rows]  # (S, R, C)
    away = v_mm[rows] - edge_mm[:, None]
    face = (away < 0.0)[:, :, None] & np.isfinite(window)
    clipped = np.sum(face & (window > pixels.limit), axis=(1, 2)) / np.maximum(
        np.sum(face, axis=(1, 2)), 1
    )
    x_mm, pieces = _in_pieces(window, pixels.along_mm, t.piece_mm)
    place = _half_way(pieces, away, t)
    if lit.any():
        near = np.abs(np.arange(-reach, reach + 1)) * step < t.shape_mm
        place[lit] = _by_shape(pieces[lit][:, near])
    off_line = _off_line(x_mm, place * step)
    return _wander(off_line, t), _waves(off_line, t), clipped


def _in_pieces(
    window: FloatArray, along_mm: FloatArray, piece_mm: float
) -> tuple[FloatArray, FloatArray]:
    """Means over a few neighbouring columns: where (P,), light (S, R, P); NaN out of view."""
    each = max(1, round(piece_mm / float(along_mm[1] - along_mm[0])))
    number = len(along_mm) // each
    x_mm = along_mm[: number * each].reshape(number, each).mean(axis=1)
    shape = (*window.shape[:2], number, each)
    return x_mm, window[:, :, : number * each].reshape(shape).mean(axis=3)


def _half_way(pieces: FloatArray, away_mm: FloatArray, t: CourseTuning) -> FloatArray:
    """Row (S, P), between rows too, where light last lies over half-way from face to slot."""
    on_face = away_mm < -t.face_mm
    light = np.where(np.isfinite(pieces), pieces, 0.0)
    order = np.sort(np.where(on_face[:, :, None], light, np.inf), axis=1)
    level = np.take_along_axis(order, (on_face.sum(axis=1) // 2)[:, None, None], axis=1)[:, 0]
    low, high = t.slot_mm
    in_slot = (away_mm > low) & (away_mm < high)
    slot = np.where(in_slot[:, :, None], light, np.inf)
    deepest, bottom = slot.argmin(axis=1), slot.min(axis=1)
    half = (level + bottom) / 2.0
    row = np.arange(light.shape[1])[None, :, None]
    over = (light >= half[:, None]) & (row < deepest[:, None])
    last = np.where(over, row, -1).max(axis=1)
    at = np.clip(last, 0, light.shape[1] - 2)[:, None]
    above = np.take_along_axis(light, at, axis=1)[:, 0]
    below = np.take_along_axis(light, at + 1, axis=1)[:, 0]
    part = (above - half) / np.maximum(above - below, 1e-6)
    seen = (last >= 0) & np.isfinite(pieces).all(axis=1)
    return np.asarray(np.where(seen, at[:, 0] + np.clip(part, 0.0, 1.0), np.nan))


def _by_shape(pieces: FloatArray) -> FloatArray:
    """Row (S, P), from the middle, by which each piece's light is that of all, moved.

    For edges that light neither falls nor rises at in a way that is known before. A piece may
    be brighter or darker than the rest, by a factor and by an amount.
    """
    found = np.full((pieces.shape[0], pieces.shape[2]), np.nan)
    for place, one in zip(found, pieces, strict=True):
        seen = np.isfinite(one).all(axis=0)
        if not seen.any():
            continue
        mean = one[:, seen].mean(axis=1)
        shape = np.column_stack([np.ones_like(mean), mean, -np.gradient(mean)])
        place[seen] = np.linalg.lstsq(shape, one[:, seen], rcond=None)[0][2]
    return found


def _off_line(x_mm: FloatArray, place_mm: FloatArray) -> FloatArray:
    """How far places (S, P) lie off the straight line through all of a station; NaN unseen."""
    seen = np.isfinite(place_mm)
    number = np.maximum(seen.sum(axis=1), 1)
    x = np.where(seen, x_mm, 0.0)
    x = np.where(seen, x - (x.sum(axis=1) / number)[:, None], 0.0)
    v = np.where(seen, place_mm, 0.0)
    v = v - (v.sum(axis=1) / number)[:, None]
    slope = (x * v).sum(axis=1) / np.maximum((x * x).sum(axis=1), 1e-9)
    return np.where(seen, v - slope[:, None] * x, np.nan)


def _wander(off_line_mm: FloatArray, t: CourseTuning) -> FloatArray:
    """Standard deviation (S,) of places (S, P) about the straight line through them."""
    number = np.isfinite(off_line_mm).sum(axis=1)
    squares = np.nansum(off_line_mm**2, axis=1)
    wander = np.sqrt(squares / np.maximum(number - 2, 1))
    return np.asarray(np.where(number >= t.least_pieces, wander, np.inf))


def _waves(off_line_mm: FloatArray, t: CourseTuning) -> FloatArray:
    """Root of what neighbouring places (S, P) have in common of their distance to the line."""
    pairs = off_line_mm[:, 1:] * off_line_mm[:, :-1]
    number = np.isfinite(pairs).sum(axis=1)
    common = np.nansum(pairs, axis=1) / np.maximum(number, 1)
    waves = np.sqrt(np.maximum(common, 0.0))
    return np.asarray(np.where(number >= t.least_pieces - 1, waves, np.inf))
