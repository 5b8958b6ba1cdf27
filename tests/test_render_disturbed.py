"""Path-traced shots with one disturbance each: table, strengths, truth. Nothing is rendered."""

from __future__ import annotations

import numpy as np
import pytest
from render.disturbances import DISTURBANCES, disturbed_shot, disturbed_shots
from render.disturbed import STRENGTHS, disturbance_of, marks_outside, toward_eye
from render.rig import load_rig
from render.shots import random_shot

from rigvision.decision.reasons import REASONS

SIZE_PX = (4000, 3000)
TABLE = {d.name: d for d in DISTURBANCES}
#: Codes that the campaign may meet before the tool knows them.
PLANNED = {"too-bright", "gauge-cut-off", "recompressed", "screen-photo"}
each = pytest.mark.parametrize("disturbance", DISTURBANCES, ids=lambda d: d.name)
strong = pytest.mark.parametrize("strength", STRENGTHS)


@pytest.fixture(scope="module")
def rig():
    return load_rig()


def three(name, rig, number=4):
    return [disturbed_shot(TABLE[name], s, number, 2, rig, SIZE_PX) for s in STRENGTHS]


def rising(values):
    return all(np.diff(values) > 0)


@each
def test_its_truth_names_it_and_only_reasons_to_refuse_a_photo(disturbance, rig):
    told = disturbance_of(disturbed_shot(disturbance, 2, 0, 1, rig, SIZE_PX))["disturbance"]
    assert (told["name"], told["strength"]) == (disturbance.name, 2)
    assert told["accepted_codes"]
    for code in told["accepted_codes"]:
        assert code in PLANNED or REASONS[code].outcome == "retake"
        assert code != "gauge-not-seated"


@each
def test_rig_and_truth_of_the_scene_stay_those_of_the_undisturbed_shot(disturbance, rig):
    shot = disturbed_shot(disturbance, 3, 5, 1, rig, SIZE_PX)
    plain = random_shot(5, 1, rig, SIZE_PX, "nominal")
    assert shot.state == plain.state
    assert not shot.retake
    assert (shot.look, shot.view, shot.phone) != (plain.look, plain.view, plain.phone)


def test_an_undisturbed_shot_says_nothing_of_disturbances(rig):
    assert disturbance_of(random_shot(0, 1, rig, SIZE_PX)) == {}


def test_three_rounds_bring_every_disturbance_at_every_strength(rig):
    shots = disturbed_shots(range(3 * len(DISTURBANCES)), 1, rig, SIZE_PX)
    met = {(s.disturbed.name, s.disturbed.strength) for s in shots}
    assert met == {(d.name, s) for d in DISTURBANCES for s in STRENGTHS}
    assert len({s.name for s in shots}) == len(shots)
    first = [s.disturbed.strength for s in shots[: len(DISTURBANCES)]]
    assert max(first.count(s) for s in STRENGTHS) - min(first.count(s) for s in STRENGTHS) <= 1


def test_parts_of_a_series_are_the_series(rig):
    whole = disturbed_shots(range(8), 3, rig, SIZE_PX)
    parts = disturbed_shots(range(5), 3, rig, SIZE_PX)
    assert whole == parts + disturbed_shots(range(5, 8), 3, rig, SIZE_PX)


def test_one_kind_alone_and_an_unknown_one(rig):
    shots = disturbed_shots(range(3), 1, rig, SIZE_PX, ["far"])
    assert [s.disturbed.strength for s in shots] == [1, 2, 3]
    with pytest.raises(SystemExit, match="no disturbance named fog"):
        disturbed_shots(range(1), 1, rig, SIZE_PX, ["fog"])


def test_what_lies_on_the_rig_grows_with_strength(rig):
    stages = {n: [s.look.staged for s in three(n, rig)] for n in TABLE}
    assert rising([s.sheets[0].size_mm[0] for s in stages["rag-over-gap"]])
    for size in ("length_mm", "into_gap_mm", "on_face_mm", "height_mm"):
        assert rising([getattr(s.beads[0], size) for s in stages["grease-on-edge"]])
    assert rising([len(s.gouges) for s in stages["scratches"]])
    assert rising([s.gouges[0].width_mm for s in stages["scratches"]])
    assert rising([s.polish_mm for s in stages["bright-edges"]])
    assert rising([s.grains.number for s in stages["dust-on-edges"]])
    assert [s.duct_over_door for s in stages["light-duct"]] == [0.5, 0.9, 1.6]
    assert rising([-s.door_albedo for s in stages["dark-door"]])
    assert rising([len(s.patches) for s in stages["marks-dirty"]])
    assert rising([len(s.patches) for s in stages["false-border"]])
    assert rising([s.coat_ior for s in stages["reflection"]])
    assert rising([len(s.look.cover) for s in three("marks-covered", rig)])


def test_light_grows_harder_with_strength(rig):
    lights = {n: [s.look.staged.lighting for s in three(n, rig)] for n in TABLE}
    for name in ("shadow-along-edge", "shadow-across", "torch-spot"):
        assert rising([-light.surroundings for light in lights[name]])
    assert rising([-light.away_mm for light in lights["shadow-along-edge"]])
    assert rising([light.irradiance for light in lights["glare-on-edges"]])
    assert rising([-light.radius_mm for light in lights["torch-spot"]])


def test_view_phone_and_file_grow_worse_with_strength(rig):
    assert rising([s.view.distance_mm for s in three("far", rig)])
    assert rising([s.view.tilt_deg for s in three("oblique", rig)])
    assert rising([-s.view.focal_35mm for s in three("wide-lens", rig)])
    assert rising([s.view.defocus_mm for s in three("defocus", rig)])
    assert rising([s.phone.motion_px for s in three("motion-blur", rig)])
    assert rising([s.phone.exposure_ev for s in three("over-exposed", rig)])
    assert rising([-s.phone.exposure_ev for s in three("dark", rig)])
    assert rising([-s.phone.earlier_quality for s in three("recompressed", rig)])
    assert [max(s.view.size_px) for s in three("messenger", rig)] == [1600, 1280, 960]
    outside = [len(marks_outside(s.view, rig)) for s in three("cut-off", rig)]
    assert all(n in wanted for n, wanted in zip(outside, ((1,), (2, 3), (4, 5)), strict=True))


@pytest.mark.parametrize("name", sorted(set(TABLE) - {"cut-off"}))
@strong
def test_all_marks_are_in_the_picture_but_where_it_is_cut_off(name, strength, rig):
    shots = [disturbed_shot(TABLE[name], strength, n, 6, rig, SIZE_PX) for n in range(12)]
    assert not any(marks_outside(s.view, rig) for s in shots)


def test_lengths_in_pixels_grow_with_the_picture(rig):
    large, small = (
        disturbed_shot(TABLE["motion-blur"], 2, 0, 1, rig, size) for size in (SIZE_PX, (1000, 750))
    )
    assert (large.phone.motion_px, small.phone.motion_px) == (5.0, 1.25)


def test_the_blur_spot_is_that_of_a_thin_lens(rig):
    # A lens of aperture a focused at u' blurs a point at u by a f/u |u' - u|/u' on the sensor's
    # side; f in pixels gives pixels.
    view = disturbed_shot(TABLE["defocus"], 2, 0, 1, rig, SIZE_PX).view
    near = view.depth_mm(np.array([0.0, 12.4, -6.0]))
    aperture_mm = 11.2 / 5000 * view.focal_px / 1.8
    focused = near + view.defocus_mm
    spot_px = aperture_mm * view.focal_px / near * (focused - near) / focused
    assert spot_px == pytest.approx(10.0, abs=1e-9)


def test_dirt_on_marks_ends_where_the_plate_does(rig):
    centres = {(x, y) for _, x, y in rig.mark_centres}
    for patch in three("marks-dirty", rig)[2].look.staged.patches:
        (x0, x1), (y0, y1) = patch.within_mm
        half = rig.mark_pad / 2
        whole = [
            x0 <= x - half < x + half <= x1 and y0 <= y - half < y + half <= y1 for x, y in centres
        ]
        assert any(whole)
        for windows in (
            (rig.window_gap_x, rig.window_gap_y),
            (rig.window_yoke_x, rig.window_yoke_y),
        ):
            (wx0, wx1), (wy0, wy1) = windows
            assert x1 <= wx0 or x0 >= wx1 or y1 <= wy0 or y0 >= wy1


def test_what_hides_a_place_is_on_the_way_to_the_eye(rig):
    view = random_shot(1, 1, rig, SIZE_PX).view
    place = toward_eye(view, (10.0, 12.0), 0.6, -6.0)
    seen = view.project(np.array([[10.0, 12.0, -6.0], [*place, 0.6]]))
    assert seen[0] == pytest.approx(seen[1], abs=1e-6)
