"""Copies of one exposure, by the figure of the marks: synthetic cameras, no pictures."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from rigvision.ground.conventions import FloatArray
from rigvision.records.bodies import Likeness
from rigvision.records.exposure_match import match_exposures
from rigvision.synthetic import PhoneCamera
from rigvision.world.gauge import Gauge

#: Read to 0.04 px in each photo; seen from 250 mm, by 12 px a mm.
CAMERA = PhoneCamera(distance_mm=250.0, tilt_deg=14.0, azimuth_deg=62.0, roll_deg=5.0, k1=0.01)


def photo(camera: PhoneCamera, gauge: Gauge, seed: int = 1, px: float = 0.04) -> Likeness:
    ids = sorted(gauge.marks.centres_mm)
    places = np.array([[*gauge.marks.centres_mm[i], 0.0] for i in ids])
    seen = camera.project_px(places) + np.random.default_rng(seed).normal(0.0, px, (len(ids), 2))
    return with_marks({str(i): (float(x), float(y)) for i, (x, y) in zip(ids, seen, strict=True)})


def with_marks(marks: dict[str, tuple[float, float]]) -> Likeness:
    camera = (30.0, 50.0, 240.0)
    return Likeness("rigvision.likeness/1", "RG-10", camera, (1.0, 1.0, 5.0), {}, marks_px=marks)


def moved(camera: PhoneCamera, by_mm: FloatArray) -> PhoneCamera:
    eye = camera.eye_mm + by_mm
    distance = float(np.linalg.norm(eye))
    return replace(
        camera,
        distance_mm=distance,
        tilt_deg=float(np.degrees(np.arccos(eye[2] / distance))),
        azimuth_deg=float(np.degrees(np.arctan2(eye[1], eye[0]))),
    )


@pytest.mark.parametrize("seed", range(2, 8))
def test_two_readings_of_one_exposure_fit(gauge: Gauge, seed: int) -> None:
    match = match_exposures(photo(CAMERA, gauge), photo(CAMERA, gauge, seed))
    assert match is not None
    assert match.fits
    assert match.decades > 3.5
    assert match.chance < 1e-3


def test_cut_and_scaled_by_a_third_it_fits(gauge: Gauge) -> None:
    """Whose focal length in pixels, and whose middle, are others then."""
    small = replace(
        CAMERA,
        focal_px=CAMERA.lens_px / 3.0,
        principal_offset_px=(210.0, -95.0),
        roll_deg=CAMERA.roll_deg - 90.0,
    )
    match = match_exposures(photo(CAMERA, gauge), photo(small, gauge, 2, 0.03))
    assert match is not None
    assert match.fits


@pytest.mark.parametrize("along", [(1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (-0.7, 0.7, 0.0)])
def test_a_camera_two_millimetres_aside_does_not(
    gauge: Gauge, along: tuple[float, float, float]
) -> None:
    aside = moved(CAMERA, 2.0 * np.array(along))
    match = match_exposures(photo(CAMERA, gauge), photo(aside, gauge, 2))
    assert match is not None
    assert not match.fits
    assert match.decades < 0.0


def test_the_chance_stated_is_not_less_than_that_found(gauge: Gauge) -> None:
    """Second photos by a hand that moves by 40 mm along each axis: a few fit by chance."""
    rng = np.random.default_rng(3)
    first, fitting, stated = photo(CAMERA, gauge), 0, 0.0
    trials = 4000
    for k in range(trials):
        other = photo(moved(CAMERA, rng.normal(0.0, 40.0, 3)), gauge, 10 + k)
        match = match_exposures(first, other)
        assert match is not None
        fitting += match.fits
        stated = match.chance
    assert 1e-6 < stated < 1e-3
    assert fitting <= trials * stated * 3.0 + 3.0


def test_too_few_marks_tell_nothing(gauge: Gauge) -> None:
    whole = photo(CAMERA, gauge)
    four = with_marks({k: whole.marks_px[k] for k in ("100", "101", "104", "107")})
    assert match_exposures(whole, four) is None
    in_a_row = with_marks({k: (x, 2.0 * x) for k, (x, _) in whole.marks_px.items()})
    assert match_exposures(whole, in_a_row) is None
    in_one_place = with_marks(dict.fromkeys(whole.marks_px, (5.0, 5.0)))
    assert match_exposures(whole, in_one_place) is None
