"""Which way a picture is smeared: the second moments of its blur, from the marks' known print.

A mark's drawing and the view say what the picture would show without blur. For low frequencies
f (cycles a pixel) any blur of covariance C lets exp(-2 pi^2 f'Cf) of it through, whatever its
shape, so a straight-line fit to the logarithm of observed over drawn spectrum gives C. Focus
blurs all ways alike; a hand that moved blurs along its path, by the path's length squared over
12. Sides of marks alone could not tell a slanting path: they run two ways only.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi

import numpy as np

from rigvision.ground.conventions import CORNER_SIGNS, FloatArray
from rigvision.photo.picture import Picture
from rigvision.vision.mark_code import BORDER, GRID, grid
from rigvision.vision.view import View
from rigvision.world.gauge import Gauge


@dataclass(frozen=True, slots=True)
class SmearTuning:
    """Every free choice of the fit."""

    marks: int = 2  # nearest to the picture's middle
    quiet_modules: float = 1.0  # of white pad taken in around a mark
    subsamples: int = 3  # of the drawing in each pixel, each way
    let_through: tuple[float, float] = (0.25, 1.02)  # parts of the drawing that are fitted
    least: int = 12  # frequencies for three unknowns
    slow: float = 0.02  # cycles a pixel, taken for the contrast between black and white
    strong_part: float = 0.02  # of the drawing's strongest frequency; weaker ones tell nothing


@dataclass(frozen=True, slots=True)
class Smear:
    """The blur's extents, px, and the way of the larger one in the picture (x right, y down)."""

    along_px: float  # sigma
    across_px: float
    direction: tuple[float, float]  # unit vector

    @property
    def path_px(self) -> float:
        """Length of the straight path that would smear a picture so; 0 where none did."""
        return float(np.sqrt(12.0 * max(self.along_px**2 - self.across_px**2, 0.0)))


def find_smear(
    picture: Picture,
    view: View,
    gauge: Gauge,
    mark_ids: tuple[int, ...],
    tuning: SmearTuning | None = None,
) -> Smear | None:
    """The smear seen on marks of the plate; None where their spectrum does not tell."""
    tuning = tuning or SmearTuning()
    found = [
        c
        for mark_id in _nearest_middle(view, gauge, mark_ids, tuning.marks)
        if (c := _mark_covariance(picture, view, gauge, mark_id, tuning)) is not None
    ]
    if not found:
        return None
    variance, axes = np.linalg.eigh(np.median(found, axis=0))
    small, large = np.sqrt(np.maximum(variance, 0.0))
    x, y = axes[:, 1]
    return Smear(float(large), float(small), (float(x), float(y)))


def _nearest_middle(view: View, gauge: Gauge, ids: tuple[int, ...], count: int) -> list[int]:
    plate = [i for i in ids if i in gauge.marks.centres_mm]
    return sorted(plate, key=lambda i: float(np.hypot(*gauge.marks.centres_mm[i])))[:count]


@dataclass(frozen=True, slots=True)
class _Print:
    """One mark as it is drawn on the plate."""

    mark_id: int
    centre_mm: FloatArray  # (3,)
    size_mm: float
    half_mm: float  # with as much of the pad as is looked at

    def brightness(self, place_mm: FloatArray) -> FloatArray:
        """0 black to 1 white (H, W) at places (H, W, 2) from the centre."""
        cells = grid(self.mark_id)
        pitch_mm, ring = self.size_mm / BORDER, GRID // 2
        column = np.floor(place_mm[..., 0] / pitch_mm).astype(int) + ring
        row = np.floor(-place_mm[..., 1] / pitch_mm).astype(int) + ring
        # Beyond the grid's outermost ring the pad is as white as there.
        light = cells[row.clip(0, GRID - 1), column.clip(0, GRID - 1)]
        return np.asarray(light, dtype=np.float64)


def _mark_covariance(
    picture: Picture, view: View, gauge: Gauge, mark_id: int, tuning: SmearTuning
) -> FloatArray | None:
    """Covariance (2, 2) of the blur, px^2, from one mark; None where it is cut off or unclear."""
    size_mm = gauge.marks.size_mm
    half_mm = size_mm * (0.5 + tuning.quiet_modules / BORDER)
    centre_mm = np.array([*gauge.marks.centres_mm[mark_id], 0.0])
    drawing = _Print(mark_id, centre_mm, size_mm, half_mm)
    corners = np.column_stack([centre_mm[:2] + half_mm * CORNER_SIGNS, np.zeros(4)])
    corners_px = view.project(corners)
    left, top = (int(c) for c in np.floor(corners_px.min(axis=0)))
    right, bottom = (int(c) + 1 for c in np.ceil(corners_px.max(axis=0)))
    if left < 0 or top < 0 or right > picture.width_px or bottom > picture.height_px:
        return None
    seen = picture.linear(left, top, right, bottom).astype(np.float64)
    return _covariance(seen, *_drawn(drawing, view, (left, top), seen.shape, tuning), tuning)


def _drawn(
    drawing: _Print,
    view: View,
    corner_px: tuple[int, int],
    shape: tuple[int, ...],
    tuning: SmearTuning,
) -> tuple[FloatArray, FloatArray]:
    """What each pixel (H, W) of a box would show of a mark, 0 dark to 1 light, and a window that
    falls to nothing towards the rim of its pad.
    """
    offsets = (np.arange(tuning.subsamples) + 0.5) / tuning.subsamples - 0.5
    x, y = np.meshgrid(np.arange(shape[1]) + corner_px[0], np.arange(shape[0]) + corner_px[1])

    def places(dx: float, dy: float) -> FloatArray:
        at = np.column_stack([(x + dx).ravel(), (y + dy).ravel()])
        return (view.on_plane_z(at, 0.0) - drawing.centre_mm)[:, :2].reshape(*shape, 2)

    light = [drawing.brightness(places(dx, dy)) for dx in offsets for dy in offsets]
    reach = np.clip(np.abs(places(0.0, 0.0)).max(axis=-1) / drawing.half_mm, 0.0, 1.0)
    return np.mean(light, axis=0), np.cos(0.5 * pi * reach**4) ** 2


def _covariance(
    seen: FloatArray, drawn: FloatArray, weight: FloatArray, tuning: SmearTuning
) -> FloatArray | None:
    """Blur (2, 2) that turns a drawing into what is seen, both (H, W)."""
    observed, ideal = (
        np.fft.rfft2(weight * (a - np.sum(weight * a) / np.sum(weight))) for a in (seen, drawn)
    )
    v = np.fft.fftfreq(seen.shape[0])[:, None] * np.ones(observed.shape)
    u = np.fft.rfftfreq(seen.shape[1])[None, :] * np.ones(observed.shape)
    power = np.abs(ideal) ** 2
    ratio = np.real(observed * np.conj(ideal)) / np.maximum(power, 1e-12)
    strong = power > tuning.strong_part**2 * power.max()
    slow = strong & (np.hypot(u, v) < tuning.slow)  # no blur worth mentioning keeps these back
    contrast = float(np.sum((ratio * power)[slow])) / max(float(np.sum(power[slow])), 1e-12)
    if contrast <= 0.0:
        return None
    passed = ratio / contrast
    use = strong & (passed > tuning.let_through[0]) & (passed < tuning.let_through[1])
    if use.sum() < tuning.least:
        return None
    f, w = np.stack([u[use], v[use]]), np.sqrt(power[use]) * passed[use]
    design = np.stack([np.ones(f.shape[1]), f[0] ** 2, f[1] ** 2, 2 * f[0] * f[1]], axis=1)
    design[:, 1:] *= -2.0 * pi**2
    solved = np.linalg.lstsq(design * w[:, None], np.log(passed[use]) * w, rcond=None)[0]
    return np.array([[solved[1], solved[3]], [solved[3], solved[2]]])
