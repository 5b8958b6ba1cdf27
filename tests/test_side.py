"""Borders fitted to pixels: against scikit-image's lines, and against what noise allows.

The pictures are not drawn but computed: the light at a pixel is that of a straight border
blurred by a Gaussian, at the pixel's exact distance from it.
"""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest
from scipy.special import ndtr
from skimage.measure import LineModelND, find_contours, ransac

from rigvision.photo.exif import Exif
from rigvision.photo.picture import Picture
from rigvision.vision.edge_spread import EdgeSpread, StepPixels, edge_spread
from rigvision.vision.side import SideFits, fit_sides

DARK, LIGHT = 0.06, 0.71


def srgb_codes(light: np.ndarray) -> np.ndarray:
    """IEC 61966-2-1, 16 bit."""
    light = np.clip(light, 0.0, 1.0)
    low, high = 12.92 * light, 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055
    return np.round(65535.0 * np.where(light <= 0.0031308, low, high)).astype(np.uint16)


def as_picture(light: np.ndarray) -> Picture:
    return Picture(Path("computed.png"), "computed.png", "", srgb_codes(light), Exif())


def quad(centre: tuple[float, float], size: float, turn_deg: float) -> np.ndarray:
    """Corners of a slightly trapezoidal tag, clockwise in the picture, first one top left."""
    corners = size / 2 * np.array([[-1.0, -0.96], [1.03, -1.0], [1.0, 0.97], [-0.98, 1.0]])
    a = np.radians(turn_deg)
    turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    return corners @ turn.T + centre


def distances(corners: np.ndarray, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Signed distance from each of the four sides, outward positive, (4, ...)."""
    ends = np.roll(corners, -1, axis=0)
    along = (ends - corners) / np.linalg.norm(ends - corners, axis=1, keepdims=True)
    normal = np.column_stack([along[:, 1], -along[:, 0]])
    return np.array(
        [n[0] * (x - c[0]) + n[1] * (y - c[1]) for n, c in zip(normal, corners, strict=True)]
    )


def light_of(quads: list[np.ndarray], shape: tuple[int, int], blur_px: float) -> np.ndarray:
    light = np.full(shape, LIGHT)
    for corners in quads:
        left, top = np.floor(corners.min(axis=0) - 14).astype(int)
        right, bottom = np.ceil(corners.max(axis=0) + 15).astype(int)
        y, x = np.mgrid[top:bottom, left:right].astype(float)
        nearest = distances(corners, x, y).max(axis=0)
        light[top:bottom, left:right] = DARK + (LIGHT - DARK) * ndtr(nearest / blur_px)
    return light


def offsets_px(fits: SideFits, quads: list[np.ndarray]) -> np.ndarray:
    """How far outside the true side's middle each fitted line passes, (S,)."""
    middles = np.concatenate([(q + np.roll(q, -1, axis=0)) / 2 for q in quads])
    return fits.distance_px - np.sum(fits.normal * middles, axis=1)


def shaken(quads: list[np.ndarray], rng: np.random.Generator) -> np.ndarray:
    """Starting corners as a detector gives them: half a pixel off."""
    return np.array(quads) + rng.normal(0.0, 0.5, (len(quads), 4, 2))


@pytest.fixture(scope="module")
def many() -> list[np.ndarray]:
    """Sixty tags of 120 px at every slant and every place within a pixel."""
    rng = np.random.default_rng(11)
    return [
        quad(
            (120.0 + 190.0 * (k % 10) + rng.uniform(), 124.0 + 190.0 * (k // 10) + rng.uniform()),
            120.0,
            float(rng.uniform(-180.0, 180.0)),
        )
        for k in range(60)
    ]


@pytest.mark.parametrize("blur_px", [0.7, 1.0, 1.8])
@pytest.mark.parametrize("turn_deg", [7.0, -33.0, 101.0])
def test_sides_are_the_lines_that_scikit_image_fits_to_the_half_way_crossings(blur_px, turn_deg):
    """Without noise. Crossings by marching squares, a line by RANSAC, both scikit-image's.

    Marching squares interpolates linearly: up to 0.02 px wrong in one pixel, some thousandths
    over a side; the line fit in question has no such error.
    """
    corners = quad((160.3, 151.7), 150.0, turn_deg)
    light = light_of([corners], (300, 320), blur_px)
    fits = fit_sides(as_picture(light), shaken([corners], np.random.default_rng(1)))
    contour = max(find_contours(light, (DARK + LIGHT) / 2), key=len)[:, ::-1]
    ends = np.roll(corners, -1, axis=0)
    for side in range(4):
        start, end = corners[side], ends[side]
        part = (contour - start) @ (end - start) / np.sum((end - start) ** 2)
        near = np.abs(distances(corners, *contour.T)[side]) < 3.0
        points = contour[near & (part > 0.1) & (part < 0.9)]
        line, inliers = ransac(points, LineModelND, 2, residual_threshold=0.1, rng=4)
        assert inliers.mean() > 0.9
        # from scikit-image 0.26 on by name, before as a pair
        origin, direction = (
            (line.origin, line.direction) if hasattr(line, "origin") else line.params
        )
        away = abs(fits.normal[side] @ direction) * np.linalg.norm(end - start) / 2
        offset = fits.distance_px[side] - fits.normal[side] @ (
            origin + direction * (((start + end) / 2 - origin) @ direction)
        )
        assert abs(offset) < 0.01
        assert away < 0.02


def test_without_noise_a_side_is_found_where_it_is(many):
    """0.002 px: 16-bit codes; nothing else stands between truth and fit."""
    light = light_of(many, (1200, 2000), 0.9)
    fits = fit_sides(as_picture(light), shaken(many, np.random.default_rng(2)))
    assert fits.usable.all()
    assert np.abs(offsets_px(fits, many)).max() < 0.002
    np.testing.assert_allclose(fits.blur_px, 0.9, rtol=0, atol=0.01)
    np.testing.assert_allclose(fits.contrast, LIGHT - DARK, rtol=0, atol=0.002)


def smallest_sigma_px(
    noise: float, blur_px: float, slant: np.ndarray, rows: np.ndarray | float, reach_px: float
) -> np.ndarray:
    """Cramer-Rao bound of a side's offset, both levels unknown, rows of 2 reach + 1 pixels.

    sigma >= noise / A * sqrt(2 sqrt(pi) blur / N) for N rows a pixel apart across the border,
    over sqrt(1 - 2 sqrt(pi) blur / W) for levels that are fitted too (recomputed; after
    A. Gatherer, Stanford CSL-TR-93-560, 1993). At a slant the samples of a row lie closer.
    """
    spread = 2.0 * np.sqrt(np.pi) * blur_px
    known = noise / (LIGHT - DARK) * np.sqrt(spread * slant / rows)
    return known / np.sqrt(1.0 - spread / (2.0 * reach_px + 1.0) / slant)


@pytest.mark.parametrize("blur_px", [0.7, 1.1])
@pytest.mark.parametrize("noise", [0.005, 0.02, 0.05])
def test_sides_reach_the_cramer_rao_bound_and_say_so(many, noise, blur_px):
    """Within 1.15 of the bound for the 48 rows that are used of a side.

    Tukey's weights cost 3 %; the chance of 240 sides is 5 %. The stated uncertainty may not
    be smaller than the scatter, nor much larger.
    """
    rng = np.random.default_rng(int(1000 * noise) + int(10 * blur_px))
    light = light_of(many, (1200, 2000), blur_px)
    light = light + rng.normal(0.0, noise, light.shape)
    fits = fit_sides(as_picture(light), shaken(many, rng))
    assert fits.usable.all()
    errors = offsets_px(fits, many)
    slant = np.max(np.abs(fits.normal), axis=1)
    bound = smallest_sigma_px(noise, blur_px, slant, 48.0, 8.0)
    assert np.sqrt(np.mean((errors / bound) ** 2)) < 1.15
    ratio = errors / np.sqrt(fits.covariance[:, 0, 0])
    assert 0.8 < np.sqrt(np.mean(ratio**2)) < 1.25
    assert abs(errors.mean()) < 4.0 * errors.std() / np.sqrt(len(errors))


@pytest.mark.parametrize("noise", [0.01, 0.04])
def test_sides_of_small_marks_do_not_count_a_row_twice(noise):
    """Tags of 44 px, some 30 rows a side: none may count twice, and the claim must hold.

    Whatever claims to beat the bound of all its rows is sure of more than it saw.
    """
    rng = np.random.default_rng(21)
    small = [
        quad(
            (90.0 + 120.0 * (k % 16) + rng.uniform(), 90.0 + 120.0 * (k // 16) + rng.uniform()),
            44.0,
            float(rng.uniform(-180.0, 180.0)),
        )
        for k in range(80)
    ]
    light = light_of(small, (700, 2000), 0.8)
    light = light + rng.normal(0.0, noise, light.shape)
    fits = fit_sides(as_picture(light), np.array(small) + rng.normal(0.0, 0.3, (80, 4, 2)))
    assert fits.usable.all()
    errors, told = offsets_px(fits, small), np.sqrt(fits.covariance[:, 0, 0])
    assert 0.8 < np.sqrt(np.mean((errors / told) ** 2)) < 1.25
    slant = np.max(np.abs(fits.normal), axis=1)
    every_row = smallest_sigma_px(noise, 0.8, slant, 44.0 * slant, 4.4)
    assert np.median(told / every_row) > 0.95


@pytest.mark.parametrize(("axis", "fall"), [(1, 0.3), (0, -0.2)])
def test_light_that_falls_off_along_a_side_does_not_turn_it(many, axis, fall):
    """A fifth or more of the light over a tag's length: levels alike along a side turn it by
    some tenths of a pixel.
    """
    light = light_of(many, (1200, 2000), 0.9)
    place = np.arange(light.shape[axis]) / 120.0
    # the same slope at each tag, and never dark
    lamp = 1.0 + fall * (np.abs(place % 8.0 - 4.0) - 2.0) / 2.0
    light = light * (lamp[None, :] if axis == 1 else lamp[:, None])
    fits = fit_sides(as_picture(light), shaken(many, np.random.default_rng(6)))
    ends = np.concatenate([np.roll(q, -1, axis=0) for q in many])
    starts = np.concatenate(many)
    off = [np.sum(fits.normal * p, axis=1) - fits.distance_px for p in (starts, ends)]
    assert fits.usable.all()
    assert np.sqrt(np.mean(np.square(off))) < 0.02


def test_a_sharpened_side_along_the_pixels_columns_is_not_told_too_surely():
    """Only one pixel of each row shows such a border, and halos beside it hide how wide it is:
    fitted by itself such a side ended up to 2 px away, and said 0.01.
    """
    rng = np.random.default_rng(8)
    quads = [
        np.array([[x, y], [x + 121.0, y], [x + 121.0, y + 121.0], [x, y + 121.0]])
        + rng.uniform(-0.25, 0.25, (4, 2))
        for x in (60.5, 260.5, 460.5)
        for y in (60.5, 260.5, 460.5)
    ]
    sharp = light_of(quads, (640, 640), 0.6)
    codes = srgb_codes(sharp) / 65535.0
    codes = np.clip(codes + (codes - cv2.GaussianBlur(codes, (0, 0), 1.3)), 0.0, 1.0)
    codes = codes + rng.normal(0.0, 0.004, codes.shape)
    picture = Picture(
        Path("computed.png"),
        "computed.png",
        "",
        np.round(65535.0 * np.clip(codes, 0.0, 1.0)).astype(np.uint16),
        Exif(),
    )
    for seed in range(4):
        start = np.array(quads) + np.random.default_rng(seed).normal(0.0, 0.9, (9, 4, 2))
        fits = fit_sides(picture, start)
        off = offsets_px(fits, quads)
        off -= np.median(off)
        assert fits.usable.all()
        assert np.sqrt(np.mean(off**2)) < 0.12
        # 0.03 px is what the pose allows any border beyond its own statistics
        assert np.abs(off / np.hypot(np.sqrt(fits.covariance[:, 0, 0]), 0.03)).max() < 5.0


def test_a_scratch_across_the_border_does_not_pull_the_line(many):
    """A bright line 3 px wide over a tenth of a side: least squares would move by 0.1 px."""
    rng = np.random.default_rng(3)
    light = light_of(many, (1200, 2000), 0.9) + rng.normal(0.0, 0.01, (1200, 2000))
    for corners in many:
        middle = 0.7 * corners[0] + 0.3 * corners[1]
        x, y = np.round(middle).astype(int)
        light[y - 6 : y + 7, x - 1 : x + 2] = 0.9
    fits = fit_sides(as_picture(light), shaken(many, rng))
    top = offsets_px(fits, many)[::4]
    assert abs(np.median(top)) < 0.01
    assert np.abs(top).max() < 0.06


def test_a_side_that_is_not_there_is_not_usable():
    """Even grey with noise: no border, so no line."""
    rng = np.random.default_rng(4)
    light = 0.4 + rng.normal(0.0, 0.01, (300, 320))
    fits = fit_sides(as_picture(light), np.array([quad((160.0, 150.0), 120.0, 20.0)]))
    assert not fits.usable.any()


@pytest.mark.parametrize("quads", [np.zeros((0, 4, 2)), quad((160.0, 150.0), 120.0, 20.0)[None]])
def test_where_no_side_shows_none_is_found(quads):
    """A second look at what nothing was found of has nothing to fit."""
    light = np.full((300, 320), 0.4)
    shown = np.zeros((4 * len(quads), 2))
    fits = fit_sides(as_picture(light), quads, shown)
    assert len(fits.usable) == 4 * len(quads)
    assert not fits.usable.any()


@pytest.mark.parametrize("part", [(0.0, 0.6), (0.3, 1.0), (0.25, 0.7)])
def test_a_part_of_a_side_tells_the_whole_line_and_how_well(part):
    """What lies beyond the part is covered. Ends of whole sides, error over claimed sigma over 40

    noisy pictures of four sides: RMS 0.7 to 1.3.
    """
    corners, ratios = quad((160.0, 150.0), 120.0, 13.0), []
    along = np.roll(corners, -1, axis=0) - corners
    rng = np.random.default_rng(11)
    clean = light_of([corners], (300, 320), 0.9)
    for _ in range(40):
        light = clean + rng.normal(0.0, 0.01, clean.shape)
        fits = fit_sides(as_picture(light), corners[None], np.array([part] * 4))
        assert fits.usable.all()
        for end in (0.0, 1.0):
            true = corners + end * along
            off = fits.distance_px - np.sum(fits.normal * true, axis=1)
            to_end = np.array([1.0, 2.0 * end - 1.0])
            ratios.append(off / np.sqrt(to_end @ fits.covariance @ to_end))
    assert 0.7 < np.sqrt(np.mean(np.square(ratios))) < 1.3


def test_a_side_far_from_its_start_is_not_made_up():
    """Sides 12 px from where they were looked for: not usable, or at the border all the same."""
    corners = quad((160.3, 151.7), 120.0, 20.0)
    light = light_of([corners], (300, 320), 0.9)
    fits = fit_sides(as_picture(light), np.array([corners + np.array([12.0, 3.0])]))
    assert np.abs(offsets_px(fits, [corners])[fits.usable]).max(initial=0.0) < 0.05


def test_the_measured_edge_spread_is_the_picture_s_own(many):
    """Steps blurred by a Gaussian: the response is its cumulative distribution.

    Bins of 0.25 px and their medians: 0.25 / sqrt(12) of slope 0.44 a px is 0.03 at most.
    """
    fits = fit_sides(
        as_picture(light_of(many, (1200, 2000), 0.9)), shaken(many, np.random.default_rng(5))
    )
    across = np.linspace(-4.0, 4.0, 33)
    np.testing.assert_allclose(
        edge_spread([fits.pixels]).rising(across), ndtr(across / 0.9), rtol=0, atol=0.02
    )


def test_rising_and_falling_are_mirror_images():
    """A lopsided spread: what rises early on the way up falls late on the way down."""
    lopsided = EdgeSpread(np.clip(np.linspace(-8, 8, 65) / 4.0 + 0.8, 0.0, 1.0))
    across = np.linspace(-3.0, 3.0, 25)
    np.testing.assert_allclose(
        lopsided.falling(across), 1.0 - lopsided.rising(-across), rtol=0, atol=1e-12
    )
    assert lopsided.rising(np.array([0.0])) == pytest.approx(0.8, abs=1e-12)
    assert lopsided.falling(np.array([0.0])) == pytest.approx(0.2, abs=1e-12)


def test_the_spread_near_a_blur_is_that_of_the_borders_blurred_so():
    """Two sets of borders, 0.5 and 1.5 px: each blur is answered by its own."""
    across = np.tile(np.linspace(-6.0, 6.0, 400).astype(np.float32), 12)
    pixels = [
        StepPixels(across, ndtr(across / s).astype(np.float32), np.full(12, 400), np.full(12, s))
        for s in (0.5, 1.5)
    ]
    for wanted_px in (0.5, 1.5):
        spread = edge_spread(pixels, wanted_px)
        assert spread.blur_px == wanted_px
        at = np.array([-1.0, 0.0, 1.0])
        np.testing.assert_allclose(spread.rising(at), ndtr(at / wanted_px), rtol=0, atol=0.02)
