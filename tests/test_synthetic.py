"""The photo maker against truth by construction: arithmetic, mirrors, closed forms, line fits."""

from __future__ import annotations

import io
import json
from dataclasses import replace
from math import asin, degrees, sqrt

import numpy as np
import pytest
from PIL import Image, ImageOps
from scipy.ndimage import map_coordinates

from rigvision.synthetic import (
    Light,
    PhoneCamera,
    Scene,
    Surfaces,
    ideal_scene,
    make_photo,
    random_case,
    write_photo,
)
from rigvision.synthetic.camera import Development
from rigvision.synthetic.hits import first_hits
from rigvision.synthetic.picture import render
from rigvision.synthetic.rig import Rig
from rigvision.synthetic.surface import FINE, Rays, Surface
from rigvision.synthetic.truth import truth_of, turns_to_nominal
from rigvision.world.catalogue import load
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge

GAUGE = load(Gauge, "RG-10")
FRAME = load(Frame, "DF-10")
#: Light and materials without texture, gloss or shadow, and black holes.
EVEN = Light(ambient=1.0, torch=0.0, side=0.0)
PLAIN = Surfaces(texture=0.0, gloss=0.0, pocket=0.0, duct=0.0, sill_slot=0.0, door_slot=0.0)
#: 1000 x 750 px from straight above; 3 px for one mm at the plate.
SMALL = PhoneCamera(width_px=1000, height_px=750, focal_px=750.0, distance_mm=250.0)


def plain_scene(**changes: object) -> Scene:
    scene = replace(ideal_scene(GAUGE, FRAME), surfaces=PLAIN, light=EVEN)
    return replace(scene, **changes)  # type: ignore[arg-type]


def rendered(scene: Scene, camera: PhoneCamera = SMALL, frame: Frame = FRAME) -> np.ndarray:
    return render(scene, camera, GAUGE, frame, np.random.default_rng(0)).astype(float)


# ---------------------------------------------------------------------------- the camera


def test_frontal_projection_is_hand_arithmetic():
    """x mm to the right, y up, seen from 250 mm with f = 750 px: 3 px a mm at the plate."""
    seen = SMALL.project_px(np.array([[10.0, 20.0, 0.0], [10.0, 20.0, -50.0]]))
    expected = [[499.5 + 30.0, 374.5 - 60.0], [499.5 + 25.0, 374.5 - 50.0]]
    np.testing.assert_allclose(seen, expected, rtol=0, atol=1e-9)


def test_positive_roll_turns_the_content_clockwise():
    u, v = replace(SMALL, roll_deg=90.0).project_px(np.array([[10.0, 0.0, 0.0]]))[0]
    assert (u, v) == pytest.approx((499.5, 374.5 + 30.0), abs=1e-9)


def test_camera_to_the_right_stands_to_the_right():
    camera = replace(SMALL, tilt_deg=30.0, azimuth_deg=0.0)
    np.testing.assert_allclose(camera.eye_mm, [125.0, 0.0, 216.506351], rtol=0, atol=1e-6)


@pytest.mark.parametrize("k1", [-0.03, 0.0, 0.04])
def test_rays_come_back_to_their_pixels(k1):
    """Slopes and projection are written independently; 0.001 px is float32's end."""
    camera = PhoneCamera(tilt_deg=35, azimuth_deg=-110, roll_deg=7, aim_mm=(20, -9), k1=k1)
    u, v = (np.array(a, np.float32) for a in ([3.0, 1999.5, 3990.0], [2950.0, 1400.0, 11.0]))
    x, y = Rays(tuple(camera.eye_mm), *camera.slopes(u, v)).at(-6.0)
    seen = camera.project_px(np.column_stack([x, y, np.full(3, -6.0)]).astype(float))
    np.testing.assert_allclose(seen, np.column_stack([u, v]), rtol=0, atol=2e-3)


# ------------------------------------------------------------------------------ the marks


def line_through_side(picture, start, end):
    """Start and end (2, 2) of a straight fit to the half-way crossings of one dark side."""
    length = np.linalg.norm(end - start)
    along = (end - start) / length
    across = np.array([-along[1], along[0]])
    reach = np.arange(-4.0, 4.01, 0.25)
    places = np.linspace(0.12, 0.88, 60) * length
    points = start + places[:, None, None] * along + reach[:, None] * across
    profiles = map_coordinates(picture, [points[..., 1], points[..., 0]], order=3)
    middle = 0.5 * (profiles[:, :4].mean(axis=1) + profiles[:, -4:].mean(axis=1))
    above = profiles > middle[:, None]
    first = np.argmax(above != above[:, :1], axis=1)
    rows = np.arange(len(places))
    low, high = profiles[rows, first - 1], profiles[rows, first]
    offset = reach[first - 1] + 0.25 * (middle - low) / (high - low)
    slope, shift = np.polyfit(places, offset, 1)
    return np.array([start + shift * across, end + (shift + slope * length) * across])


def fitted_corners(picture, corners):
    corner = np.floor(corners.min(axis=0) - 12).astype(int)
    right, bottom = np.ceil(corners.max(axis=0) + 13).astype(int)
    picture, corners = picture[corner[1] : bottom, corner[0] : right], corners - corner
    sides = [
        line_through_side(picture, a, b)
        for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True)
    ]
    found = []
    for (p0, p1), (q0, q1) in zip(np.roll(sides, 1, axis=0), sides, strict=True):
        t, _ = np.linalg.solve(np.column_stack([p1 - p0, q0 - q1]), q0 - p0)
        found.append(p0 + t * (p1 - p0))
    return np.array(found) + corner


@pytest.mark.parametrize(
    "view",
    [
        {"aim_mm": (0.37, 0.71)},
        {"tilt_deg": 24.0, "azimuth_deg": -65.0, "roll_deg": 5.0, "distance_mm": 270.0},
    ],
)
def test_corners_of_the_tags_lie_where_the_truth_says(view):
    """Own line fits on a clean picture: no bias (a half pixel's shift would show), no scatter."""
    camera = PhoneCamera(width_px=2000, height_px=1500, focal_px=2600.0, **view)
    picture = rendered(plain_scene(yoke_tilt_deg=1.0), camera)
    truth = truth_of(plain_scene(yoke_tilt_deg=1.0), camera, GAUGE, FRAME)
    assert len(truth["marks"]) == 9
    errors = []
    for corners in truth["marks"].values():
        corners = np.array(corners)
        if (corners > 12).all() and (corners < [1987, 1487]).all():
            errors.append(fitted_corners(picture, corners) - corners)
    assert len(errors) >= 5
    assert np.abs(np.mean(errors, axis=(0, 1))).max() < 0.005
    assert sqrt(np.mean(np.square(errors))) < 0.015


def test_the_first_corner_is_the_tags_top_left():
    corners = np.array(truth_of(plain_scene(), SMALL, GAUGE, FRAME)["marks"]["100"])
    expected = 3.0 * np.array([[-63, -51], [-49, -51], [-49, -37], [-63, -37]]) + [499.5, 374.5]
    np.testing.assert_allclose(corners, expected, rtol=0, atol=1e-9)


def test_a_covered_mark_is_hidden_and_named():
    scene = plain_scene(covered_marks=(101,))
    u, v = 499, 374 - 3 * 44
    patch = np.s_[v - 18 : v + 18, u - 18 : u + 18]
    assert np.ptp(rendered(plain_scene())[patch]) > 0.8
    assert np.ptp(rendered(scene)[patch]) < 0.8
    assert truth_of(scene, SMALL, GAUGE, FRAME)["covered_marks"] == [101]


# -------------------------------------------------------------------------------- the gap

#: Sharp edges: a slot's outline is then the two planes that a feeler gauge touches.
SHARP = FRAME.model_copy(update={"sill": FRAME.sill.model_copy(update={"edge_radius_mm": 0.0})})


@pytest.mark.parametrize("gap_mm", [0.3, 0.8, 2.5])
def test_gap_by_missing_light_on_a_frontal_picture(gap_mm):
    """The light missing over the slot, over the light beside it, is its width; 1 um."""
    camera = PhoneCamera(width_px=2000, height_px=1500, focal_px=2560.0, distance_mm=250.0)
    scene = plain_scene(gap_mm=gap_mm, taper_mm=0.18)
    picture = rendered(scene, camera, SHARP)
    truth = truth_of(scene, camera, GAUGE, SHARP)
    px_per_mm = 2560.0 / 256.0
    top, bottom = (round(749.5 - px_per_mm * y) for y in (12 + gap_mm + 2, 10))
    for station in truth["gap"]["stations"][1:-1]:
        u = round(999.5 + px_per_mm * station["x_mm"])
        strip = picture[top:bottom, u - 15 : u + 15].mean(axis=1)
        upper, lower = strip[:8].mean(), strip[-8:].mean()
        rows = np.arange(top, bottom)
        edge = rows[np.argmin(strip)] + 0.5
        missing = ((upper - strip)[rows < edge] / upper).sum()
        missing += ((lower - strip)[rows > edge] / lower).sum()
        assert missing / px_per_mm == pytest.approx(station["gap_mm"], abs=0.003)


def test_stations_follow_the_taper_to_the_right():
    truth = truth_of(plain_scene(gap_mm=0.8, taper_mm=0.12), SMALL, GAUGE, FRAME)["gap"]
    assert truth["mean_mm"] == pytest.approx(0.8)
    assert truth["taper_mm"] == pytest.approx(0.12)
    gaps = [s["gap_mm"] for s in truth["stations"]]
    assert gaps == pytest.approx([0.74, 0.76, 0.78, 0.80, 0.82, 0.84, 0.86])


def hits_along(scene, eye, slopes_y, frame=FRAME, x_mm=0.0):
    slopes_y = np.asarray(slopes_y, np.float32)
    slopes_x = np.full_like(slopes_y, (x_mm - eye[0]) / (eye[2] + 6.0))
    found = first_hits(Rig(scene, GAUGE, frame, 0.0), Rays(eye, slopes_x, slopes_y))
    return found.surface & (FINE - 1)


def last_ray_on_round(edge, eye_y):
    """Slope of the last ray that meets an edge's round, before it meets something in the slot."""
    middle = 11.75 if edge == "sill" else 14.25
    slopes = np.linspace(middle - 0.6 - eye_y, middle + 0.6 - eye_y, 20001) / 256.25
    surface = hits_along(plain_scene(gap_mm=2.0), (0.0, eye_y, 250.0), slopes)
    own = Surface.SILL_ROUND if edge == "sill" else Surface.DOOR_ROUND
    on_round = slopes[surface == own]
    assert len(on_round) > 1000
    return on_round[-1] if edge == "sill" else on_round[0]


@pytest.mark.parametrize(
    ("edge", "eye_y"), [("sill", -150.0), ("sill", 0.0), ("door", 30.0), ("door", 170.0)]
)
def test_outline_of_a_broken_edge_is_the_tangent_to_its_round(edge, eye_y):
    """Seen from its own side: the outline's ray passes the round's centre at its radius."""
    slope = last_ray_on_round(edge, eye_y)
    centre = 11.75 if edge == "sill" else 14.25
    distance = abs(eye_y + 256.25 * slope - centre) / sqrt(1 + slope**2)
    assert distance == pytest.approx(0.25, abs=2e-4)


@pytest.mark.parametrize(("edge", "eye_y"), [("sill", 130.0), ("door", -150.0)])
def test_round_seen_from_across_ends_where_the_slot_face_begins(edge, eye_y):
    """Seen from the other side: on the tangent plane, one radius below the face."""
    on_plane = eye_y + 256.25 * last_ray_on_round(edge, eye_y)
    assert on_plane == pytest.approx(12.0 if edge == "sill" else 14.0, abs=3e-4)


def test_outline_of_the_barrel_is_not_its_diameter():
    """From 250 mm above the axis a barrel of radius 7 shows its tangents, 0.04 % wider."""
    scene = plain_scene(clock_deg=45.0)
    slopes = np.linspace(-0.05, 0.05, 40001)
    surface = hits_along(scene, (20.0, -20.0, 240.0), slopes, x_mm=20.0)
    seen = slopes[(surface == Surface.BARREL) | (surface == Surface.BARREL_LINE)]
    tangent = 7.0 / sqrt(250.0**2 - 7.0**2)
    assert (seen[0], seen[-1]) == pytest.approx((-tangent, tangent), abs=5e-6)


def test_window_edge_hides_what_lies_below_at_an_oblique_view():
    """At slope 0.5 the 4 mm thick plate shows 2 mm of one wall and hides as much on the other."""
    eye = (0.0, 4.0 + 0.5 * 100.0, 100.0)
    surface = hits_along(plain_scene(), eye, [-0.501, -0.499, -0.4812, -0.4800])
    assert list(surface) == [Surface.PLATE, Surface.WALL_LOW, Surface.WALL_LOW, Surface.SILL]
    eye = (0.0, 34.0 + 0.5 * 100.0, 100.0)
    surface = hits_along(plain_scene(), eye, [-0.499, -0.501])
    assert list(surface) == [Surface.PLATE, Surface.DOOR]
    eye = (0.0, 34.0 - 0.5 * 100.0, 100.0)
    surface = hits_along(plain_scene(), eye, [0.501, 0.499, 0.4812, 0.4800])
    assert list(surface) == [Surface.PLATE, Surface.WALL_HIGH, Surface.WALL_HIGH, Surface.DOOR]


def test_the_mirrored_scene_gives_the_mirrored_gap():
    """Taper, tilt of the sill and the camera's side flipped: the gap's window is flipped."""
    scene = plain_scene(gap_mm=1.5, taper_mm=0.2, sill_tilt_deg=0.4)
    camera = replace(SMALL, tilt_deg=25.0, azimuth_deg=20.0, k1=0.01)
    mirrored = replace(scene, taper_mm=-0.2, sill_tilt_deg=-0.4)
    one = rendered(scene, camera)
    other = rendered(mirrored, replace(camera, azimuth_deg=160.0))[:, ::-1]
    corners = [[x, y, 0.0] for x in (-40, 40) for y in (6, 32)]
    (u0, v0), (u1, v1) = np.sort(camera.project_px(np.array(corners)), axis=0)[[0, 3]].astype(int)
    window = np.s_[v0:v1, u0:u1]
    assert np.ptp(one[window]) > 0.2
    assert np.abs(one - rendered(mirrored, camera))[window].max() > 0.1
    assert np.abs(one - other)[window].max() < 0.03


# -------------------------------------------------------------------------- yoke and socket


def brightness_centre_v(picture, x_mm, y_mm, half_mm=9.0):
    """Row of the centre of brightness of a column of pixels around (x, y) of the gauge."""
    u = round(499.5 + 750.0 / 260.0 * x_mm)
    v0 = round(374.5 - 750.0 / 260.0 * y_mm)
    rows = np.arange(v0 - round(half_mm * 2.9), v0 + round(half_mm * 2.9))
    weight = picture[rows, u - 2 : u + 3].mean(axis=1)
    return float((rows * weight).sum() / weight.sum())


def test_lateral_offset_is_socket_above_yoke():
    up, down = plain_scene(socket_offset_y_mm=0.5), plain_scene(socket_offset_y_mm=-0.5)
    v_up, v_down = (brightness_centre_v(rendered(s), 30.0, -20.0) for s in (up, down))
    assert v_down - v_up == pytest.approx(1.0 * 750.0 / 257.0, rel=0.15)
    truth = truth_of(up, SMALL, GAUGE, FRAME)["yoke"]
    assert truth["lateral_offset_mm"] == pytest.approx(0.5)
    yoke_up = plain_scene(yoke_shoulder_mm=(4.0, -19.7))
    truth = truth_of(yoke_up, SMALL, GAUGE, FRAME)["yoke"]
    assert truth["lateral_offset_mm"] == pytest.approx(-0.3)


def test_tilt_is_the_sockets_counter_clockwise_turn_from_the_yoke():
    picture = rendered(plain_scene(socket_tilt_deg=2.0))
    rise = brightness_centre_v(picture, 16.0, -20.0) - brightness_centre_v(picture, 34.0, -20.0)
    assert rise == pytest.approx(18.0 * np.tan(np.radians(2.0)) * 750.0 / 257.0, rel=0.2)
    tilts = [
        truth_of(s, SMALL, GAUGE, FRAME)["yoke"]["tilt_deg"]
        for s in (plain_scene(socket_tilt_deg=2.0), plain_scene(yoke_tilt_deg=0.5))
    ]
    assert tilts == pytest.approx([2.0, -0.5])


def test_seat_gap_opens_as_the_yoke_goes_left():
    scene = plain_scene(yoke_shoulder_mm=(3.2, -20.0))
    truth = truth_of(scene, SMALL, GAUGE, FRAME)["yoke"]
    assert truth["seat_gap_mm"] == pytest.approx(0.8)
    assert truth["engaged"]
    eye = (0.0, -20.0, 250.0)
    slopes = np.linspace(-0.01, 0.03, 4001, dtype=np.float32)
    rays = Rays(eye, slopes, np.full_like(slopes, 2.0 / 253.0))
    surface = first_hits(Rig(scene, GAUGE, FRAME, 0.0), rays).surface & (FINE - 1)
    shoulder = slopes[surface == Surface.YOKE].max() * 253.0
    face = slopes[np.isin(surface, (Surface.BARREL, Surface.BARREL_LINE))].min() * 253.3
    assert (shoulder, face) == pytest.approx((3.2, 4.0), abs=0.01)


def test_a_yoke_that_stands_off_by_its_tang_is_not_engaged():
    scene = plain_scene(yoke_shoulder_mm=(-4.5, -20.0), clock_deg=30.0)
    truth = truth_of(scene, SMALL, GAUGE, FRAME)["yoke"]
    assert truth["seat_gap_mm"] == pytest.approx(8.5)
    assert not truth["engaged"]


@pytest.mark.parametrize("clock_deg", [12.0, -7.0])
def test_clock_moves_the_sockets_line_towards_plus_y(clock_deg):
    scene = plain_scene(clock_deg=clock_deg)
    slopes = np.linspace(-0.02, 0.02, 4001)
    surface = hits_along(scene, (8.0, -20.0, 240.0), slopes, x_mm=8.0)
    line = slopes[surface == Surface.BARREL_LINE].mean()
    # By the sine rule in the triangle of eye, axis and line; the axis is 250 mm away.
    seen_rad = np.arctan(line)
    assert degrees(asin(250.0 * np.sin(seen_rad) / 7.0) - seen_rad) == pytest.approx(
        clock_deg, abs=0.2
    )
    truth = truth_of(scene, SMALL, GAUGE, FRAME)["yoke"]
    assert truth["clock_deg"] == pytest.approx(clock_deg)


def test_a_seating_error_carries_the_whole_frame():
    scene = plain_scene(sill_offset_mm=0.3, sill_tilt_deg=0.5)
    truth = truth_of(scene, SMALL, GAUGE, FRAME)
    assert truth["sill"] == {"offset_mm": 0.3, "tilt_deg": 0.5}
    assert truth["yoke"]["tilt_deg"] == pytest.approx(0.5)
    # 0.3 mm up, and 4 mm to the right at half a degree is 0.035 mm more.
    assert truth["yoke"]["lateral_offset_mm"] == pytest.approx(0.335, abs=0.002)
    eye = (0.0, 12.0, 250.0)
    slopes = np.linspace(-0.004, 0.006, 20001)
    for x_mm, edge_mm in ((0.0, 12.3), (36.0, 12.3 + 36.0 * np.tan(np.radians(0.5)))):
        surface = hits_along(scene, eye, slopes, SHARP, x_mm)
        seen = 12.0 + 256.0 * slopes[surface == Surface.SILL].max()
        assert seen == pytest.approx(edge_mm, abs=0.002)


# ------------------------------------------------------------------------------- the turns


@pytest.mark.parametrize(
    ("gap_mm", "clock_deg", "turns"),
    [
        (0.80, 0.0, 0.0),
        (1.55, None, 0.5),  # 0.75 mm too wide, 1.5 mm a turn
        (0.05, None, -0.5),
        (1.60, 12.0, 192.0 / 360.0),  # 0.53 turns wanted; on a flat: 12 deg and two of four
        (1.00, 38.0, 38.0 / 360.0),
        (0.40, -6.0, -6.0 / 360.0 - 0.25),
    ],
)
def test_turns_by_hand(gap_mm, clock_deg, turns):
    assert turns_to_nominal(gap_mm, clock_deg, FRAME) == pytest.approx(turns)


def test_a_conforming_rig_needs_no_turn():
    assert truth_of(plain_scene(gap_mm=0.9), SMALL, GAUGE, FRAME)["turns"]["value"] == 0.0
    wide = truth_of(plain_scene(gap_mm=1.55, clock_deg=0.0), SMALL, GAUGE, FRAME)["turns"]
    assert wide["value"] == pytest.approx(0.5)
    assert not wide["conforming"]


# -------------------------------------------------------------------------------- the files


def small_case(seed, zone="campaign"):
    return random_case(seed, GAUGE, FRAME, zone, size_px=(800, 600))


def test_the_same_seed_gives_the_same_file_and_another_another():
    case = small_case(3)
    one, same = (make_photo(case.scene, case.camera, GAUGE, FRAME, seed=3) for _ in range(2))
    other = make_photo(case.scene, case.camera, GAUGE, FRAME, seed=4)
    assert one.jpeg == same.jpeg
    assert one.truth == same.truth
    assert one.jpeg != other.jpeg
    assert small_case(3) == case
    assert small_case(4) != case


@pytest.mark.parametrize("orientation", range(1, 9))
def test_the_upright_picture_does_not_depend_on_the_orientation(orientation):
    def upright(n):
        camera = replace(SMALL, width_px=400, height_px=304, focal_px=300.0)
        camera = replace(camera, development=Development(orientation=n, jpeg_quality=95))
        photo = make_photo(plain_scene(), camera, GAUGE, FRAME, seed=1)
        with Image.open(io.BytesIO(photo.jpeg)) as image:
            assert image.getexif()[0x0112] == n
            return np.asarray(ImageOps.exif_transpose(image).convert("L"), float)

    difference = np.abs(upright(orientation) - upright(1))
    assert difference.mean() < 1.0


def test_exif_gives_the_focal_length_and_may_be_absent():
    photo = make_photo(plain_scene(), replace(SMALL, focal_px=770.0), GAUGE, FRAME, seed=1)
    with Image.open(io.BytesIO(photo.jpeg)) as image:
        # 770 px on a diagonal of 1250 px is 26.65 mm on one of 43.27 mm.
        assert image.getexif().get_ifd(0x8769)[0xA405] == 27
    bare = replace(SMALL, development=Development(exif=False))
    photo = make_photo(plain_scene(), bare, GAUGE, FRAME, seed=1)
    with Image.open(io.BytesIO(photo.jpeg)) as image:
        assert not dict(image.getexif())


def test_truth_is_written_beside_the_photo(tmp_path):
    photo = make_photo(plain_scene(), SMALL, GAUGE, FRAME, seed=1)
    write_photo(tmp_path / "one.jpg", photo)
    assert (tmp_path / "one.jpg").read_bytes() == photo.jpeg
    assert json.loads((tmp_path / "one.truth.json").read_text()) == photo.truth
    assert sorted(p.name for p in tmp_path.iterdir()) == ["one.jpg", "one.truth.json"]


# --------------------------------------------------------------------------------- the cases


def test_campaign_cases_keep_their_zone_and_show_every_mark():
    for seed in range(60):
        case = random_case(seed, GAUGE, FRAME)
        assert 0.25 <= case.scene.gap_mm <= 4.0
        assert case.camera.distance_mm >= 160.0
        assert case.camera.tilt_deg <= 40.0
        truth = truth_of(case.scene, case.camera, GAUGE, FRAME)
        assert min(s["gap_mm"] for s in truth["gap"]["stations"]) > 0.05
        corners = np.array([truth["marks"][str(m)] for m in GAUGE.marks.centres_mm])
        assert (corners > 0).all()
        assert (corners < [case.camera.width_px - 1, case.camera.height_px - 1]).all()


def test_clock_follows_the_drive_and_a_yoke_off_the_clock_stands_back():
    """A gap 0.75 mm wide of nominal is half a turn, two flats: clock 0 within its spread."""
    for seed in range(60):
        case = small_case(seed)
        yoke = truth_of(case.scene, case.camera, GAUGE, FRAME)["yoke"]
        expected = 360.0 * (case.scene.gap_mm - 0.80) / 1.5
        off = (case.scene.clock_deg - expected + 45.0) % 90.0 - 45.0
        assert abs(off) < 4 * 0.045 * 240.0
        assert yoke["engaged"] == (abs(case.scene.clock_deg) <= 5.0)
        assert -0.1 < yoke["seat_gap_mm"] < 11.5


# -------------------------------------------------------------------------- another gauge


def another_gauge(**changes: object) -> Gauge:
    """Smaller, thicker, other ids and windows; a yoke without tag or line unless given."""
    data = {
        "schema": "rigvision.gauge/1",
        "name": "XG-2",
        "description": "test gauge",
        "plate": {
            "x_mm": [-50.0, 50.0],
            "y_mm": [-30.0, 40.0],
            "z_mm": [-6.0, 0.0],
            "thermal_expansion_per_K": 1e-5,
        },
        "windows": {
            "gap_x_mm": [-25.0, 25.0],
            "gap_y_mm": [10.0, 30.0],
            "yoke_x_mm": [-25.0, 25.0],
            "yoke_y_mm": [-20.0, 2.0],
        },
        "marks": {
            "family": "36h11",
            "size_mm": 10.0,
            "pad_mm": 13.0,
            "position_uncertainty_mm": 0.01,
            "centres_mm": {"7": [-41.0, 31.0], "8": [41.0, 31.0], "9": [-41.0, -21.0],
                           "300": [41.0, -21.0]},
        },
        "yoke": {
            "axis_y_mm": -9.0,
            "face_z_mm": -8.0,
            "body_length_mm": 18.0,
            "body_width_mm": 10.0,
            "tang_length_mm": 5.0,
            "tang_width_mm": 4.0,
        },
    } | changes  # fmt: skip
    return Gauge.model_validate({k: v for k, v in data.items() if v is not None})


def another_frame(**socket: object) -> Frame:
    """Deeper planes, larger rounds, five stations, a six-sided drive that turns the other way."""
    data = FRAME.model_dump(by_alias=True)
    data |= {"name": "XF-2", "gauges": ["XG-2"]}
    data["sill"] |= {"face_z_mm": -11.0, "edge_y_mm": 17.0, "edge_radius_mm": 0.6}
    data["door"]["span_x_mm"] = [-24.0, 24.0]
    data["surroundings"] |= {"pocket_x_mm": [-24.0, 24.0], "pocket_y_mm": [-18.0, 0.0]}
    data["gap"]["stations_x_mm"] = [-18.0, -9.0, 0.0, 9.0, 18.0]
    data["drive"]["opening_moves_socket_front"] = "-y"
    own = {"axis_y_mm": -9.0, "axis_z_mm": -13.0, "radius_mm": 5.0, "face_x_mm": 2.0,
           "barrel_end_x_mm": 22.0, "bore_mm": 5.0, "flats": 6}  # fmt: skip
    data["socket"] = own | socket if socket.get("flats") != 0 else None
    return Frame.model_validate(data)


def test_another_gauge_renders_with_its_own_truth():
    gauge, frame = another_gauge(), another_frame()
    case = random_case(5, gauge, frame, "nominal", size_px=(1000, 750))
    photo = make_photo(case.scene, case.camera, gauge, frame, seed=5)
    assert set(photo.truth["marks"]) == {"7", "8", "9", "300"}
    assert [s["x_mm"] for s in photo.truth["gap"]["stations"]] == [-18, -9, 0, 9, 18]
    assert photo.truth["yoke"]["seat_gap_mm"] is not None
    assert photo.truth["yoke"]["clock_deg"] is None
    assert photo.truth["turns"]["source"] == "gap"


def test_the_six_sided_drive_folds_and_turns_its_own_way():
    frame = another_frame(index_line_width_mm=0.6, index_line_length_mm=6.0)
    # 0.125 mm wide is 30 deg, half a flat of six; this drive's front goes to -y on opening.
    scene = ideal_scene(another_gauge(), frame, 0.80 + 0.1)
    assert scene.clock_deg == pytest.approx(-24.0)
    assert turns_to_nominal(0.9, -24.0, frame) == pytest.approx(24.0 / 360.0)


@pytest.mark.parametrize("missing", ["yoke", "socket", "both"])
def test_without_yoke_or_socket_its_figures_are_null(missing):
    gauge = another_gauge(yoke=None) if missing != "socket" else another_gauge()
    frame = another_frame(flats=0) if missing != "yoke" else another_frame()
    case = random_case(2, gauge, frame, "nominal", size_px=(640, 480))
    photo = make_photo(case.scene, case.camera, gauge, frame, seed=1)
    assert set(photo.truth["yoke"].values()) == {None}
    assert photo.truth["gap"]["mean_mm"] > 0
