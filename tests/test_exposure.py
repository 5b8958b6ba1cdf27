"""Light on the marks' white pads and on the socket's barrel."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from rigvision.photo.exif import Exif
from rigvision.photo.picture import Picture
from rigvision.synthetic import ideal_scene
from rigvision.vision.exposure import find_exposure
from tests.photos import CLEAN, camera_at, checked
from tests.test_smear import sharp  # noqa: F401  (a fixture)


def test_the_white_of_the_pads_is_what_the_exposure_made_it(shoot, gauge, frame):
    """Exposure 0.6 puts the brightest pad at 0.6 of full light; elsewhere the torch falls off."""
    camera = camera_at(development=replace(CLEAN, exposure=0.6))
    seen = checked(shoot(ideal_scene(gauge, frame), camera).path).evidence
    assert seen.conditions.exposure.white == pytest.approx(0.6, abs=0.06)
    assert seen.conditions.exposure.white_blown == 0.0


def test_an_overexposed_picture_has_blown_pads(shoot, gauge, frame):
    camera = camera_at(development=replace(CLEAN, exposure=1.4))
    seen = checked(shoot(ideal_scene(gauge, frame), camera).path).evidence
    assert seen.conditions.exposure.white_blown > 0.9


def test_a_pad_outside_the_picture_has_no_light(sharp, gauge, frame):  # noqa: F811
    """The right two fifths of the picture are missing: so are the three marks at x = 56."""
    _, camera, view = sharp
    part = np.full((camera.height_px, camera.width_px * 3 // 5), 200, np.uint8)
    picture = Picture(Path("a.png"), "a.png", "0" * 64, part, Exif())
    pads = find_exposure(picture, view, gauge, frame)
    lost = {i for i, light in zip(pads.ids, pads.light, strict=True) if np.isnan(light)}
    assert lost == {102, 104, 107}
    # IEC 61966-2-1: code 200 is 0.5776 of full light.
    assert pads.white == pytest.approx(0.5776, abs=1e-3)
