"""Straight dark-light borders fitted to original pixels: the sides of the marks.

Model of one side, at pixel (x, y) with signed distance d from the line, outward positive:

    I = (dark + (light - dark) * Phi(d / sigma)) * (1 + grade * s)

Phi is the cumulative normal distribution: the edge-spread function of a Gaussian blur. s runs
from -1 to 1 along the side, as the lamp's light and the lens's falls off: without the grade a
side turns, as its border seems to lie further in where it is brighter. All sides of all marks
are solved together, six parameters each, by Gauss-Newton with Tukey's weights, so that dirt
and scratches do not pull the line. A side that has settled takes no further part.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import prod

import numpy as np
import numpy.typing as npt

from rigvision.ground.conventions import FloatArray, PixelArray
from rigvision.ground.normal import cumulative_normal
from rigvision.photo.picture import Picture
from rigvision.vision.edge_spread import StepPixels
from rigvision.vision.side_pixels import MODULES, SidePixels, outward, side_pixels

BLUR_RANGE_PX = (0.25, 6.0)
MIN_CONTRAST = 0.02  #: linear light; less is not a printed border
#: Unknowns of a side: offset, turn, dark, light, grade, blur.
UNKNOWNS, BLUR = 6, 5
#: The blur may change by this factor in a step: it would overshoot to nothing at first.
MOST_BLUR_CHANGE = 2.0

#: Pixel rows (or columns) of each side: to find its line, and to fit it.
ROUGH_ROWS, ROWS = 24, 48
#: Moves of a side's line that are believed: of the rough one, and of the fitted one from there.
LARGEST_PX = (6.0, 3.5)
#: A side's blur less than this part of its mark's, or a line further off the rough one (px),
#: was not told from the side alone; its place is then known no better than so, px.
LEAST_BLUR, FARTHEST_PX, UNTOLD_PX = 0.8, 0.7, 0.1
STEPS = 10  #: of Gauss-Newton at most
SETTLED_PX = 0.02  #: a step of a side's line that needs no further one
#: Tukey's constant: 95 % of least squares' efficiency on normal noise.
TUKEY = 4.685
#: What no model of a border describes, part of its contrast: no outlier, however little noise.
MISFIT = 0.03
#: Steps of the line through the rows' counted borders, and what a row may be off at least, px.
COUNTED_STEPS, COUNTED_FLOOR_PX = 4, 0.05


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


def fit_sides(picture: Picture, quads_px: FloatArray, shown: FloatArray | None = None) -> SideFits:
    """Fit the four sides of each quad (M, 4, 2) given roughly in px. Sides (4 M) in order:
    side i of a mark runs from its corner i to corner i + 1.

    ``shown`` (4 M, 2) says from where to where each is looked at, as parts of its length; nothing
    where both are 0. Offset and turn are those of the whole side all the same.
    """
    first, last = np.array([[0.0, 1.0]]).T if shown is None else shown.T
    whole_starts = quads_px.reshape(-1, 2)
    along = np.roll(quads_px, -1, axis=1).reshape(-1, 2) - whole_starts
    starts, ends = whole_starts + first[:, None] * along, whole_starts + last[:, None] * along
    module_px = np.linalg.norm(along, axis=1) / MODULES
    visible = np.flatnonzero(np.broadcast_to(last > first, len(along)))
    samples = side_pixels(picture, starts[visible], ends[visible], ROUGH_ROWS, module_px[visible])
    rough = _counted(samples)
    believed = _believable(rough, LARGEST_PX[0])
    kept, rough = visible[believed], rough[believed]  # the sides that can still be used
    starts[kept], ends[kept] = _moved(starts[kept], ends[kept], rough)
    samples = side_pixels(picture, starts[kept], ends[kept], ROWS, module_px[kept])
    state, covariance = _fitted(samples, rough, kept // 4)
    good = _believable(state, LARGEST_PX[1])
    samples, kept = samples.part(good), kept[good]
    state, covariance = state[good], covariance[good]
    starts[kept], ends[kept] = _moved(starts[kept], ends[kept], state)
    hidden = np.setdiff1d(np.arange(len(along)), visible)
    starts[hidden], ends[hidden] = whole_starts[hidden], whole_starts[hidden] + along[hidden]
    normal = outward(starts, ends)
    fits = SideFits(
        normal,
        np.sum(normal * (starts + ends) / 2, axis=1),
        np.full((len(starts), 2, 2), np.nan),
        np.full(len(starts), np.nan),
        np.full(len(starts), np.nan),
        np.zeros(len(starts), dtype=bool),
        _step_pixels(samples, state),
    )
    whole = _of_whole_side(*(np.broadcast_to(part, len(along))[kept] for part in (first, last)))
    fits.covariance[kept] = whole @ covariance[:, :2, :2] @ np.swapaxes(whole, 1, 2)
    fits.blur_px[kept] = state[:, BLUR]
    fits.contrast[kept] = state[:, 3] - state[:, 2]
    fits.usable[kept] = _well_known(covariance)
    return fits


def _of_whole_side(first: FloatArray, last: FloatArray) -> FloatArray:
    """The maps (S, 2, 2) from offset and turn of a part of a side to those of all of it."""
    part = np.zeros((len(first), 2, 2))
    part[:, 0, 0] = 1.0
    part[:, 0, 1] = (1.0 - first - last) / (last - first)
    part[:, 1, 1] = 1.0 / (last - first)
    return part


def _fitted(
    samples: SidePixels, rough: FloatArray, mark: npt.NDArray[np.intp]
) -> tuple[FloatArray, FloatArray]:
    """State (S, 6) and covariance (S, 6, 6), each side by itself; then those that cannot tell
    their place from their blur once more, with the blur of the same mark (S,).

    A side that lies along the pixels' rows shows its border to a single row, sharpened at that.
    """
    start = rough.copy()
    start[:, :2] = 0.0
    state, covariance = _gauss_newton(samples, start, UNKNOWNS)
    typical = np.array([np.median(state[mark == m, BLUR]) for m in mark])
    odd = state[:, BLUR] < LEAST_BLUR * typical
    odd |= np.abs(state[:, :2]).sum(axis=1) > FARTHEST_PX
    if odd.any():
        start[:, BLUR] = typical
        state[odd], covariance[odd] = _gauss_newton(samples.part(odd), start[odd], BLUR)
        covariance[odd, :2, :2] += UNTOLD_PX**2 * np.eye(2)
    return state, covariance


def _believable(state: FloatArray, largest_px: float) -> npt.NDArray[np.bool_]:
    """Which sides (S,) were found near where they were looked for, with a border's contrast."""
    near = np.abs(state[:, :2]).sum(axis=1) < largest_px
    return np.asarray(
        np.isfinite(state).all(axis=1) & near & (state[:, 3] - state[:, 2] > MIN_CONTRAST)
    )


def _well_known(covariance: FloatArray) -> npt.NDArray[np.bool_]:
    """Which sides (S,) could be told: an offset better than a pixel, and nothing left singular."""
    variance = np.diagonal(covariance, axis1=1, axis2=2)
    return np.asarray((variance[:, :BLUR] > 0.0).all(axis=1) & (variance[:, 0] < 1.0))


def _counted(samples: SidePixels) -> FloatArray:
    """State (S, 6): levels from the far samples on either side, the line from how many pixels
    of each row are dark, blur one pixel.

    Right to some tenths of a pixel however far off the border is, and whatever its blur, where
    a fit might settle beside it.
    """
    state = np.zeros((len(samples.light), BLUR + 1))
    for column, side in ((2, samples.across_px < -2.0), (3, samples.across_px > 2.0)):
        state[:, column] = _median_where(samples.light, side & samples.seen)
    state[:, BLUR] = 1.0
    seen = samples.seen
    # A shadow's edge may lie across the side: each row against its own light.
    beyond = seen & (samples.across_px > 2.0)
    rows = (-1, 1, samples.light.shape[2])
    lamp = _median_where(samples.light.reshape(rows), beyond.reshape(rows))
    bright = np.where(beyond.any(axis=2), lamp.reshape(seen.shape[:2]), state[:, 3:4])[:, :, None]
    contrast = bright * (1.0 - (state[:, 2] / np.maximum(state[:, 3], MIN_CONTRAST)))[:, None, None]
    dark = np.clip((bright - samples.light) / np.maximum(contrast, MIN_CONTRAST), 0.0, 1.0)
    pitch = np.abs(np.diff(samples.across_px[:, 0, :2], axis=1))
    first = np.where(seen, samples.across_px, np.inf).min(axis=2)
    border = first + pitch * (np.where(seen, dark, 0.0).sum(axis=2) - 0.5)
    along = samples.along[:, :, 0].astype(np.float64)
    state[:, :2] = _robust_lines(along, border.astype(np.float64), np.any(seen, axis=2))
    return state


def _robust_lines(along: FloatArray, border: FloatArray, seen: npt.NDArray[np.bool_]) -> FloatArray:
    """Offset and turn (S, 2) of lines through places (S, R), by Tukey's weights."""
    border = np.where(seen, border, 0.0)
    weight = seen.astype(float)
    for _ in range(COUNTED_STEPS):
        total = weight.sum(axis=1, keepdims=True).clip(min=1e-9)
        middle = (weight * along).sum(axis=1, keepdims=True) / total
        level = (weight * border).sum(axis=1, keepdims=True) / total
        apart = along - middle
        turn = (weight * apart * border).sum(axis=1, keepdims=True)
        turn /= (weight * apart**2).sum(axis=1, keepdims=True).clip(min=1e-9)
        off = np.abs(border - level - turn * apart)
        scale = 1.4826 * _median_where(off, seen)[:, None] + COUNTED_FLOOR_PX
        weight = seen * np.maximum(1.0 - (off / (TUKEY * scale)) ** 2, 0.0) ** 2
    return np.concatenate([level - turn * middle, turn], axis=1)


def _gauss_newton(
    samples: SidePixels, state: FloatArray, number: int
) -> tuple[FloatArray, FloatArray]:
    """Solve every side for its first ``number`` unknowns; returns the state (S, 6) and its
    covariance (S, 6, 6), 0 where nothing was solved for.
    """
    state, covariance = state.copy(), np.zeros((len(state), UNKNOWNS, UNKNOWNS))
    moving = np.arange(len(state))
    for step in range(STEPS):
        if not len(moving):
            break
        state[moving], covariance[moving, :number, :number], moved_px = _step(
            samples, state[moving], number, weighted=step > 0
        )
        if step > 0:  # the first had no weights yet
            unsettled = moved_px > SETTLED_PX
            moving, samples = moving[unsettled], samples.part(unsettled)
    return state, covariance


def _step(
    samples: SidePixels, state: FloatArray, number: int, *, weighted: bool
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """One step: the state (S, 6), its covariance (S, N, N), and how far each line moved (S,)."""
    columns = _model(samples, state)
    least = MISFIT * (state[:, 3] - state[:, 2])
    root = _tukey_root(columns[:, -1], samples.seen, least) if weighted else samples.seen
    columns *= root[:, None]
    # All sums of products at once: normal matrix, gradient, sum of squares.
    flat = columns.reshape(len(state), UNKNOWNS + 1, -1)
    products = (flat @ np.swapaxes(flat, 1, 2)).astype(np.float64)
    inverse = np.linalg.inv(products[:, :number, :number] + np.eye(number) * 1e-9)
    change = np.clip((inverse @ products[:, :number, -1:])[:, :, 0], -2.0, 2.0)
    blur, after = state[:, BLUR], state.copy()
    after[:, :number] += change
    after[:, BLUR] = after[:, BLUR].clip(blur / MOST_BLUR_CHANGE, blur * MOST_BLUR_CHANGE)
    after[:, BLUR] = after[:, BLUR].clip(*BLUR_RANGE_PX)
    count = np.maximum(np.square(root).sum(axis=(1, 2)) - number, 1.0)
    covariance = inverse * (products[:, -1, -1] / count)[:, None, None]
    return after, covariance, np.abs(change[:, :2]).sum(axis=1)


def _model(samples: SidePixels, state: FloatArray) -> PixelArray:
    """Derivatives by the unknowns, in the state's order, and the residuals: (S, 7, R, C)."""
    columns = np.empty((len(state), UNKNOWNS + 1, *samples.light.shape[1:]), dtype=np.float32)
    offset, turn, dark, bright, grade, sigma = state.astype(np.float32).T[:, :, None, None]
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
    even = dark + (bright - dark) * phi
    np.multiply(even, along, out=columns[:, 4])
    np.multiply(density, z, out=columns[:, BLUR])
    np.subtract(samples.light, even * lamp, out=columns[:, -1])
    return columns


def _step_pixels(samples: SidePixels, state: FloatArray) -> StepPixels:
    """The pixels of fitted sides, each against its own border and levels."""
    offset, turn, dark, bright, grade, _ = state.astype(np.float32).T[:, :, None, None]
    distance = samples.across_px - (offset + turn * samples.along)
    brightness = (samples.light / (1.0 + grade * samples.along) - dark) / (bright - dark)
    counts = samples.seen.sum(axis=(1, 2))
    return StepPixels(distance[samples.seen], brightness[samples.seen], counts, state[:, BLUR])


def _tukey_root(residual: PixelArray, seen: npt.NDArray[np.bool_], least: FloatArray) -> PixelArray:
    """Roots of Tukey's biweight, 0 for pixels not seen; the scale of each side is the median
    absolute residual, or ``least`` (S,).
    """
    scale = np.maximum(1.4826 * _median_where(np.abs(residual), seen), least)[:, None, None]
    u = residual / (TUKEY * scale + 1e-4).astype(np.float32)
    return np.asarray(np.maximum(1.0 - u * u, 0.0) * seen)


def _median_where(values: PixelArray, valid: npt.NDArray[np.bool_]) -> FloatArray:
    """Median (S,) of the valid samples of each side; 0 where there are none."""
    flat = (len(values), prod(values.shape[1:]))  # no -1: there may be no sides at all
    ordered = np.sort(np.where(valid, values, np.inf).reshape(flat), axis=1)
    count = valid.reshape(flat).sum(axis=1)
    middle = ordered[
        np.arange(len(values)), np.maximum(count // 2, 0).clip(max=ordered.shape[1] - 1)
    ]
    return np.where(count > 0, middle, 0.0).astype(np.float64)


def _moved(
    starts: FloatArray, ends: FloatArray, state: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """The sides' ends shifted onto the fitted lines."""
    normal = outward(starts, ends)
    offset, turn = state[:, :1], state[:, 1:2]
    return starts + normal * (offset - turn), ends + normal * (offset + turn)
