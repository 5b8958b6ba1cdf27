"""A photo of a screen is told from a photo of a gauge."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from rigvision.photo.picture import Picture, read_picture
from rigvision.vision.screen_grid import find_screen_grid
from tests.photos import checked

SAMPLES = sorted((Path(__file__).parent.parent / "sample_images").glob("*.jpg"))


def on_a_screen(picture: Picture, pitch_px: float, turn_deg: float) -> Picture:
    """The picture shown by pixels of three stripes, red, green and blue, and photographed.

    Luminance weights of IEC 61966-2-1; a sixth of each stripe and pixel is dark between them.
    """
    light = picture.linear(0, 0, picture.width_px, picture.height_px)
    y, x = np.mgrid[: picture.height_px, : picture.width_px].astype(np.float32) / pitch_px
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    across, down = (c * x + s * y) % 1.0, (c * y - s * x) % 1.0
    stripes = np.select([across < 1 / 3, across < 2 / 3], [0.2126, 0.7152], 0.0722)
    lit = (np.abs(down - 0.5) < 5 / 12) & (np.abs(3 * across % 1.0 - 0.5) < 5 / 12)
    shown = cv2.GaussianBlur((light * stripes * lit * 3).astype(np.float32), (0, 0), 0.8)
    codes = np.clip(255.0 * np.clip(shown, 0.0, 1.0) ** (1 / 2.2), 0, 255).astype(np.uint8)
    _, file = cv2.imencode(".jpg", codes, [cv2.IMWRITE_JPEG_QUALITY, 88])
    return replace(picture, luma=cv2.imdecode(file, cv2.IMREAD_GRAYSCALE))


@pytest.mark.parametrize("path", SAMPLES, ids=lambda p: p.stem)
def test_no_sample_is_taken_for_a_screen(path):
    """What a gauge shows stays far under the limit of four tenths of the tiles."""
    seen = checked(path).evidence
    if seen.pose:
        assert find_screen_grid(read_picture(path), seen.pose.view, seen.gauge).part < 0.2


@pytest.mark.parametrize("pitch_px", [2.2, 3.0, 4.6, 6.0])
def test_a_screen_shows_its_pixels_or_their_moire(pitch_px):
    path = SAMPLES[0].with_name("nominal.jpg")
    seen = checked(path).evidence
    shown = on_a_screen(read_picture(path), pitch_px, 3.0)
    grid = find_screen_grid(shown, seen.pose.view, seen.gauge)
    assert grid.part > 0.5
    if pitch_px >= 3.0:  # below, colours' thirds alias into a coarser pattern
        assert grid.pitch_px == pytest.approx(pitch_px, rel=0.05)


def test_jpeg_blocks_are_no_screen():
    """At quality 20 every block of 8 x 8 has its own edges."""
    path = SAMPLES[0].with_name("nominal.jpg")
    seen, picture = checked(path).evidence, read_picture(path)
    _, file = cv2.imencode(".jpg", picture.luma, [cv2.IMWRITE_JPEG_QUALITY, 20])
    blocky = replace(picture, luma=cv2.imdecode(file, cv2.IMREAD_GRAYSCALE))
    assert find_screen_grid(blocky, seen.pose.view, seen.gauge).part < 0.2


def test_a_gauge_too_small_for_a_tile_shows_nothing():
    path = SAMPLES[0].with_name("nominal.jpg")
    seen, picture = checked(path).evidence, read_picture(path)
    tiny = replace(picture, luma=np.ascontiguousarray(picture.luma[:80, :80]))
    assert find_screen_grid(tiny, seen.pose.view, seen.gauge).part == 0.0


@pytest.mark.parametrize("code", [0, 255])
def test_an_even_picture_shows_nothing(code):
    path = SAMPLES[0].with_name("nominal.jpg")
    seen, picture = checked(path).evidence, read_picture(path)
    even = replace(picture, luma=np.full_like(picture.luma, code))
    assert find_screen_grid(even, seen.pose.view, seen.gauge).part == 0.0
