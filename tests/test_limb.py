"""A limb's outline in profiles made by hand: found where it is, doubted where nothing shows.

The profiles are integrated on a grid of their own: shading of a round surface by its angle,
a background that slopes, the lens's blur as a running sum, white noise.
"""

from __future__ import annotations

import numpy as np
import pytest

from rigvision.vision.limb import LimbModel

RADIUS_MM = 7.0
BLUR_MM = 0.06
S_MM = np.arange(-1.4, 0.9, 0.04)
PLACES_MM = np.arange(-0.6, 0.6001, 0.02)


def profiles(outline_mm, background, power, rng, noise=0.01, number=8):
    """Light (S, K): a barrel that darkens with a power of the cosine, then the background."""
    fine = np.arange(-2.0, 1.5, 0.005)
    depth = np.clip((outline_mm - fine) / RADIUS_MM, 0.0, None)
    cosine = np.sqrt(np.clip(1.0 - (1.0 - depth) ** 2, 0.0, 1.0))
    barrel = 0.1 + 0.6 * cosine**power
    behind = background * (1.0 + 0.15 * fine)
    sharp = np.where(fine < outline_mm, barrel, behind)
    kernel = np.exp(-0.5 * (np.arange(-60, 61) * 0.005 / BLUR_MM) ** 2)
    soft = np.convolve(np.pad(sharp, 60, mode="edge"), kernel / kernel.sum(), "valid")
    seen = np.interp(S_MM, fine, soft)[:, None]
    level = seen.mean()
    return np.clip(seen + noise * level * rng.standard_normal((len(S_MM), number)), 0.0, None)


def posterior(light):
    model = LimbModel(S_MM, PLACES_MM, BLUR_MM, RADIUS_MM)
    log = model.log_likelihood(light).sum(axis=1)
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    mean = float(weight @ PLACES_MM)
    return mean, float(np.sqrt(weight @ (PLACES_MM - mean) ** 2))


@pytest.mark.parametrize("background", [0.03, 0.05, 0.5, 0.7])
@pytest.mark.parametrize("power", [0.6, 1.0, 2.3])
@pytest.mark.parametrize("outline_mm", [-0.21, 0.0, 0.17])
def test_an_outline_that_shows_is_found(background, power, outline_mm):
    """Darker or brighter than the limb (0.1): within 0.02 mm, a quarter of a pixel."""
    light = profiles(outline_mm, background, power, np.random.default_rng(5))
    mean, sigma = posterior(light)
    assert mean == pytest.approx(outline_mm, abs=0.02)
    assert sigma < 0.06


def test_error_is_within_the_doubt_claimed():
    """Error over standard deviation, RMS of sixty, below 1.3: faint and strong outlines."""
    rng = np.random.default_rng(11)
    ratios = []
    for _ in range(60):
        outline_mm = rng.uniform(-0.3, 0.3)
        light = profiles(outline_mm, rng.uniform(0.02, 0.4), rng.uniform(0.5, 2.5), rng, 0.02)
        mean, sigma = posterior(light)
        ratios.append((mean - outline_mm) / sigma)
    assert np.sqrt(np.mean(np.square(ratios))) < 1.3


def test_a_limb_as_dark_as_what_lies_behind_it_is_doubted():
    """The barrel falls to 0.1 before a background of 0.1: only a bend is left."""
    light = profiles(0.0, 0.1, 2.3, np.random.default_rng(3), noise=0.02)
    mean, sigma = posterior(light)
    assert sigma > 0.1
    assert abs(mean) < 2.0 * sigma


def test_a_soft_shadow_on_the_barrel_is_not_taken_for_its_outline():
    """A shadow's border 0.5 mm wide, eight times the blur, and nothing else in view."""
    shade = 0.1 + 0.4 / (1.0 + np.exp((S_MM + 0.2) / 0.1))
    rng = np.random.default_rng(8)
    light = shade[:, None] * (1.0 + 0.01 * rng.standard_normal((len(S_MM), 8)))
    _, sigma = posterior(light)
    assert sigma > 0.15


def test_one_segment_s_burr_does_not_move_the_rest():
    rng = np.random.default_rng(4)
    light = profiles(0.1, 0.03, 1.0, rng)
    light[:, 2:3] = profiles(-0.35, 0.03, 1.0, rng, number=1)
    mean, _ = posterior(light)
    assert mean == pytest.approx(0.1, abs=0.02)


def test_brightness_does_not_matter():
    light = profiles(0.1, 0.04, 1.5, np.random.default_rng(6))
    assert posterior(light) == pytest.approx(posterior(0.3 * light), abs=5e-3)


def test_a_wholly_black_profile_tells_nothing_and_is_no_error():
    """Underexposed to code 0 across the limb: neither place nor NaN may come of it."""
    light = np.zeros((len(S_MM), 3))
    model = LimbModel(S_MM, PLACES_MM, BLUR_MM, RADIUS_MM)
    log = model.log_likelihood(light)
    assert np.isfinite(log).all()
    _, sigma = posterior(light)
    assert sigma > 0.25  # places from -0.6 to 0.6 mm, all alike, would give 0.35
