"""Straight dark-light borders fitted to original pixels: the sides of the marks.

Model of one side, at pixel (x, y) with signed distance d from the line, outward positive:

    I = dark + (light - dark) * Phi(d / sigma)

Phi is the cumulative normal distribution: the edge-spread function of a Gaussian blur.
All sides of all marks are solved together, five parameters each, by Gauss-Newton with
Tukey's weights, so that dirt and scratches do not pull the line.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from rigvision.ground.conventions import FloatArray
from rigvision.ground.even_table import EvenTable
from rigvision.ground.normal import cumulative_normal
from rigvision.photo.picture import Picture

TRIM = 0.09  #: part of a side left out at each end, where the next side's blur reaches in
MODULES = 8.0  #: modules along a side of family 36h11, its black border included
REACH_MODULES = 0.80  #: how far from the line to look; one module away other edges begin
MAX_REACH_PX = 8
#: Pixel rows (or columns) used of each side, Gauss-Newton steps, largest offset believed, px.
ROUNDS = ((24, 3, 4.0), (48, 4, 1.5))
MIN_CONTRAST = 0.02  #: linear light; less is not a printed border


#: Bins of the measured edge-spread function, px from the border, dark to light.
SPREAD_STEP_PX = 0.25
SPREAD_PX = np.arange(-8.0, 8.01, SPREAD_STEP_PX)


@dataclass(frozen=True)
class EdgeSpread:
    """How this picture shows a true step from dark (0) to light (1): lens, focus, sharpening.

    ``response`` holds the brightness at the distances ``SPREAD_PX`` from the step.
    """

    response: FloatArray

    def rising(self, distance_px: FloatArray) -> FloatArray:
        """Response to a step from dark to light at distance 0."""
        return self._table(distance_px)

    def falling(self, distance_px: FloatArray) -> FloatArray:
        """One minus the response to a step from light to dark at distance 0."""
        return 1.0 - self._table(-distance_px)

    @cached_property
    def _table(self) -> EvenTable:
        return EvenTable(SPREAD_PX[0], SPREAD_STEP_PX, self.response)


@dataclass(frozen=True, slots=True)
class SideFits:
    """One entry for each side: the line ``normal . p = distance`` (outward normal)."""

    normal: FloatArray  # (S, 2)
    distance_px: FloatArray  # (S,)
    covariance: FloatArray  # (S, 2, 2) of the offset at the middle and at the end, px^2
    blur_px: FloatArray  # (S,)
    contrast: FloatArray  # (S,)
    usable: npt.NDArray[np.bool_]  # (S,)
    spread: EdgeSpread


@dataclass(frozen=True, slots=True)
class _Samples:
    """Pixels around each side: along (S, R, 1), across and light (S, R, C)."""

    along: FloatArray  # -1..1 from start to end of the side
    across_px: FloatArray
    light: FloatArray


def fit_sides(picture: Picture, quads_px: FloatArray) -> SideFits:
    """Fit the four sides of each quad (M, 4, 2) given roughly in px. Sides (4 M) in order:
    side i of a mark runs from its corner i to corner i + 1.
    """
    starts = quads_px.reshape(-1, 2).copy()
    ends = np.roll(quads_px, -1, axis=1).reshape(-1, 2).copy()
    usable = np.ones(len(starts), dtype=bool)
    state = np.zeros((len(starts), 5))
    covariance = np.zeros((len(starts), 5, 5))
    samples = None
    for rows, steps, largest_px in ROUNDS:
        samples = _sample(picture, starts, ends, usable, rows)
        state = _initial_state(samples)
        state, covariance = _gauss_newton(samples, state, steps)
        inside = np.abs(state[:, :2]).sum(axis=1) < largest_px + 2.0
        usable &= (
            np.isfinite(state).all(axis=1) & inside & (state[:, 3] - state[:, 2] > MIN_CONTRAST)
        )
        state[~usable] = 0.0
        _move(starts, ends, state)
    assert samples is not None
    normal = _outward(starts, ends)
    return SideFits(
        normal,
        np.sum(normal * (starts + ends) / 2, axis=1),
        covariance[:, :2, :2],
        np.where(usable, state[:, 4], np.nan),
        state[:, 3] - state[:, 2],
        usable & (covariance[:, 0, 0] < 1.0) & (state[:, 4] > 0.1),
        _edge_spread(samples, state, usable),
    )


def _outward(starts: FloatArray, ends: FloatArray) -> FloatArray:
    """Unit normals (S, 2) pointing out of a quad whose corners run clockwise in the picture."""
    along = ends - starts
    along = along / np.linalg.norm(along, axis=1, keepdims=True)
    return np.column_stack([along[:, 1], -along[:, 0]])


def _sample(
    picture: Picture,
    starts: FloatArray,
    ends: FloatArray,
    usable: npt.NDArray[np.bool_],
    rows: int,
) -> _Samples:
    """Whole pixels near each side, along rows or columns, whichever crosses it more squarely."""
    reach = _reach_px(starts, ends, usable)
    left, top = np.floor(np.minimum(starts, ends).min(axis=0) - reach - 2).astype(int).clip(min=0)
    right, bottom = np.ceil(np.maximum(starts, ends).max(axis=0) + reach + 3).astype(int)
    linear = picture.linear(int(left), int(top), int(right), int(bottom))
    along_y = np.abs(ends - starts)[:, 1] >= np.abs(ends - starts)[:, 0]
    major = np.where(along_y, 1, 0)  # the coordinate that steps from row to row
    s = np.arange(len(starts))
    fraction = np.linspace(TRIM, 1.0 - TRIM, rows)
    wanted = starts[s, major, None] + fraction * (ends - starts)[s, major, None]
    row = np.round(wanted)  # (S, R)
    # A short side has fewer rows than are asked for: none may count twice.
    twice = np.diff(row, axis=1, prepend=np.nan) == 0.0
    slope = (ends - starts)[s, 1 - major] / (ends - starts)[s, major]
    crossing = starts[s, 1 - major, None] + slope[:, None] * (row - starts[s, major, None])
    column = np.round(crossing)[:, :, None] + np.arange(-reach, reach + 1)  # (S, R, C)
    row3 = np.broadcast_to(row[:, :, None], column.shape)
    x = np.where(along_y[:, None, None], column, row3)
    y = np.where(along_y[:, None, None], row3, column)
    normal = _outward(starts, ends)
    dx, dy = x - starts[:, 0, None, None], y - starts[:, 1, None, None]
    across = dx * normal[:, 0, None, None] + dy * normal[:, 1, None, None]
    height, width = linear.shape
    inside = (x >= left) & (x < left + width) & (y >= top) & (y < top + height)
    inside &= ~twice[:, :, None]
    xi = np.clip(x - left, 0, width - 1).astype(np.intp)
    yi = np.clip(y - top, 0, height - 1).astype(np.intp)
    light = np.where(inside, linear[yi, xi], np.nan)
    length = (ends - starts)[s, major]
    along = (2.0 * (row - starts[s, major, None]) / length[:, None] - 1.0)[:, :, None]
    # A side partly outside the picture is fitted to what is there; far samples belong to
    # other edges, whatever the slant.
    limit = REACH_MODULES * np.linalg.norm(ends - starts, axis=1)[:, None, None] / MODULES
    return _Samples(along, across, np.where(np.abs(across) <= limit, light, np.nan))


def _reach_px(starts: FloatArray, ends: FloatArray, usable: npt.NDArray[np.bool_]) -> int:
    lengths = np.linalg.norm(ends - starts, axis=1)[usable]
    longest = float(lengths.max()) if len(lengths) else 80.0
    return int(np.clip(np.ceil(REACH_MODULES * longest / MODULES), 3, MAX_REACH_PX))


def _initial_state(samples: _Samples) -> FloatArray:
    """Offset 0, turn 0, levels from the far samples on either side, blur one pixel."""
    state = np.zeros((len(samples.light), 5))
    for column, side in ((2, samples.across_px < -2.0), (3, samples.across_px > 2.0)):
        state[:, column] = _median_where(samples.light, side & np.isfinite(samples.light))
    state[:, 4] = 1.0
    return state


def _gauss_newton(
    samples: _Samples, state: FloatArray, steps: int
) -> tuple[FloatArray, FloatArray]:
    """Solve every side; returns the state (S, 5) and its covariance (S, 5, 5)."""
    valid = np.isfinite(samples.light)
    light = np.where(valid, samples.light, 0.0)
    covariance = np.zeros((len(state), 5, 5))
    for step in range(steps):
        residual, jacobian = _model(samples, state, light)
        weight = valid * (_tukey(residual, valid) if step else 1.0)
        weighted = jacobian * weight[..., None]
        flat = weighted.reshape(len(state), -1, 5)
        turned = np.swapaxes(flat, 1, 2)
        normal = turned @ jacobian.reshape(len(state), -1, 5) + np.eye(5) * 1e-9
        gradient = turned @ residual.reshape(len(state), -1, 1)
        inverse = np.linalg.inv(normal)
        change = (inverse @ gradient)[:, :, 0]
        state = state + np.clip(change, -2.0, 2.0)
        state[:, 4] = np.clip(state[:, 4], 0.25, 6.0)
        count = np.maximum(weight.sum(axis=(1, 2)) - 5.0, 1.0)
        variance = (weight * residual**2).sum(axis=(1, 2)) / count
        covariance = inverse * variance[:, None, None]
    return state, covariance


def _model(
    samples: _Samples, state: FloatArray, light: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Residuals (S, R, C) and derivatives (S, R, C, 5) by offset, turn, dark, light, blur."""
    offset, turn, dark, bright, sigma = (state[:, k, None, None] for k in range(5))
    z = (samples.across_px - offset - turn * samples.along) / sigma
    phi = cumulative_normal(z)
    density = np.exp(-0.5 * z * z) * (0.3989422804014327 * (bright - dark) / sigma)
    residual = light - (dark + (bright - dark) * phi)
    jacobian = np.stack([-density, -density * samples.along, 1.0 - phi, phi, -density * z], axis=-1)
    return residual, jacobian


def _edge_spread(samples: _Samples, state: FloatArray, usable: npt.NDArray[np.bool_]) -> EdgeSpread:
    """Median brightness of all sides' pixels by distance from their border, dark 0, light 1."""
    offset, turn, dark, bright, sigma = (state[usable][:, k, None, None] for k in range(5))
    if not usable.any():
        return EdgeSpread(cumulative_normal(SPREAD_PX))
    distance = samples.across_px[usable] - offset - turn * samples.along[usable]
    value = (samples.light[usable] - dark) / (bright - dark)
    good = np.isfinite(value)
    bins = np.round((distance[good] - SPREAD_PX[0]) / SPREAD_STEP_PX).astype(int)
    order = np.argsort(bins, kind="stable")
    borders = np.searchsorted(bins[order], np.arange(len(SPREAD_PX) + 1))
    sorted_values = value[good][order]
    response = cumulative_normal(SPREAD_PX / float(np.median(sigma)))
    for k, (low, high) in enumerate(itertools.pairwise(borders)):
        if high - low >= 40:
            response[k] = np.median(sorted_values[low:high])
    return EdgeSpread(response)


def _tukey(residual: FloatArray, valid: npt.NDArray[np.bool_]) -> FloatArray:
    """Tukey's biweight; the scale of each side is the median absolute residual."""
    scale = 1.4826 * _median_where(np.abs(residual), valid)[:, None, None] + 1e-4
    u = residual / (4.685 * scale)
    return np.where(np.abs(u) < 1.0, (1.0 - u * u) ** 2, 0.0)


def _median_where(values: FloatArray, valid: npt.NDArray[np.bool_]) -> FloatArray:
    """Median (S,) of the valid samples of each side; 0 where there are none."""
    ordered = np.sort(np.where(valid, values, np.inf).reshape(len(values), -1), axis=1)
    count = valid.reshape(len(values), -1).sum(axis=1)
    middle = ordered[
        np.arange(len(values)), np.maximum(count // 2, 0).clip(max=ordered.shape[1] - 1)
    ]
    return np.where(count > 0, middle, 0.0)


def _move(starts: FloatArray, ends: FloatArray, state: FloatArray) -> None:
    """Shift the sides' ends onto the fitted lines."""
    normal = _outward(starts, ends)
    starts += normal * (state[:, 0] - state[:, 1])[:, None]
    ends += normal * (state[:, 0] + state[:, 1])[:, None]
