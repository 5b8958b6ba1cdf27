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

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.ground.normal import cumulative_normal
from rigvision.vision.edge_spread import SPREAD_PX, EdgeSpread
from rigvision.vision.shaded_slot import SlotProfiles

from .estimators import ESTIMATORS, REACH_MM, Estimator
from .tables import table

#: Contrast 175 and noise 2 of 255, levels as of a mark in fair light.
CONTRAST, DARK, NOISE = 175 / 255, 30 / 255, 2 / 255
#: Blur of lens and focus, px; the pixel's own box comes on top.
LENS_BLURS_PX = (0.6, 1.0, 1.6)
PX_PER_MM = 14.0
SLOTS, STATIONS = 150, 7
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
    return table(head, rows)
