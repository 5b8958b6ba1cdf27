"""Which stated focal lengths are believed, for which pictures, and why the others are not."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigvision.photo.lens_hint import LensTags, lens_hint

#: A phone's main camera, 4:3, as it leaves the camera.
MAIN = LensTags(focal_35mm=26.0, focal_mm=5.4, zoom_ratio=1.0, recorded_px=(4000, 3000))


def test_the_equivalent_refers_to_the_diagonal():
    """26 mm of 43.2666 mm, 4000 x 3000 px with a diagonal of 5000 px: 3004.63 px."""
    hint = lens_hint(MAIN, 4000, 3000)
    assert hint.focal_px == pytest.approx(3004.63, abs=0.01)
    assert (hint.doubt, hint.off_centre, hint.wide) == (None, False, False)
    assert hint.extra_relative_uncertainty == 0.0


@pytest.mark.parametrize("size", [(4000, 3000), (3000, 4000), (2000, 1500), (1599, 1200)])
def test_a_copy_in_another_size_or_turned_keeps_its_angle_of_view(size):
    hint = lens_hint(MAIN, *size)
    assert hint.doubt is None
    assert hint.focal_px / math.hypot(*size) == pytest.approx(26 / 43.26662, abs=3e-4)


def test_a_turn_without_loss_that_drops_the_last_blocks_is_no_crop():
    assert lens_hint(replace(MAIN, recorded_px=(4010, 3014)), 4000, 3008).doubt is None


@pytest.mark.parametrize("size", [(3000, 3000), (4000, 2250), (2400, 2000), (3970, 3000)])
def test_a_piece_of_the_recorded_frame_has_no_known_focal_length(size):
    hint = lens_hint(MAIN, *size)
    assert (hint.focal_px, hint.doubt, hint.off_centre) == (None, "cropped", True)


def test_a_shape_that_no_camera_makes_is_a_piece_even_without_recorded_size():
    hint = lens_hint(replace(MAIN, recorded_px=None), 3000, 1800)
    assert (hint.focal_px, hint.doubt, hint.off_centre) == (None, "cropped", True)
    bare = lens_hint(LensTags(), 3000, 1800)
    assert (bare.doubt, bare.off_centre) == ("absent", True)


@pytest.mark.parametrize("size", [(3024, 3024), (4032, 2268), (4000, 1800), (6000, 4000)])
def test_shapes_that_phones_cut_from_a_4_to_3_sensor_leave_two_diagonals_open(size):
    """The picture's own, and the sensor's: the hint lies midway, half their distance its u."""
    longer, shorter = max(size), min(size)
    own = math.hypot(longer, shorter)
    sensor = longer * 5 / 4 if longer * 3 >= shorter * 4 else shorter * 5 / 3
    hint = lens_hint(replace(MAIN, recorded_px=size), *size)
    low, high = (26 / 43.26662 * d for d in (own, sensor))
    assert hint.doubt is None
    assert hint.focal_px == pytest.approx((low + high) / 2, rel=1e-6)
    u = hint.extra_relative_uncertainty * hint.focal_px
    assert u == pytest.approx((high - low) / 2, rel=1e-6)


@pytest.mark.parametrize("stated", [None, 0.0])
def test_unknown_is_absent(stated):
    hint = lens_hint(replace(MAIN, focal_35mm=stated), 4000, 3000)
    assert (hint.focal_px, hint.doubt) == (None, "absent")


@pytest.mark.parametrize("stated", [math.nan, math.inf, -26.0, 1.0, 9.9, 241.0, 65535.0])
def test_no_lens_of_that_length_exists(stated):
    hint = lens_hint(replace(MAIN, focal_35mm=stated), 4000, 3000)
    assert (hint.focal_px, hint.doubt) == (None, "absurd")


@pytest.mark.parametrize("focal_mm", [1.2, 60.0])
def test_a_sensor_of_that_size_does_not_exist(focal_mm):
    """26 over 1.2: a sensor of 2 mm; over 60: one of twice the size of film."""
    hint = lens_hint(replace(MAIN, focal_mm=focal_mm), 4000, 3000)
    assert (hint.focal_px, hint.doubt) == (None, "contradictory")


@pytest.mark.parametrize("focal_mm", [None, 0.0, math.nan])
def test_an_unknown_true_focal_length_contradicts_nothing(focal_mm):
    assert lens_hint(replace(MAIN, focal_mm=focal_mm), 4000, 3000).doubt is None


@pytest.mark.parametrize(
    ("ratio", "doubt"),
    [
        (None, None),
        (0.0, None),
        (1.0, None),
        (1.01, None),
        (math.nan, None),
        (1.3, "zoomed"),
        (2.0, "zoomed"),
        (0.5, "zoomed"),
        (math.inf, "zoomed"),
    ],
)
def test_a_zoom_by_cutting_leaves_the_focal_length_open(ratio, doubt):
    """Some phones multiply the equivalent by it, others do not. The centre stays."""
    hint = lens_hint(replace(MAIN, zoom_ratio=ratio), 4000, 3000)
    assert (hint.doubt, hint.focal_px is None) == (doubt, doubt is not None)
    assert not hint.off_centre


def test_a_panorama_is_no_picture_through_one_lens():
    assert lens_hint(replace(MAIN, rendering="panorama"), 4000, 3000).doubt == "stitched"


def test_an_ultra_wide_lens_is_named_and_its_rounding_counted():
    """13 mm are rounded to 1 mm, u = 0.289 mm: 2.2 %; a main camera's 26 mm 1.1 %."""
    hint = lens_hint(replace(MAIN, focal_35mm=13.0, focal_mm=2.2), 4000, 3000)
    assert hint.wide
    assert hint.extra_relative_uncertainty == pytest.approx(
        math.sqrt(0.02221**2 - 0.01110**2), abs=1e-5
    )
    zoomed = replace(MAIN, focal_35mm=13.0, focal_mm=2.2, zoom_ratio=1.9)
    assert lens_hint(zoomed, 4000, 3000).wide  # a phone's macro mode


anything = st.none() | st.floats()
side = st.integers(240, 20_000)


@given(anything, anything, anything, st.none() | st.tuples(side, side), side, side)
def test_whatever_is_stated_gives_a_sane_focal_length_or_a_doubt(
    focal_35mm, focal_mm, zoom, recorded, width, height
):
    hint = lens_hint(LensTags(focal_35mm, focal_mm, zoom, recorded), width, height)
    assert (hint.focal_px is None) == (hint.doubt is not None)
    if hint.focal_px is not None:
        assert 0.2 < hint.focal_px / math.hypot(width, height) < 7.0
        assert 0.0 <= hint.extra_relative_uncertainty < 0.15
    turned = lens_hint(LensTags(focal_35mm, focal_mm, zoom, recorded), height, width)
    assert turned == hint
