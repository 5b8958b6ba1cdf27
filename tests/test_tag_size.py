"""The yoke's tag lies behind the marks' plane: its size tells how far away the camera is."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from rigvision.vision.camera_prior import UNCONFIRMED_FOCAL
from rigvision.vision.marks import Mark, Marks
from rigvision.vision.pose import shared_pulls, solve_pose
from rigvision.vision.tag_size import TagSize, find_tag_size
from rigvision.vision.view import View
from tests.test_pose import exact, prior_of, seen
from tests.views import view_at

SQUARE = view_at(tilt_deg=0.0, roll_deg=0.0, aim_mm=(0.0, 0.0), k1=0.0)
ASIDE = view_at(tilt_deg=1.0, azimuth_deg=-70.0, k1=0.0)
#: Middle of the shoulder: the yoke stands on its line, 4 mm right of the middle.
SHOULDER_MM = np.array([4.0, -20.0])


def tag_in(view: View, gauge, sigma_px: float = 0.0, rng=None) -> Mark:
    """The yoke's tag as a fit would hand it on."""
    flat = gauge.yoke.tag_corners_mm() + SHOULDER_MM
    corners = view.project(np.column_stack([flat, np.full(4, gauge.yoke.face_z_mm)]))
    if rng is not None:
        corners = corners + rng.normal(0.0, sigma_px, (4, 2))
    return Mark(gauge.yoke.tag_id, corners, np.eye(8) * max(sigma_px, 1e-4) ** 2, 0.9)


def with_tag(view: View, gauge, sigma_px: float, rng) -> Marks:
    marks = seen(view, gauge, sigma_px, rng)
    return replace(marks, measured=(*marks.measured, tag_in(view, gauge, sigma_px, rng)))


def plate_of(view: View, gauge) -> list[Mark]:
    return list(seen(view, gauge, 0.0, np.random.default_rng(0)).measured)


def further(view: View, times: float) -> View:
    """The same picture of the marks' plane, square on: further by so much, and longer."""
    parameters = view.parameters.copy()
    parameters[3:6] *= times
    parameters[6] += np.log(times)
    return View(parameters)


def size_in(view: View, gauge) -> TagSize:
    size = find_tag_size(tag_in(view, gauge), plate_of(view, gauge), gauge)
    assert size is not None
    return size


def misfits(size: TagSize, *views: View) -> np.ndarray:
    """Residuals of the tag's size in some views."""
    parameters = np.stack([v.parameters for v in views])
    return size.residuals(parameters, np.stack([v.rotation for v in views]))


@pytest.mark.parametrize("view", [SQUARE, ASIDE, view_at(tilt_deg=38.0)])
def test_by_the_true_view_the_tag_is_as_large_as_it_is_drawn(view, gauge):
    size = size_in(view, gauge)
    assert misfits(size, view)[0] == pytest.approx(0.0, abs=5e-3)


def test_twice_as_far_by_twice_the_lens_the_tag_looks_smaller_by_its_depth(gauge):
    """3 mm behind the plane: (2 x 240 + 3) / (2 x (240 + 3)) of its size."""
    size = size_in(SQUARE, gauge)
    residual = misfits(size, further(SQUARE, 2.0))[0]
    assert residual * size.relative_uncertainty == pytest.approx(np.log(483.0 / 486.0), rel=1e-4)


def test_many_views_are_told_apart_as_one_by_one(gauge):
    size = size_in(ASIDE, gauge)
    views = [further(ASIDE, t) for t in (0.7, 1.0, 1.4)]
    alone = [misfits(size, v)[0] for v in views]
    np.testing.assert_allclose(misfits(size, *views), alone, rtol=0, atol=1e-9)


def test_a_tag_with_a_side_misread_or_hidden_says_nothing(gauge):
    plate, tag = plate_of(ASIDE, gauge), tag_in(ASIDE, gauge)
    corners = tag.corners_px.copy()
    corners[:2, 1] -= 0.5  # the upper side, half a pixel up
    assert find_tag_size(replace(tag, corners_px=corners), plate, gauge) is None
    assert find_tag_size(tag.without(2), plate, gauge) is None
    assert find_tag_size(None, plate, gauge) is None


def test_a_gauge_without_a_yoke_has_no_such_tag(gauge):
    bare = gauge.model_copy(update={"yoke": None})
    assert find_tag_size(tag_in(ASIDE, gauge), plate_of(ASIDE, gauge), bare) is None


@pytest.mark.parametrize("lie", [2.0, 2.3, 1 / 1.6, 1 / 2.3])
def test_seen_squarely_a_lie_shows_in_the_tag(lie, gauge):
    """The marks alone cannot tell; with the tag the claim covers what is left."""
    marks = with_tag(ASIDE, exact(gauge), 0.03, np.random.default_rng(6))
    prior = replace(prior_of(ASIDE), focal_px=lie * ASIDE.focal_px)
    pose = solve_pose(marks, gauge, prior)
    assert pose.focal_contradicts_exif
    off = np.log(pose.view.focal_px / ASIDE.focal_px)
    assert abs(off) < 2.5 * np.sqrt(pose.covariance[6, 6]) < 0.6
    plate = tuple(m for m in marks.measured if m.mark_id in gauge.marks.centres_mm)
    alone = solve_pose(replace(marks, measured=plate), gauge, prior)
    assert abs(np.log(alone.view.focal_px / ASIDE.focal_px)) > abs(off)


@pytest.mark.parametrize("seed", range(5))
def test_the_tag_of_an_honest_camera_leaves_it_believed(seed, gauge):
    marks = with_tag(ASIDE, gauge, 0.03, np.random.default_rng(seed))
    assert solve_pose(marks, gauge, prior_of(ASIDE)).doubted == ()


@pytest.mark.parametrize("away_px", [(800.0, -500.0), (-900.0, 300.0), (250.0, 700.0)])
def test_a_piece_cut_out_beside_the_middle_is_solved(away_px, gauge):
    """Half of a picture's length: the file's lens is half as long, the axis far off the centre."""
    view = view_at(tilt_deg=8.0, azimuth_deg=25.0, distance_mm=420.0, focal_px=3000.0, k1=0.0)
    parameters = view.parameters.copy()
    parameters[7:9] = 1000.0 + away_px[0], 750.0 + away_px[1]
    view = View(parameters)
    said = replace(
        prior_of(view), focal_px=1500.0, principal_point_px=(1000.0, 750.0),
        principal_point_uncertainty_px=12.0,
    )  # fmt: skip
    pose = solve_pose(with_tag(view, gauge, 0.02, np.random.default_rng(3)), gauge, said)
    assert {"focal length", "principal point"} <= set(pose.doubted)
    assert pose.refused == ()
    error = pose.view.parameters[6:9] - view.parameters[6:9]
    assert (np.abs(error) < 3.0 * np.sqrt(np.diag(pose.covariance)[6:9])).all()
    assert abs(error[0]) < 0.4


def test_what_the_picture_leaves_to_the_file_may_be_off_by_what_files_are(gauge):
    """Square on all of it; from 38 deg off the marks tell the focal length themselves."""
    grown = []
    for view in (SQUARE, view_at(tilt_deg=38.0)):
        marks = seen(view, exact(gauge), 0.02, np.random.default_rng(4))
        honest = prior_of(view, 0.02)
        doubtful = replace(honest, focal_unconfirmed=UNCONFIRMED_FOCAL)
        plain, wide = (solve_pose(marks, gauge, p) for p in (honest, doubtful))
        np.testing.assert_array_equal(plain.view.parameters, wide.view.parameters)
        grown.append(np.sqrt(wide.covariance[6, 6] - plain.covariance[6, 6]))
    assert grown[0] == pytest.approx(UNCONFIRMED_FOCAL, rel=0.05)
    assert grown[1] < 0.3 * UNCONFIRMED_FOCAL


def test_photos_of_one_phone_share_that_too(gauge):
    marks = seen(SQUARE, exact(gauge), 0.02, np.random.default_rng(4))
    honest = prior_of(SQUARE, 0.02)
    doubtful = replace(honest, focal_unconfirmed=0.04)
    pose = solve_pose(marks, gauge, honest)
    plain, wide = (shared_pulls(pose, marks, gauge, p).camera[6, 0] for p in (honest, doubtful))
    assert wide / plain == pytest.approx(np.sqrt(5.0))
