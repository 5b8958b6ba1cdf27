"""Rival ways to find the slot's two edges in the same brightness profiles.

An estimator takes the profiles of all stations and rough edges (S, 2) mm and gives sill and
door (S, 2) as tangent planes, with their standard uncertainties or None where it claims none.
Those that look for a step find an outline, and are told how far that lies off the tangent
plane at the view's angle. To enter another, add it to ``ESTIMATORS``.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.ground.normal import cumulative_normal
from rigvision.vision.broken_edge import read_edges
from rigvision.vision.slot_profiles import SlotProfiles

from .shaded_slot_fit import fit_slot

#: Face beside an edge that takes part, mm.
REACH_MM = 0.75
#: Blur that the first guess of a step assumes, and that calms a profile before its slope, px.
FIRST_BLUR_PX, CALMED_PX = 1.0, 1.0
LEAST_SQUARES_STEPS = 12
Edges = tuple[FloatArray, FloatArray | None]


@dataclass(frozen=True, slots=True)
class Estimator:
    """A way to find edges, and what it is called in a table."""

    name: str
    title: str
    edges: Callable[[SlotProfiles, FloatArray], Edges]


@dataclass(frozen=True, slots=True)
class _Piece:
    """Part of one station's profile: pixels from the rough edge, and light."""

    at_px: FloatArray
    light: FloatArray


def erf_steps(profiles: SlotProfiles, rough_mm: FloatArray) -> Edges:
    """Each edge by itself: two levels, place and width of a Gaussian's edge-spread function."""

    def step(p: FloatArray, at_px: FloatArray) -> FloatArray:
        return np.asarray(p[2] + (p[3] - p[2]) * cumulative_normal((at_px - p[0]) / p[1]))

    def one(piece: _Piece, rising: bool) -> tuple[float, float]:
        low, high = piece.light[:2].mean(), piece.light[-2:].mean()
        start = np.array([0.0, FIRST_BLUR_PX, low, high])
        found, sigma = _least_squares(step, start, piece)
        return float(found[0]), float(sigma[0])

    return _edge_by_edge(profiles, rough_mm, one)


def measured_slot(profiles: SlotProfiles, rough_mm: FloatArray) -> Edges:
    """Both edges at once, three levels, as the marks' own borders show a step."""
    spread = profiles.spread
    edges, sigma = np.empty_like(rough_mm), np.empty_like(rough_mm)
    for s, (sill, door) in enumerate(rough_mm):
        scale = float(profiles.px_per_mm[s])
        piece = _piece(profiles, s, sill, sill - REACH_MM, door + REACH_MM)

        def slot(p: FloatArray, at_px: FloatArray) -> FloatArray:
            falls = (p[3] - p[2]) * spread.falling(at_px - p[0])
            return np.asarray(p[2] + falls + (p[4] - p[3]) * spread.rising(at_px - p[1]))

        width = (door - sill) * scale
        middle = np.abs(piece.at_px - width / 2) < max(width / 4, 1.0)
        start = np.array(
            [0.0, width, piece.light[:2].mean(), piece.light[middle].min(), piece.light[-2:].mean()]
        )
        found, errors = _least_squares(slot, start, piece)
        edges[s], sigma[s] = sill + found[:2] / scale, errors[:2] / scale
    return _tangent(profiles, edges), sigma


def shaded_rounds(profiles: SlotProfiles, rough_mm: FloatArray) -> Edges:
    """The slot with two shaded rounds of unknown, smooth shading."""
    fitted = fit_slot(profiles, rough_mm)
    sigma = np.sqrt(np.diag(fitted.covariance_mm2)).reshape(-1, 2)
    return fitted.edges_mm, sigma


def learned(profiles: SlotProfiles, rough_mm: FloatArray) -> Edges:
    """The trained network, as the program has it."""
    read = read_edges(profiles, rough_mm)
    return read.edges_mm, np.sqrt(np.diag(read.covariance_mm2)).reshape(-1, 2)


def steepest(profiles: SlotProfiles, rough_mm: FloatArray) -> Edges:
    """Where the calmed profile is steepest: a parabola through the slope's three largest."""

    def one(piece: _Piece, rising: bool) -> tuple[float, float]:
        at, light = piece.at_px, piece.light
        kernel = np.exp(-0.5 * ((at[:, None] - at) / CALMED_PX) ** 2)
        calm = kernel @ light / kernel.sum(axis=1)
        slope = np.gradient(calm, at) * (1.0 if rising else -1.0)
        k = int(np.argmax(slope[1:-1])) + 1
        below, top, above = slope[k - 1 : k + 2]
        bend = below - 2.0 * top + above
        shift = 0.5 * (below - above) / bend if bend < 0.0 else 0.0
        return float(at[k] + shift * (at[1] - at[0])), np.nan

    edges, _ = _edge_by_edge(profiles, rough_mm, one)
    return edges, None


def half_way(profiles: SlotProfiles, rough_mm: FloatArray) -> Edges:
    """Where linear light passes half-way between the face beside and the darkest of the slot."""

    def one(piece: _Piece, rising: bool) -> tuple[float, float]:
        light = piece.light if rising else piece.light[::-1]
        at = piece.at_px if rising else piece.at_px[::-1]
        bright = float(np.median(light[-max(3, len(light) // 4) :]))
        darkest = int(np.argmin(light))
        middle = (bright + light[darkest]) / 2.0
        over = np.flatnonzero(light[darkest:] >= middle)
        if not len(over) or over[0] == 0:
            return 0.0, np.nan
        k = darkest + int(over[0])
        part = (middle - light[k - 1]) / (light[k] - light[k - 1])
        return float(at[k - 1] + part * (at[k] - at[k - 1])), np.nan

    edges, _ = _edge_by_edge(profiles, rough_mm, one)
    return edges, None


ESTIMATORS = (
    Estimator("erf", "step, erf of its own blur, edge by edge", erf_steps),
    Estimator("esf", "slot, spread measured on the marks", measured_slot),
    Estimator("rounds", "slot with shaded rounds", shaded_rounds),
    Estimator("gradient", "steepest gradient, parabola", steepest),
    Estimator("half", "half-way threshold, linear light", half_way),
    Estimator("learned", "trained network, in use", learned),
)


def _edge_by_edge(
    profiles: SlotProfiles,
    rough_mm: FloatArray,
    one: Callable[[_Piece, bool], tuple[float, float]],
) -> Edges:
    """Every edge from its face to the middle of the slot; ``one`` gives place and sigma, px."""
    edges, sigma = np.empty_like(rough_mm), np.empty_like(rough_mm)
    for s, (sill, door) in enumerate(rough_mm):
        scale, middle = float(profiles.px_per_mm[s]), (sill + door) / 2.0
        ends = (
            (sill - REACH_MM, min(middle, sill + REACH_MM)),
            (
                max(middle, door - REACH_MM),
                door + REACH_MM,
            ),
        )
        for k, (low, high) in enumerate(ends):
            piece = _piece(profiles, s, float(rough_mm[s, k]), low, high)
            at_px, error_px = one(piece, k == 1)
            edges[s, k], sigma[s, k] = rough_mm[s, k] + at_px / scale, error_px / scale
    return _tangent(profiles, edges), sigma


def _piece(
    profiles: SlotProfiles, station: int, zero_mm: float, low_mm: float, high_mm: float
) -> _Piece:
    y, light = profiles.y_mm, profiles.light[station]
    part = (y >= low_mm) & (y <= high_mm) & np.isfinite(light)
    return _Piece((y[part] - zero_mm) * float(profiles.px_per_mm[station]), light[part])


def _tangent(profiles: SlotProfiles, outline_mm: FloatArray) -> FloatArray:
    """Tangent planes from outlines (S, 2): a line of sight at slope t grazes one of the two
    rounds (sqrt(1 + t^2) - 1) radii beyond its tangent plane.
    """
    t = profiles.ray_slope
    beyond_mm = profiles.radius_mm * (np.sqrt(1.0 + t * t) - 1.0)
    return outline_mm - np.array([beyond_mm if t < 0.0 else 0.0, -beyond_mm if t > 0.0 else 0.0])


def _least_squares(
    model: Callable[[FloatArray, FloatArray], FloatArray], start: FloatArray, piece: _Piece
) -> tuple[FloatArray, FloatArray]:
    """Levenberg's method; parameters and their standard uncertainties by the residuals."""
    now, damping = start, 1e-3
    nudge = np.maximum(1e-4 * np.abs(start), 1e-5)
    residual = piece.light - model(now, piece.at_px)
    jacobian = np.empty((len(piece.light), len(start)))
    for _ in range(LEAST_SQUARES_STEPS):
        for k, small in enumerate(nudge):
            moved = now.copy()
            moved[k] += small
            jacobian[:, k] = (model(moved, piece.at_px) - model(now, piece.at_px)) / small
        normal = jacobian.T @ jacobian
        step = np.linalg.lstsq(
            normal + damping * np.diag(np.diag(normal)), jacobian.T @ residual, rcond=None
        )[0]
        trial = piece.light - model(now + step, piece.at_px)
        if np.sum(trial**2) < np.sum(residual**2):
            now, residual, damping = now + step, trial, damping / 10.0
        else:
            damping *= 10.0
    variance = float(np.sum(residual**2)) / max(len(residual) - len(start), 1)
    covariance = np.linalg.pinv(jacobian.T @ jacobian) * variance
    return now, np.sqrt(np.maximum(np.diag(covariance), 0.0))
