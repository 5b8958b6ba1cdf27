"""Straight dark-light borders fitted to original pixels: the sides of the marks.

Model of one side, at pixel (x, y) with signed distance d from the line, outward positive:

    I = (dark + (light - dark) * Phi(d / sigma)) * (1 + grade * s)

Phi is the cumulative normal distribution: the edge-spread function of a Gaussian blur; s runs
from -1 to 1 along the side, as the lamp's light and the lens's falls off. Without the grade a
side would turn: where it is brighter than on average, the border seems to lie further in.
All sides of all marks are solved together, six parameters each, by Gauss-Newton with
Tukey's weights, so that dirt and scratches do not pull the line. A side that has settled
takes no further part: most need two steps, one that started far off may need ten.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rigvision.ground.conventions import FloatArray, PixelArray
from rigvision.ground.normal import cumulative_normal
from rigvision.photo.picture import Picture
from rigvision.vision.edge_spread import StepPixels

TRIM = 0.09  #: part of a side left out at each end, where the next side's blur reaches in
MODULES = 8.0  #: modules along a side of family 36h11, its black border included
REACH_MODULES = 0.80  #: how far from the line to look; one module away other edges begin
MAX_REACH_PX = 8
BLUR_RANGE_PX = (0.25, 6.0)
MIN_CONTRAST = 0.02  #: linear light; less is not a printed border
#: Unknowns of a side: offset, turn, dark, light, blur, grade.
UNKNOWNS = 6
#: The blur may change by this factor in a step: it would overshoot to nothing at first.
MOST_BLUR_CHANGE = 2.0


@dataclass(frozen=True, slots=True)
class Round:
    """One look at all sides from where the last one left them."""

    rows: int  # pixel rows (or columns) used of each side
    steps: int  # of Gauss-Newton, at most
    settled_px: float  # a step of a side's line that needs no further one
    largest_px: float  # move of a side's line that is believed


ROUNDS = (Round(24, 6, 0.1, 6.0), Round(48, 10, 0.02, 3.5))


@dataclass(frozen=True, slots=True)
class SideFits:
    """One entry for each side: the line ``normal . p = distance`` (outward normal). Where a side
    is not usable, the line is the rough one or one that was not believed.
    """

    normal: FloatArray  # (S, 2)
    distance_px: FloatArray  # (S,)
    covariance: FloatArray  # (S, 2, 2) of the offset at the middle and at the end, px^2
    blur_px: FloatArray  # (S,)
    contrast: FloatArray  # (S,)
    usable: npt.NDArray[np.bool_]  # (S,)
    pixels: StepPixels


@dataclass(frozen=True, slots=True)
class _Samples:
    """Pixels around each side: along (S, R, 1), across and light (S, R, C)."""

    along: PixelArray  # -1..1 from start to end of the side
    across_px: PixelArray
    light: PixelArray  # 0 where not seen
    seen: npt.NDArray[np.bool_]  # in the picture, and nearer than other edges

    def part(self, sides: npt.NDArray[np.bool_]) -> _Samples:
        """The samples of some sides."""
        return _Samples(
            self.along[sides], self.across_px[sides], self.light[sides], self.seen[sides]
        )


def fit_sides(picture: Picture, quads_px: FloatArray) -> SideFits:
    """Fit the four sides of each quad (M, 4, 2) given roughly in px. Sides (4 M) in order:
    side i of a mark runs from its corner i to corner i + 1.
    """
    starts = quads_px.reshape(-1, 2).copy()
    ends = np.roll(quads_px, -1, axis=1).reshape(-1, 2).copy()
    kept = np.arange(len(starts))  # the sides that can still be used
    state: FloatArray | None = None
    for look in ROUNDS:
        samples = _sample(picture, starts[kept], ends[kept], look.rows)
        state, covariance = _gauss_newton(samples, _initial_state(samples, state), look)
        good = _believable(state, look)
        samples, kept = samples.part(good), kept[good]
        state, covariance = state[good], covariance[good]
        starts[kept], ends[kept] = _moved(starts[kept], ends[kept], state)
    assert state is not None
    normal = _outward(starts, ends)
    fits = SideFits(
        normal,
        np.sum(normal * (starts + ends) / 2, axis=1),
        np.full((len(starts), 2, 2), np.nan),
        np.full(len(starts), np.nan),
        np.full(len(starts), np.nan),
        np.zeros(len(starts), dtype=bool),
        _step_pixels(samples, state),
    )
    fits.covariance[kept] = covariance[:, :2, :2]
    fits.blur_px[kept] = state[:, 4]
    fits.contrast[kept] = state[:, 3] - state[:, 2]
    fits.usable[kept] = _well_known(covariance)
    return fits


def _believable(state: FloatArray, look: Round) -> npt.NDArray[np.bool_]:
    """Which sides (S,) were found near where they were looked for, with a border's contrast."""
    near = np.abs(state[:, :2]).sum(axis=1) < look.largest_px
    return np.asarray(
        np.isfinite(state).all(axis=1) & near & (state[:, 3] - state[:, 2] > MIN_CONTRAST)
    )


def _well_known(covariance: FloatArray) -> npt.NDArray[np.bool_]:
    """Which sides (S,) could be told: an offset better than a pixel, and nothing left singular."""
    variance = np.diagonal(covariance, axis1=1, axis2=2)
    return np.asarray((variance > 0.0).all(axis=1) & (variance[:, 0] < 1.0))


def _outward(starts: FloatArray, ends: FloatArray) -> FloatArray:
    """Unit normals (S, 2) pointing out of a quad whose corners run clockwise in the picture."""
    along = ends - starts
    along = along / np.linalg.norm(along, axis=1, keepdims=True)
    return np.column_stack([along[:, 1], -along[:, 0]])


def _sample(
    picture: Picture,
    starts: FloatArray,
    ends: FloatArray,
    rows: int,
) -> _Samples:
    """Whole pixels near each side, along rows or columns, whichever crosses it more squarely.

    Below, a side's "rows" are picture rows or columns, and "columns" the other of the two.
    """
    side = np.arange(len(starts))
    length = ends - starts
    along_y = np.abs(length[:, 1]) >= np.abs(length[:, 0])
    major = np.where(along_y, 1, 0)  # the coordinate that steps from row to row
    start, run = starts[side, major, None], length[side, major, None]
    minor_start, slope = starts[side, 1 - major, None], length[side, 1 - major, None] / run
    row = np.round(start + np.linspace(TRIM, 1.0 - TRIM, rows) * run)  # (S, R)
    column = np.round(minor_start + slope * (row - start))  # nearest to the line
    reach = _reach_px(starts, ends)
    beside = np.arange(-reach, reach + 1)

    normal = _outward(starts, ends)
    across_row = (row - start) * normal[side, major, None]
    across_row += (column - minor_start) * normal[side, 1 - major, None]
    across = across_row[:, :, None] + beside * normal[side, 1 - major, None, None]

    # A short side has fewer rows than are asked for: none may count twice.
    twice = np.diff(row, axis=1, prepend=np.nan) == 0.0
    size = np.array([picture.width_px, picture.height_px])
    columns = column[:, :, None] + beside
    # A side partly outside the picture is fitted to what is there; far samples belong to
    # other edges, whatever the slant.
    seen = (columns >= 0) & (columns < size[1 - major, None, None])
    seen &= ((row >= 0) & (row < size[major, None]) & ~twice)[:, :, None]
    limit = REACH_MODULES * np.linalg.norm(length, axis=1) / MODULES
    seen &= np.abs(across) <= limit[:, None, None]
    light = _light(picture, row[:, :, None], columns, along_y[:, None, None], seen)
    along = (2.0 * (row - start) / run - 1.0)[:, :, None]
    return _Samples(along.astype(np.float32), across.astype(np.float32), light, seen)


def _light(
    picture: Picture,
    row: FloatArray,
    column: FloatArray,
    along_y: npt.NDArray[np.bool_],
    seen: npt.NDArray[np.bool_],
) -> PixelArray:
    """Linear light of the pixels that are seen, 0 for the others."""
    light = np.zeros(seen.shape, dtype=np.float32)
    row, column = np.broadcast_to(row, seen.shape), np.broadcast_to(column, seen.shape)
    upright = np.broadcast_to(along_y, seen.shape)[seen]
    x, y = np.where(upright, (column[seen], row[seen]), (row[seen], column[seen])).astype(np.intp)
    light[seen] = picture.linear_at(y, x)
    return light


def _reach_px(starts: FloatArray, ends: FloatArray) -> int:
    longest = float(np.linalg.norm(ends - starts, axis=1).max(initial=0.0))
    return int(np.clip(np.ceil(REACH_MODULES * longest / MODULES), 3, MAX_REACH_PX))


def _initial_state(samples: _Samples, before: FloatArray | None) -> FloatArray:
    """Offset 0, turn 0; levels and blur as the round before left them. At first levels from the
    far samples on either side, blur one pixel.
    """
    state = np.zeros((len(samples.light), UNKNOWNS))
    if before is not None:
        state[:, 2:] = before[:, 2:]
        return state
    for column, side in ((2, samples.across_px < -2.0), (3, samples.across_px > 2.0)):
        state[:, column] = _median_where(samples.light, side & samples.seen)
    state[:, 4] = 1.0
    return state


def _gauss_newton(
    samples: _Samples, state: FloatArray, look: Round
) -> tuple[FloatArray, FloatArray]:
    """Solve every side; returns the state (S, 6) and its covariance (S, 6, 6)."""
    state, covariance = state.copy(), np.zeros((len(state), UNKNOWNS, UNKNOWNS))
    moving = np.arange(len(state))
    for step in range(look.steps):
        if not len(moving):
            break
        state[moving], covariance[moving], moved_px = _step(samples, state[moving], step > 0)
        if step > 0:  # the first had no weights yet
            unsettled = moved_px > look.settled_px
            moving, samples = moving[unsettled], samples.part(unsettled)
    return state, covariance


def _step(
    samples: _Samples, state: FloatArray, weighted: bool
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """One step: the state (S, 6), its covariance (S, 6, 6), and how far each line moved (S,)."""
    columns = _model(samples, state)
    root = _tukey_root(columns[:, UNKNOWNS], samples.seen) if weighted else samples.seen
    columns *= root[:, None]
    # All sums of products at once: normal matrix, gradient, sum of squares.
    flat = columns.reshape(len(state), UNKNOWNS + 1, -1)
    products = (flat @ np.swapaxes(flat, 1, 2)).astype(np.float64)
    inverse = np.linalg.inv(products[:, :-1, :-1] + np.eye(UNKNOWNS) * 1e-9)
    change = np.clip((inverse @ products[:, :-1, -1:])[:, :, 0], -2.0, 2.0)
    blur = state[:, 4]
    after = state + change
    after[:, 4] = after[:, 4].clip(blur / MOST_BLUR_CHANGE, blur * MOST_BLUR_CHANGE)
    after[:, 4] = after[:, 4].clip(*BLUR_RANGE_PX)
    count = np.maximum(np.square(root).sum(axis=(1, 2)) - UNKNOWNS, 1.0)
    covariance = inverse * (products[:, -1, -1] / count)[:, None, None]
    return after, covariance, np.abs(change[:, :2]).sum(axis=1)


def _model(samples: _Samples, state: FloatArray) -> PixelArray:
    """Derivatives by the six unknowns, in the state's order, and the residuals: (S, 7, R, C)."""
    columns = np.empty((len(state), UNKNOWNS + 1, *samples.light.shape[1:]), dtype=np.float32)
    offset, turn, dark, bright, sigma, grade = state.astype(np.float32).T[:, :, None, None]
    along = samples.along
    lamp = 1.0 + grade * along
    z = samples.across_px - (offset + turn * along)
    z /= sigma
    phi = cumulative_normal(z)
    density = np.exp(-0.5 * z * z)
    density *= lamp * ((bright - dark) / sigma * np.float32(-1.0 / np.sqrt(2.0 * np.pi)))
    columns[:, 0] = density
    np.multiply(density, along, out=columns[:, 1])
    np.multiply(phi, lamp, out=columns[:, 3])
    np.subtract(lamp, columns[:, 3], out=columns[:, 2])
    np.multiply(density, z, out=columns[:, 4])
    even = dark + (bright - dark) * phi
    np.multiply(even, along, out=columns[:, 5])
    np.subtract(samples.light, even * lamp, out=columns[:, 6])
    return columns


def _step_pixels(samples: _Samples, state: FloatArray) -> StepPixels:
    """The pixels of fitted sides, each against its own border and levels."""
    offset, turn, dark, bright, _, grade = state.astype(np.float32).T[:, :, None, None]
    distance = samples.across_px - (offset + turn * samples.along)
    brightness = (samples.light / (1.0 + grade * samples.along) - dark) / (bright - dark)
    return StepPixels(distance[samples.seen], brightness[samples.seen], state[:, 4])


def _tukey_root(residual: PixelArray, seen: npt.NDArray[np.bool_]) -> PixelArray:
    """Roots of Tukey's biweight, 0 for pixels not seen; the scale of each side is the median
    absolute residual.
    """
    scale = 1.4826 * _median_where(np.abs(residual), seen)[:, None, None] + 1e-4
    u = residual / (4.685 * scale).astype(np.float32)
    return np.asarray(np.maximum(1.0 - u * u, 0.0) * seen)


def _median_where(values: PixelArray, valid: npt.NDArray[np.bool_]) -> FloatArray:
    """Median (S,) of the valid samples of each side; 0 where there are none."""
    ordered = np.sort(np.where(valid, values, np.inf).reshape(len(values), -1), axis=1)
    count = valid.reshape(len(values), -1).sum(axis=1)
    middle = ordered[
        np.arange(len(values)), np.maximum(count // 2, 0).clip(max=ordered.shape[1] - 1)
    ]
    return np.where(count > 0, middle, 0.0).astype(np.float64)


def _moved(
    starts: FloatArray, ends: FloatArray, state: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """The sides' ends shifted onto the fitted lines."""
    normal = _outward(starts, ends)
    offset, turn = state[:, :1], state[:, 1:2]
    return starts + normal * (offset - turn), ends + normal * (offset + turn)
