"""Disturbed photos: each changes what it says and nothing else, and the truth follows."""

from __future__ import annotations

import io
from dataclasses import replace
from itertools import pairwise
from math import pi

import numpy as np
import pytest
from PIL import Image, ImageOps

from rigvision.synthetic import PhoneCamera
from rigvision.synthetic.bloom import bloomed
from rigvision.synthetic.camera import Development
from rigvision.synthetic.disturbance import (
    DISTURBANCES,
    UNDISTURBED,
    base_case,
    circumstances,
    disturbed_photo,
)
from rigvision.synthetic.disturbed_edges import stations_covered
from rigvision.synthetic.disturbed_phone import disc, streak
from rigvision.synthetic.disturbed_view import marks_outside
from rigvision.synthetic.finished import UNMOVED, Finished
from rigvision.synthetic.hits import first_hits
from rigvision.synthetic.picture import render
from rigvision.synthetic.rig import Rig
from rigvision.synthetic.surface import FINE, Rays, Surface
from rigvision.synthetic.truth import truth_of
from tests.test_synthetic import SMALL, fitted_corners, plain_scene, rendered

SIZE_PX = (800, 600)
#: Enough where only a file's bytes or a scene's change matter.
TINY_PX = (320, 240)
STRENGTHS = (1, 2, 3)


def photo(name, strength, seed, gauge, frame, size_px=SIZE_PX):
    return disturbed_photo(name, strength, seed, gauge, frame, size_px=size_px, samples=2)


def staged(name, strength, seed, gauge, frame, size_px=SIZE_PX):
    """The scene and the camera that a disturbance leaves, and what it began with."""
    before = base_case(seed, gauge, frame, size_px=size_px)
    c = circumstances(name, strength, seed, gauge, frame, size_px)
    return before, DISTURBANCES[name].scene(before, c)


def light_of(case, gauge, frame):
    return render(case.scene, case.camera, gauge, frame, np.random.default_rng(0), 2)


def luma(photograph):
    with Image.open(io.BytesIO(photograph.jpeg)) as image:
        return np.asarray(ImageOps.exif_transpose(image).convert("L"), float)


# ------------------------------------------------------------------------------ all of them


@pytest.mark.parametrize("name", DISTURBANCES)
def test_the_same_arguments_give_the_same_bytes_and_the_truth_of_the_rig_stays(name, gauge, frame):
    """Gap, yoke, turns and sill are those of the undisturbed photo of the same seed."""
    first, again = (photo(name, 3, 3, gauge, frame, TINY_PX) for _ in range(2))
    assert first.jpeg == again.jpeg
    assert first.truth == again.truth
    plain = photo(UNDISTURBED, 0, 3, gauge, frame, TINY_PX)
    assert first.jpeg != plain.jpeg
    for figures in ("gap", "yoke", "turns", "sill", "door"):
        assert first.truth[figures] == plain.truth[figures]
    found = first.truth["disturbance"]
    assert (found["name"], found["strength"]) == (name, 3)
    assert found["accepted_codes"] == list(DISTURBANCES[name].accepted_codes) != []


#: Those that neither move nor cut the picture, and only grow with their strength: they can be
#: compared pixel by pixel.
IN_PLACE = sorted(
    set(DISTURBANCES)
    - {"far", "oblique", "wide-lens", "cut-off", "screen", "recompressed", "messenger"}
    - {"cropped", "turned", "exif-missing", "exif-lying", "marks-covered", "false-border"}
)


@pytest.mark.parametrize("name", IN_PLACE)
def test_the_stronger_it_is_the_more_it_changes(name, gauge, frame):
    plain = luma(photo(UNDISTURBED, 0, 11, gauge, frame, (480, 360)))
    changes = [
        np.mean((luma(photo(name, s, 11, gauge, frame, (480, 360))) - plain) ** 2)
        for s in STRENGTHS
    ]
    assert changes[0] < changes[1] < changes[2]


def test_a_name_or_strength_that_there_is_not_is_refused(gauge, frame):
    with pytest.raises(KeyError):
        photo("rain", 1, 1, gauge, frame)
    with pytest.raises(ValueError, match="strength 4"):
        photo("dark", 4, 1, gauge, frame)


def test_half_the_scenes_hang_on_one_figure(gauge, frame):
    """Near a limit the yoke is home: its seat gap stays under 0.45 mm, else it goes to 8 mm."""
    cases = [base_case(seed, gauge, frame, size_px=TINY_PX) for seed in range(60)]
    truths = [truth_of(case.scene, case.camera, gauge, frame) for case in cases]
    home = sum(t["yoke"]["seat_gap_mm"] < 0.46 for t in truths)
    assert 15 < home < 60
    conforming = sum(t["turns"]["conforming"] for t in truths)
    assert 6 < conforming < 30


# ------------------------------------------------------------- the truth follows the picture


def clean_picture(camera):
    scene = plain_scene()
    levels = np.clip(rendered(scene, camera) * 200.0, 0, 255).astype(np.uint8)
    ycc = np.dstack([levels, np.full_like(levels, 128), np.full_like(levels, 128)])
    return Finished(ycc, camera, UNMOVED)


@pytest.mark.parametrize(
    "moved",
    [
        lambda p: p.resized(1000),
        lambda p: p.resized(2600),
        lambda p: p.cropped(301, 203, 1400, 1100),
        lambda p: p.turned(1),
        lambda p: p.turned(2),
        lambda p: p.turned(3),
        lambda p: p.mirrored(),
        lambda p: p.cropped(100, 31, 1800, 1400).turned(1).resized(1200),
    ],
    ids=["smaller", "larger", "cut", "left", "upside-down", "right", "mirrored", "all"],
)
def test_corners_focal_length_and_principal_point_follow_what_is_done(moved, gauge, frame):
    """Lines fitted to the marks' sides meet where the truth says, to 0.03 px."""
    camera = PhoneCamera(
        width_px=2000,
        height_px=1500,
        focal_px=2300.0,
        distance_mm=270.0,
        tilt_deg=17.0,
        azimuth_deg=-50.0,
        principal_offset_px=(13.0, -8.0),
    )
    picture = moved(clean_picture(camera))
    truth = picture.truth_moved(truth_of(plain_scene(), camera, gauge, frame))
    size = np.array(picture.size_px)
    errors = []
    for corners in map(np.array, truth["marks"].values()):
        if (corners > 14).all() and (corners < size - 15).all():
            errors.append(fitted_corners(picture.ycc[..., 0].astype(float), corners) - corners)
    assert len(errors) >= 7
    assert np.abs(np.mean(errors, axis=(0, 1))).max() < 0.03
    assert np.sqrt(np.mean(np.square(errors))) < 0.06
    grown = np.linalg.norm(picture.px_from_developed[0, :2])
    # Sizes are whole pixels, so a picture may grow a little more one way than the other.
    assert truth["view"]["focal_px"] == pytest.approx(2300.0 * grown, rel=1e-3)
    lens = picture.px_from_developed @ [*camera.principal_point_px, 1.0]
    np.testing.assert_allclose(truth["view"]["principal_point_px"], lens, rtol=0, atol=1e-9)


@pytest.mark.parametrize(("name", "strength"), [("screen", 1), ("cropped", 3), ("messenger", 1)])
def test_marks_of_a_disturbed_file_lie_where_its_truth_says(name, strength, gauge, frame):
    """Middles of marks: half-way crossings of encoded levels pull all four corners alike."""
    found = disturbed_photo(name, strength, 5, gauge, frame, size_px=(2000, 1500))
    picture = luma(found)
    errors = [
        (fitted_corners(picture, np.array(corners)) - corners).mean(axis=0)
        for mark, corners in found.truth["marks"].items()
        if int(mark) in gauge.marks.centres_mm
    ]
    assert len(errors) == 8
    assert np.abs(np.mean(errors, axis=0)).max() < 0.05
    assert np.sqrt(np.mean(np.square(errors))) < 0.15


def test_a_crop_moves_the_principal_point_away_from_the_middle(gauge, frame):
    found = photo("cropped", 3, 4, gauge, frame)
    with Image.open(io.BytesIO(found.jpeg)) as image:
        size = ImageOps.exif_transpose(image).size
    off = np.array(found.truth["view"]["principal_point_px"]) - np.array(size) / 2
    assert np.abs(off / size).max() > 0.1


# --------------------------------------------------------------------- what covers, and where


def surfaces_at(case, gauge, frame, points_mm):
    """Surface that the camera sees where points (n, 3) of the gauge's space appear."""
    rig = Rig(case.scene, gauge, frame, guard_mm=0.1)
    seen = case.camera.project_px(np.asarray(points_mm, float)).astype(np.float32)
    rays = Rays(tuple(case.camera.eye_mm), *case.camera.slopes(seen[:, 0], seen[:, 1]))
    return first_hits(rig, rays).surface & np.uint8(FINE - 1)


@pytest.mark.parametrize("strength", STRENGTHS)
@pytest.mark.parametrize("seed", [1, 2, 7])
def test_a_rag_hides_whole_stations_and_leaves_the_others_whole(strength, seed, gauge, frame):
    _, case = staged("rag-over-gap", strength, seed, gauge, frame)
    hidden = []
    for x in frame.gap.stations_x_mm:
        along = np.linspace(-2.5, 2.5, 11)
        y = frame.sill.edge_y_mm + np.array([-0.5, case.scene.gap_mm + 0.5])
        points = [(x + a, b, frame.sill.face_z_mm) for a in along for b in y]
        covered = surfaces_at(case, gauge, frame, points) == Surface.COVER
        assert covered.all() or not covered.any()
        hidden.append(covered.all())
    assert sum(hidden) == stations_covered(strength)


@pytest.mark.parametrize(("strength", "sees"), [(1, True), (2, True), (3, False)])
def test_a_rag_on_the_yoke_reaches_its_tag_at_strength_3_alone(strength, sees, gauge, frame):
    _, case = staged("yoke-covered", strength, 6, gauge, frame)
    yoke, (x, y) = gauge.yoke, case.scene.yoke_shoulder_mm
    half = yoke.tag_size_mm / 2 - 0.2
    tag = [(x + yoke.tag_centre_mm[0] + a, y + b, yoke.face_z_mm) for a in (-half, half)
           for b in (-half, half)]  # fmt: skip
    seen = surfaces_at(case, gauge, frame, tag) != Surface.COVER
    assert seen.all() if sees else not seen.any()
    end = [(x - yoke.body_length_mm + 1.0, y, yoke.face_z_mm)]
    assert surfaces_at(case, gauge, frame, end)[0] == Surface.COVER


@pytest.mark.parametrize(("strength", "outside"), [(1, {1}), (2, {2, 3}), (3, {4, 5})])
def test_so_many_marks_are_cut_off(strength, outside, gauge, frame):
    for seed in range(4):
        _, case = staged("cut-off", strength, seed, gauge, frame)
        assert len(marks_outside(case.camera, gauge)) in outside


def changed_marks(before, after, gauge, frame):
    """Marks whose pads look different, the rest alike to float's end."""
    plain, there = (light_of(case, gauge, frame) for case in (before, after))
    changed = set()
    for mark, centre in gauge.marks.centres_mm.items():
        around = np.array([(a, b, 0.0) for a in (-7, 7) for b in (-7, 7)]) + np.array(
            [*centre, 0.0]
        )
        seen = before.camera.project_px(around)
        (u0, v0), (u1, v1) = seen.min(axis=0).astype(int), seen.max(axis=0).astype(int) + 1
        part = np.abs(there - plain)[v0:v1, u0:u1]
        if part.max() > 0.02:
            changed.add(mark)
    return changed


@pytest.mark.parametrize(
    ("name", "counts"),
    [("marks-dirty", (2, 4, 6)), ("false-border", (1, 2, 3)), ("glare-on-marks", (1, 2, None))],
)
def test_so_many_marks_are_touched_and_the_gap_is_not(name, counts, gauge, frame):
    for strength, count in zip(STRENGTHS, counts, strict=True):
        if count is None:
            continue
        before, after = staged(name, strength, 9, gauge, frame)
        assert len(changed_marks(before, after, gauge, frame)) == count
        np.testing.assert_array_equal(*(gap_part(c, gauge, frame) for c in (before, after)))


def gap_part(case, gauge, frame):
    """Light from the gap's window, well inside of it."""
    x, y = gauge.windows.gap_x_mm, gauge.windows.gap_y_mm
    corners = np.array([(a, b, 0.0) for a in (x[0] + 6, x[1] - 6) for b in (y[0] + 4, y[1] - 4)])
    seen = case.camera.project_px(corners)
    (u0, v0), (u1, v1) = seen.min(axis=0).astype(int), seen.max(axis=0).astype(int)
    return light_of(case, gauge, frame)[v0:v1, u0:u1]


@pytest.mark.parametrize(
    "name",
    [
        "glare-on-edges",
        "shadow-along-edge",
        "reflection",
        "grease-on-edge",
        "scratches",
        "bright-edges",
        "dust-on-edges",
        "light-duct",
    ],
)
def test_what_lies_on_the_edges_leaves_the_marks_alone(name, gauge, frame):
    before, after = staged(name, 3, 12, gauge, frame)
    assert changed_marks(before, after, gauge, frame) == set()
    assert np.abs(gap_part(after, gauge, frame) - gap_part(before, gauge, frame)).max() > 0.02


@pytest.mark.parametrize(("strength", "times"), [(1, 0.5), (2, 0.9), (3, 1.6)])
def test_a_light_duct_is_so_many_times_as_bright_as_the_door(strength, times, gauge, frame):
    """A wide gap, so that the blur leaves its middle alone; texture and shadows leave a fifth."""
    before = base_case(3, gauge, frame, size_px=(2000, 1500))
    before = replace(before, scene=replace(before.scene, gap_mm=1.6, taper_mm=0.0))
    c = circumstances("light-duct", strength, 3, gauge, frame, (2000, 1500))
    case = DISTURBANCES["light-duct"].scene(before, c)
    light = light_of(case, gauge, frame)
    x = np.linspace(-25, 25, 101)
    levels = []
    for y in (0.8, 1.6 + 2.0):
        line = np.column_stack([x, frame.sill.edge_y_mm + y + 0 * x, frame.sill.face_z_mm + 0 * x])
        u, v = np.rint(case.camera.project_px(line)).astype(int).T
        levels.append(np.median(light[v, u]))
    assert levels[0] / levels[1] == pytest.approx(times, rel=0.2)


# -------------------------------------------------------------------------- the lens's part


def test_a_spot_out_of_focus_has_a_quarter_of_its_radius_squared_as_variance():
    """And a twelfth more, as its rim is shared among square pixels."""
    for radius in (2.5, 7.3):
        kernel = disc(radius)
        reach = np.arange(len(kernel)) - len(kernel) // 2
        assert kernel.sum() == pytest.approx(1.0, abs=1e-5)
        assert (kernel.sum(axis=0) * reach**2).sum() == pytest.approx(
            radius**2 / 4 + 1 / 12, rel=0.03
        )


def test_a_streak_has_a_twelfth_of_its_length_squared_as_variance_along_it():
    """And across it hardly any: what bilinear shares between pixels."""
    kernel = streak(9.0, pi / 2)
    reach = np.arange(len(kernel)) - len(kernel) // 2
    assert kernel.sum() == pytest.approx(1.0, abs=1e-6)
    assert (kernel.sum(axis=1) * reach**2).sum() == pytest.approx(81 / 12, abs=0.3)
    assert (kernel.sum(axis=0) * reach**2).sum() < 0.01
    assert streak(9.0, 0.3).sum(axis=0) @ reach == pytest.approx(0.0, abs=1e-6)


def test_bloom_moves_light_and_makes_none():
    light = np.zeros((300, 400), np.float32)
    light[140:160, 190:210] = 8.0
    soft = bloomed(light, 0.2, 0.1)
    assert soft.sum() == pytest.approx(light.sum(), rel=0.01)
    assert 8.0 * 0.8 < soft[150, 200] < 8.0
    assert soft[150, 240] > 0.001
    np.testing.assert_array_equal(bloomed(light, 0.0, 0.1), light)


@pytest.mark.parametrize(("k1", "k2"), [(-0.05, 0.005), (-0.12, 0.012), (0.02, -0.004)])
def test_rays_of_a_wide_lens_come_back_to_their_pixels(k1, k2):
    """13 mm equivalent: the corners are 59 deg off the axis. 0.005 px is float32's end."""
    camera = replace(SMALL, focal_px=375.0, k1=k1, k2=k2, tilt_deg=5.0, distance_mm=80.0)
    u, v = (np.array(a, np.float32) for a in ([3.0, 499.5, 990.0], [740.0, 300.0, 9.0]))
    x, y = Rays(tuple(camera.eye_mm), *camera.slopes(u, v)).at(-6.0)
    seen = camera.project_px(np.column_stack([x, y, np.full(3, -6.0)]).astype(float))
    np.testing.assert_allclose(seen, np.column_stack([u, v]), rtol=0, atol=5e-3)


# --------------------------------------------------------------------------------- the file


def stated(photograph):
    """What EXIF says of focal length and zoom; empty without EXIF."""
    with Image.open(io.BytesIO(photograph.jpeg)) as image:
        detail = image.getexif().get_ifd(0x8769)
        return {tag: detail[tag] for tag in (0xA405, 0xA404) if tag in detail}


def test_exif_lies_by_what_its_strength_says(gauge, frame):
    for seed in range(5):
        true = stated(photo(UNDISTURBED, 0, seed, gauge, frame, (160, 120)))[0xA405]
        for strength, times in zip(STRENGTHS, (1.15, 1.6, 2.3), strict=True):
            found = stated(photo("exif-lying", strength, seed, gauge, frame, (160, 120)))
            off = max(found[0xA405] / true, true / found[0xA405])
            assert off == pytest.approx(times, rel=0.06)  # rounded to whole millimetres
            assert found.get(0xA404, times) == pytest.approx(times)


def test_exif_goes_missing_by_and_by(gauge, frame):
    one, two = (photo("exif-missing", s, 2, gauge, frame, (160, 120)) for s in (1, 2))
    assert stated(one) == stated(two) == {}
    with Image.open(io.BytesIO(one.jpeg)) as a, Image.open(io.BytesIO(two.jpeg)) as b:
        assert a.getexif().get(0x010F) == "Lumora"
        assert not b.getexif()


def test_copies_shrink(gauge, frame):
    sizes = [len(photo("recompressed", s, 2, gauge, frame).jpeg) for s in STRENGTHS]
    assert all(a > 1.1 * b for a, b in pairwise(sizes))
    for strength, side_px in zip(STRENGTHS, (1600, 1280, 960), strict=True):
        found = photo("messenger", strength, 2, gauge, frame, (2000, 1500))
        with Image.open(io.BytesIO(found.jpeg)) as image:
            assert max(image.size) == side_px
            assert not image.getexif()


def test_the_exposure_is_what_it_says(gauge, frame):
    for name, levels in (("dark", (0.20, 0.07, 0.02)), ("over-exposed", (1.15, 2.0, 5.0))):
        for strength, level in zip(STRENGTHS, levels, strict=True):
            _, case = staged(name, strength, 3, gauge, frame)
            development = case.camera.development
            assert isinstance(development, Development)
            assert development.exposure == pytest.approx(level, rel=0.11)
