"""The view's errors: parts that add up to the whole, and places read through other views."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from rigvision.metrology.view_errors import FixedPixels, view_sources
from rigvision.vision.camera_prior import CameraPrior
from rigvision.vision.marks import Mark, Marks
from rigvision.vision.pose import solve_pose
from rigvision.vision.view import View
from tests.hand_made import pose_at
from tests.views import view_at

POINTS = np.array([[-36.0, 12.0, -6.25], [30.0, 12.8, -6.25], [4.0, -20.0, -10.0]])


def solved(gauge, view: View, shifts_mm: np.ndarray):
    """The pose from exact corners of marks that sit off their calibrated places (M, 2)."""
    marks = []
    for mark_id, shift in zip(gauge.marks.centres_mm, shifts_mm, strict=True):
        corners = gauge.marks.corners_mm(mark_id)
        corners[:, :2] += shift
        marks.append(Mark(mark_id, view.project(corners), np.eye(8) * 0.05**2, 0.9))
    centre = (float(view.principal_point_px[0]), float(view.principal_point_px[1]))
    prior = CameraPrior(view.focal_px, 0.02, centre, 24.0, view.k1, 0.01)
    return solve_pose(Marks(tuple(marks), (), ()), gauge, prior)


def test_marks_off_their_places_move_the_view_as_the_solve_says(gauge):
    """80 gauges whose marks lie off by 0.02 mm, each solved: spread of what they then read.

    A spread of 80 draws is known to 8 %: within 25 % is three standard deviations.
    """
    view, u_mm = view_at(), 0.02
    loose = gauge.model_copy(
        update={"marks": gauge.marks.model_copy(update={"position_uncertainty_mm": u_mm})}
    )
    rng = np.random.default_rng(4)
    pixels = view.project(POINTS)
    read = []
    for _ in range(80):
        pose = solved(loose, view, rng.normal(0.0, u_mm, (8, 2)))
        points = [
            pose.view.on_plane_z(p[None, :], z)[0]
            for p, z in zip(pixels, POINTS[:, 2], strict=True)
        ]
        read.append(np.array(points)[:, :2])
    pose = solved(loose, view, np.zeros((8, 2)))
    (positions,) = [s for s in view_sources(pose) if s.name == "mark positions"]
    errors = positions.root.T[None, :, :].reshape(-1, 11)
    fixed = FixedPixels(pose, POINTS)
    nothing = np.zeros((len(errors), len(POINTS)))
    effects = (fixed.read(errors, nothing) - fixed.read(-errors, nothing))[..., :2] / 2.0
    told = np.sqrt(np.sum(effects**2, axis=0))
    np.testing.assert_allclose(told, np.std(read, axis=0), rtol=0.25)
    assert told.max() < 2.0 * u_mm, "eight marks know better than one"


def test_positions_are_part_of_the_whole(gauge):
    pose = solved(gauge, view_at(), np.zeros((8, 2)))
    left = np.linalg.eigvalsh(pose.covariance - pose.from_positions)
    scale = np.diag(pose.covariance).max()
    assert left.min() > -1e-9 * scale
    none = gauge.model_copy(
        update={"marks": gauge.marks.model_copy(update={"position_uncertainty_mm": 0.0})}
    )
    assert np.abs(solved(none, view_at(), np.zeros((8, 2))).from_positions).max() == 0.0


def test_the_sources_add_up_to_the_covariance(gauge):
    """Correlations included; to 1e-9 of each parameter's own."""
    pose = solved(gauge, view_at(), np.zeros((8, 2)))
    total = sum(s.root @ s.root.T for s in view_sources(pose))
    sigma = np.sqrt(np.diag(pose.covariance))
    scaled = (total - pose.covariance) / np.outer(sigma, sigma)
    assert np.abs(scaled).max() < 1e-9


def test_a_camera_known_exactly_leaves_all_to_the_pose():
    pose = pose_at()
    known = pose.covariance.copy()
    known[6:10, :], known[:, 6:10] = 0.0, 0.0
    sizes = {s.name: np.abs(s.root).max() for s in view_sources(replace(pose, covariance=known))}
    assert sizes["lens"] < 1e-12
    assert sizes["focal length"] < 1e-12
    assert sizes["pose"] > 1e-5


def test_places_are_those_of_the_view_s_own_projection():
    """Three other views and planes: each point read as ``View.on_plane_z`` reads it.

    Views close by, as translations err in logarithm and bearing: 0.02 mm of 240, squared.
    """
    pose, rng = pose_at(view_at(k1=0.03), scale=0.1), np.random.default_rng(2)
    errors = np.linalg.cholesky(pose.covariance) @ rng.standard_normal((11, 3))
    depth = rng.normal(0.0, 0.2, (3, len(POINTS)))
    read = FixedPixels(pose, POINTS).read(errors.T, depth)
    pixels = pose.view.project(POINTS)
    for k in range(3):
        view = View(pose.view.parameters + errors[:, k])
        for n, (x, y, z) in enumerate(POINTS):
            place = view.on_plane_z(pixels[n : n + 1], z + depth[k, n])[0]
            assert read[k, n, :2] == pytest.approx(place[:2], abs=1e-6)
            assert np.hypot(read[k, n, 0] - x, read[k, n, 1] - y) > 1e-4
            assert read[k, n, 3] == pytest.approx(view.ray_slope_y(place), abs=1e-6)


def test_a_badly_known_focal_length_takes_the_distance_with_it():
    """20 % further away with a focal length 20 % longer: points of the plate's plane stay.

    Along the axis, in the middle of the picture; a straight line would be off by
    (e^0.2 - 1.2) / 1.2 = 1.8 %.
    """
    pose = pose_at(view_at(tilt_deg=0.0, roll_deg=0.0, aim_mm=(0.0, 0.0), k1=0.0))
    points = np.array([[10.0, -20.0, 0.0], [-30.0, 12.0, 0.0]])
    error = np.zeros((1, 11))
    error[0, 6] = 0.2
    error[0, 3:6] = 0.2 * pose.view.translation_mm
    read = FixedPixels(pose, points).read(error, np.zeros((1, 2)))
    np.testing.assert_allclose(read[0, :, :2], points[:, :2], rtol=0, atol=1e-9)
