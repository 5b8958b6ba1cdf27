"""The slot's edges and the gap on quick photos: right within the project's own goals.

The rounds of these pictures are matt throughout (Lambert), which few that the network was shown
are, and the pictures have three million pixels: they read 0.06 mm too narrow on average
(DEVELOPERS.md, decision 4). The limits are about a fifth wider than what was measured so; that
the truth lies within the stated uncertainty is asked besides.
"""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from PIL import Image

import rigvision
from rigvision.synthetic import Light, Surfaces, ideal_scene
from rigvision.synthetic.disturbance import disturbed_photo
from rigvision.vision import slot as slot_module
from rigvision.vision.edge_course import EdgeCourse
from tests.photos import CLEAN, camera_at, checked

#: Gap and view: near, far, from above, from below, from either side, rolled.
CASES = [
    (0.55, {}),
    (0.80, {"azimuth_deg": -100.0, "roll_deg": -8.0}),
    (1.05, {"azimuth_deg": 170.0, "tilt_deg": 22.0}),
    (1.60, {"azimuth_deg": 95.0, "tilt_deg": 27.0, "distance_mm": 255.0}),
    (2.70, {"azimuth_deg": -80.0, "tilt_deg": 26.0, "roll_deg": 14.0}),
    (4.00, {"azimuth_deg": 20.0, "tilt_deg": 8.0, "distance_mm": 260.0}),
]


def measured(shot):
    result = checked(shot.path)
    assert result.gap is not None
    assert result.gap.mean_mm is not None, [r.text for r in result.reasons]
    return result


def error_mm(shot) -> float:
    return measured(shot).gap.mean_mm - shot.truth["gap"]["mean_mm"]


@pytest.fixture(scope="module")
def shots(shoot, gauge, frame):
    return [
        shoot(ideal_scene(gauge, frame, gap), camera_at(**view), seed=40 + n)
        for n, (gap, view) in enumerate(CASES)
    ]


@pytest.mark.parametrize("number", range(len(CASES)))
def test_the_gap_is_near_its_truth(shots, number):
    assert abs(error_mm(shots[number])) < 0.11


@pytest.mark.parametrize("number", range(len(CASES)))
def test_the_gap_is_right_within_its_own_expanded_uncertainty(shots, number):
    """1.25 U: k = 2 leaves 5 % outside by right; 2.5 standard uncertainties leave 1 %."""
    result = measured(shots[number])
    error = result.gap.mean_mm - shots[number].truth["gap"]["mean_mm"]
    assert abs(error) < 1.25 * result.gap.expanded_uncertainty_mm


def test_gaps_over_the_whole_range_have_no_common_error(shots):
    errors = [error_mm(s) for s in shots]
    assert np.sqrt(np.mean(np.square(errors))) < 0.08
    assert abs(np.mean(errors)) < 0.077


def test_every_station_is_read_and_right(shots):
    """A single station has a seventh of the edge: 0.145 mm."""
    for shot in shots:
        result = measured(shot)
        true = [s["gap_mm"] for s in shot.truth["gap"]["stations"]]
        read = [s.gap_mm for s in result.gap.stations]
        assert None not in read
        assert np.abs(np.array(read) - true).max() < 0.145


@pytest.mark.parametrize("taper_mm", [0.35, -0.35])
def test_a_taper_keeps_its_sign_and_size(shoot, gauge, frame, taper_mm):
    """0.04 mm over 72 mm; a mirrored x would turn the sign."""
    scene = replace(ideal_scene(gauge, frame, 0.9), taper_mm=taper_mm)
    result = measured(shoot(scene, camera_at(azimuth_deg=-70.0), seed=50))
    assert result.gap.taper_mm == pytest.approx(taper_mm, abs=0.04)
    read = [s.gap_mm for s in result.gap.stations]
    assert (read[-1] > read[0]) == (taper_mm > 0)


def test_the_sill_s_offset_is_seen_with_its_sign(shoot, gauge, frame):
    """A seat 0.20 mm higher reads 0.20 mm higher, within 0.02 mm: what shading shifts, it shifts
    in both pictures alike. Each lies within 0.075 mm of its truth.
    """
    found = []
    for offset_mm in (0.10, -0.10):
        scene = replace(ideal_scene(gauge, frame), sill_offset_mm=offset_mm)
        shot = shoot(scene, camera_at(development=CLEAN), seed=51)
        found.append(measured(shot).evidence.gap.sill.offset_mm.value)
        assert found[-1] == pytest.approx(offset_mm, abs=0.075)
    assert found[0] - found[1] == pytest.approx(0.20, abs=0.02)


@pytest.mark.parametrize("tilt_deg", [0.22, -0.22])
def test_the_sill_s_tilt_is_seen_with_its_sign(shoot, gauge, frame, tilt_deg):
    """0.01 deg: 0.013 mm over the stations; the gauge is refused at 0.3 deg."""
    scene = replace(ideal_scene(gauge, frame), sill_tilt_deg=tilt_deg)
    shot = shoot(scene, camera_at(development=CLEAN), seed=52)
    found = measured(shot).evidence.gap.sill
    assert found.tilt_deg.value == pytest.approx(tilt_deg, abs=0.01)


def test_a_gauge_off_its_seat_is_refused(shoot, gauge, frame):
    scene = replace(ideal_scene(gauge, frame), sill_offset_mm=-0.5)
    result = rigvision.check(shoot(scene, camera_at(), seed=53).path)
    assert result.verdict == "retake"
    assert "gauge-not-seated" in [r.code for r in result.reasons]
    assert result.gap.mean_mm is not None


def test_the_gap_does_not_hang_on_the_picture_s_rotation(tmp_path, shots):
    """The same pixels turned by 90 and 180 deg: 0.02 mm, rows and columns being sampled anew."""
    with Image.open(shots[1].path) as original:
        exif, grey = original.getexif(), original.convert("L")
    upright = measured(shots[1]).gap.mean_mm
    for turn in (Image.Transpose.ROTATE_90, Image.Transpose.ROTATE_180):
        path = tmp_path / f"{turn.name}.png"
        grey.transpose(turn).save(path, exif=exif)
        assert rigvision.check(path).gap.mean_mm == pytest.approx(upright, abs=0.02)


@pytest.mark.parametrize(
    "faces",
    [
        pytest.param({"sill_slot": 0.04, "door_slot": 0.04}, id="sooted"),
        pytest.param({"sill_slot": 0.30, "door_slot": 0.28}, id="bare"),
        pytest.param({"door": 0.14, "sill": 0.45}, id="dark door"),
        pytest.param({"door": 0.72, "sill": 0.22}, id="bright door"),
    ],
)
def test_metal_and_soot_move_the_gap_no_further_than_is_said(shoot, gauge, frame, faces):
    """0.17 mm: a sooted slot reads worst, 0.14 mm too narrow (aim: 0.12 mm)."""
    scene = replace(ideal_scene(gauge, frame, 1.2), surfaces=Surfaces(**faces))
    shot = shoot(scene, camera_at(tilt_deg=20.0, azimuth_deg=80.0), seed=54)
    assert abs(error_mm(shot)) < min(0.17, 1.25 * measured(shot).gap.expanded_uncertainty_mm)


@pytest.mark.parametrize("side", [(-1.0, 0.8), (0.9, -0.9)])
def test_light_from_either_side_does_not_move_the_gap(shoot, gauge, frame, side):
    scene = replace(
        ideal_scene(gauge, frame, 1.0), light=Light(ambient=0.3, side=0.6, side_slope=side)
    )
    assert abs(error_mm(shoot(scene, camera_at(), seed=55))) < 0.137


def test_a_shadow_along_the_gap_is_not_its_edge(shoot, gauge, frame):
    scene = replace(
        ideal_scene(gauge, frame, 1.4), light=Light(shadow_above_sill_mm=4.0, shadow_depth=0.6)
    )
    # 0.090 mm at 3 megapixels; the shadow stands 2.6 mm from the door's edge.
    assert abs(error_mm(shoot(scene, camera_at(azimuth_deg=-120.0), seed=56))) < 0.11


def test_a_plate_without_a_slot_gives_no_gap(tmp_path, shots):
    """The window painted over with its own metal: nothing may be made up."""
    with Image.open(shots[0].path) as original:
        exif, picture = original.getexif(), np.array(original.convert("L"))
    evidence = checked(shots[0].path).evidence
    corners = np.array([[-47.0, 4.5, -6], [47.0, 4.5, -6], [47.0, 33.0, -6], [-47.0, 33.0, -6]])
    outline = np.round(evidence.pose.view.project(corners)).astype(np.int32)
    mask = cv2.fillConvexPoly(np.zeros_like(picture), outline, 255) > 0
    rng = np.random.default_rng(6)
    picture[mask] = rng.normal(110, 3, int(mask.sum())).clip(0, 255).astype(np.uint8)
    path = tmp_path / "plain.jpg"
    Image.fromarray(picture).save(path, quality=95, exif=exif)
    result = rigvision.check(path)
    assert result.verdict == "retake"
    assert "edge-hidden" in [r.code for r in result.reasons]
    assert result.gap.mean_mm is None or all(
        s.gap_mm is None or s.expanded_uncertainty_mm > 0.2 for s in result.gap.stations
    )


def course_with_waves(sill_mm, door_mm):
    waves = np.column_stack([sill_mm, door_mm])
    return EdgeCourse(waves, waves, np.zeros_like(waves))


def test_an_edge_that_waves_all_along_beside_a_straight_one_is_covered():
    """Also where one station shows the metal's own edge."""
    straight = np.full(7, 0.002)
    film = np.array([0.001, 0.025, 0.031, 0.028, 0.022, 0.035, 0.027])
    covered = slot_module._covered(course_with_waves(straight, film), slot_module.BeliefTuning())
    assert covered.tolist() == [False, True]
    covered = slot_module._covered(course_with_waves(film, straight), slot_module.BeliefTuning())
    assert covered.tolist() == [True, False]


def test_waves_that_the_picture_makes_or_that_few_stations_have_cover_nothing():
    """A coarse picture's edges wave alike; grains lie over some stations only."""
    coarse = np.full(7, 0.022)
    grains = np.array([0.0, 0.045, 0.004, 0.06, 0.005, 0.001, 0.03])
    tuning = slot_module.BeliefTuning()
    assert not slot_module._covered(course_with_waves(coarse, 0.9 * coarse), tuning).any()
    assert not slot_module._covered(course_with_waves(np.full(7, 0.001), grains), tuning).any()


def test_a_film_of_grease_all_along_an_edge_is_not_taken_for_it(tmp_path, gauge, frame):
    """It reaches 0.7 mm into a gap of 1.10 mm and is as bright as the door."""
    made = disturbed_photo("grease-on-edge", 3, 120284, gauge, frame, size_px=(4000, 3000))
    photo = tmp_path / "film.jpg"
    photo.write_bytes(made.jpeg)
    result = rigvision.check(photo)
    assert result.verdict == "retake"
    assert "edge-hidden" in [reason.code for reason in result.reasons]
    assert result.gap.mean_mm is None
