"""Estimators on clean step profiles, against the best that noise allows (Cramer-Rao).

For samples b + A E(x - x0) + noise of standard deviation s, one a pixel, N rows:
var(x0) >= s^2 / (N A^2 sum E'^2), and for a Gaussian edge of total blur B the sum is close to
1 / (2 sqrt(pi) B). With the two levels unknown in a window of W pixels a row, the bound is
larger by 1 / sqrt(1 - 2 sqrt(pi) B / W). Standard Fisher information; the discrete edge is
that of A. Gatherer, The Cramer Rao Bound for Discrete-Time Edge Position, Stanford
CSL-TR-93-560, 1993.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.ground.normal import cumulative_normal
from rigvision.photo.exif import Exif
from rigvision.photo.picture import Picture
from rigvision.vision.edge_spread import SPREAD_PX, EdgeSpread
from rigvision.vision.side import fit_sides
from rigvision.vision.slot_profiles import SlotProfiles

from .estimators import ESTIMATORS, REACH_MM, Estimator
from .tables import table

#: Contrast 175 and noise 2 of 255, levels as of a mark in fair light.
CONTRAST, DARK, NOISE = 175 / 255, 30 / 255, 2 / 255
#: Blur of lens and focus, px; the pixel's own box comes on top.
LENS_BLURS_PX = (0.6, 1.0, 1.6)
PX_PER_MM = 14.0
SLOTS, STATIONS = 150, 7
#: Pictures of marks; pixel rows of a mark's side that its fit looks at, and pixels of each.
SIDE_PICTURES, SIDE_ROWS, SIDE_WINDOW_PX = 25, 48, 17
#: An estimator this near the bound is as good as can be asked.
AIM = 1.15


def total_blur_px(lens_px: float) -> float:
    """Lens and pixel together: a box of one pixel has a variance of 1/12."""
    return float(np.sqrt(lens_px**2 + 1.0 / 12.0))


def bound_px(
    noise_part: float, blur_px: float, rows: float = 1.0, window_px: float | None = None
) -> float:
    """Smallest standard deviation of an edge's place.

    ``noise_part`` is the noise over the contrast, ``blur_px`` the total blur, ``window_px``
    the pixels of a row where the levels are unknown too.
    """
    spread = 2.0 * np.sqrt(np.pi) * blur_px
    known = noise_part * np.sqrt(spread / rows)
    return float(known if window_px is None else known / np.sqrt(1.0 - spread / window_px))


def clean_slot(
    rng: np.random.Generator, blur_px: float, noise: float = NOISE
) -> tuple[SlotProfiles, FloatArray]:
    """Profiles of a wide slot with sharp edges at random places, and the edges (S, 2) mm."""
    reach_mm = 2.0 * REACH_MM
    sill = rng.uniform(-0.5, 0.5, STATIONS) / PX_PER_MM
    edges = np.column_stack([sill, sill + 2.0 * REACH_MM + rng.uniform(0, 2, STATIONS) / PX_PER_MM])
    y_mm = np.arange(-reach_mm * PX_PER_MM, (2.0 * reach_mm + 0.2) * PX_PER_MM) / PX_PER_MM
    away_px = np.maximum(edges[:, :1] - y_mm, y_mm - edges[:, 1:]) * PX_PER_MM
    light = DARK + CONTRAST * cumulative_normal(away_px / blur_px)
    profiles = SlotProfiles(
        np.linspace(-36.0, 36.0, STATIONS),
        y_mm,
        light + rng.normal(0.0, noise, light.shape),
        np.full(light.shape, noise),
        np.full(STATIONS, PX_PER_MM),
        EdgeSpread(cumulative_normal(SPREAD_PX / blur_px)),
        np.ones(STATIONS),
        0.0,
        1e-4,
        5.0,
        3.0,
    )
    return profiles, edges


def ratio_to_bound(estimator: Estimator, lens_px: float, seed: int, slots: int = SLOTS) -> float:
    """RMS error of an estimator's edges over the bound."""
    rng = np.random.default_rng([seed, round(100 * lens_px)])
    blur_px = total_blur_px(lens_px)
    errors = []
    for _ in range(slots):
        profiles, edges = clean_slot(rng, blur_px)
        rough = edges + rng.uniform(-0.5, 0.5, edges.shape) / PX_PER_MM
        found, _ = estimator.edges(profiles, rough)
        errors.append((found - edges) * PX_PER_MM)
    window_px = 2.0 * REACH_MM * PX_PER_MM
    best_px = bound_px(NOISE / CONTRAST, blur_px, window_px=window_px)
    return float(np.sqrt(np.mean(np.square(errors))) / best_px)


def sides_to_bound(lens_px: float, seed: int, pictures: int = SIDE_PICTURES) -> float:
    """RMS error of the sides of printed marks, fitted in a picture, over the bound.

    The bound is that of the rows which the fit looks at, 8 px to either side; at a slant a
    row's pixels lie closer across the border.
    """
    rng = np.random.default_rng([seed, round(100 * lens_px), 1])
    blur_px, errors = total_blur_px(lens_px), []
    for _ in range(pictures):
        quads = np.array([_tilted_quad(rng, 100.0 + 170.0 * k) for k in range(6)])
        picture = _picture_of(quads, blur_px, rng)
        fits = fit_sides(picture, quads + rng.normal(0.0, 0.5, quads.shape))
        middle = ((quads + np.roll(quads, -1, axis=1)) / 2.0).reshape(-1, 2)
        slant = np.abs(fits.normal).max(axis=1)
        spread = 2.0 * np.sqrt(np.pi) * blur_px
        best = NOISE / CONTRAST * np.sqrt(spread * slant / SIDE_ROWS)
        best /= np.sqrt(1.0 - spread / (SIDE_WINDOW_PX * slant))
        errors.append((fits.distance_px - np.sum(fits.normal * middle, axis=1)) / best)
    return float(np.sqrt(np.mean(np.square(errors))))


def _tilted_quad(rng: np.random.Generator, x_px: float) -> FloatArray:
    """Corners (4, 2) of a mark of 120 px, turned at random, clockwise in the picture."""
    a = rng.uniform(-np.pi, np.pi)
    turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    square = 60.0 * np.array([[-1.0, -0.97], [1.0, -1.0], [1.0, 0.98], [-0.99, 1.0]])
    return square @ turn.T + np.array([x_px, 100.0]) + rng.uniform(0.0, 1.0, 2)


def _picture_of(quads: FloatArray, blur_px: float, rng: np.random.Generator) -> Picture:
    """Marks without pattern, in 16-bit sRGB (IEC 61966-2-1)."""
    y, x = np.mgrid[0:200, 0:1060].astype(float)
    light = np.full(x.shape, DARK + CONTRAST)
    for corners in quads:
        along = np.roll(corners, -1, axis=0) - corners
        along /= np.linalg.norm(along, axis=1, keepdims=True)
        away = np.max(
            [(x - c[0]) * u[1] - (y - c[1]) * u[0] for c, u in zip(corners, along, strict=True)], 0
        )
        light -= CONTRAST * (1.0 - cumulative_normal(away / blur_px))
    light = np.clip(light + rng.normal(0.0, NOISE, light.shape), 0.0, 1.0)
    codes = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return Picture(Path("marks.png"), "marks.png", "", np.uint16(np.round(65535 * codes)), Exif())


def bound_table(seed: int, estimators: Sequence[Estimator] = ESTIMATORS) -> str:
    """Error over bound of every estimator, at three blurs."""
    window_px = 2.0 * REACH_MM * PX_PER_MM
    bounds = [
        bound_px(NOISE / CONTRAST, total_blur_px(b), window_px=window_px) for b in LENS_BLURS_PX
    ]
    head = ["error / bound", *(f"lens blur {b:g} px" for b in LENS_BLURS_PX), f"under {AIM:g}"]
    rows = [["the bound itself, px", *(f"{b:.4f}" for b in bounds), ""]]
    for estimator in estimators:
        ratios = [ratio_to_bound(estimator, b, seed) for b in LENS_BLURS_PX]
        reached = "reached" if max(ratios) < AIM else "**missed**"
        rows.append([estimator.title, *(f"{r:.2f}" for r in ratios), reached])
    ratios = [sides_to_bound(b, seed) for b in LENS_BLURS_PX]
    reached = "reached" if max(ratios) < AIM else "**missed**"
    rows.append(["a mark's side, in a picture", *(f"{r:.2f}" for r in ratios), reached])
    return table(head, rows)
