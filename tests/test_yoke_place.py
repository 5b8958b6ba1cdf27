"""The yoke from its tag, corners made by hand: place, angle, spoiled sides, honest covariance."""

from __future__ import annotations

import numpy as np
import pytest

from rigvision.vision.marks import Mark
from rigvision.vision.yoke import yoke_from_tag
from tests.hand_made import pose_at

SHOULDER_MM = np.array([3.7, -20.3])


def corners_px(pose, gauge, angle_deg):
    """Where the tag's corners fall, by rotation matrix and projection alone."""
    c, s = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    flat = SHOULDER_MM + gauge.yoke.tag_corners_mm() @ np.array([[c, s], [-s, c]])
    return pose.view.project(np.column_stack([flat, np.full(4, gauge.yoke.face_z_mm)]))


def tag(corners, sigma_px=None):
    sigma_px = np.full((4, 2), 0.01) if sigma_px is None else sigma_px
    return Mark(108, corners, np.diag(sigma_px.ravel() ** 2), 0.9)


@pytest.mark.parametrize("angle_deg", [0.0, 1.4, -0.8])
def test_corners_without_error_give_the_place(gauge, angle_deg):
    pose = pose_at()
    place = yoke_from_tag(tag(corners_px(pose, gauge, angle_deg)), pose, gauge.yoke)
    assert place.shoulder_mm == pytest.approx([*SHOULDER_MM, gauge.yoke.face_z_mm], abs=1e-6)
    assert np.degrees(place.angle_rad) == pytest.approx(angle_deg, abs=1e-5)


def test_a_side_in_shadow_is_weighed_by_how_badly_it_is_known(gauge):
    """Two corners 0.9 and 0.6 px off, and known to 0.4 px: shoulder within 0.02 mm, not 0.3."""
    pose = pose_at()
    corners, sigma = corners_px(pose, gauge, 0.5), np.full((4, 2), 0.01)
    corners[1] += [0.6, 0.0]
    corners[2] += [-0.9, 0.1]
    sigma[1:3] = 0.4
    place = yoke_from_tag(tag(corners, sigma), pose, gauge.yoke)
    assert place.shoulder_mm[:2] == pytest.approx(SHOULDER_MM, abs=0.02)
    assert np.degrees(place.angle_rad) == pytest.approx(0.5, abs=0.1)


def test_corners_that_disagree_are_less_well_known_than_they_claim(gauge):
    pose = pose_at()
    corners = corners_px(pose, gauge, 0.0)
    skewed = corners + 0.3 * np.array([[1, 0], [-1, 0], [1, 0], [-1, 0]])
    good = yoke_from_tag(tag(corners), pose, gauge.yoke)
    bad = yoke_from_tag(tag(skewed), pose, gauge.yoke)
    assert bad.covariance[1, 1] > 10.0 * good.covariance[1, 1]


def test_error_is_within_the_covariance_claimed(gauge):
    """Shoulder y and angle over their standard uncertainties, RMS of sixty tags: 0.7 to 1.3."""
    pose, rng = pose_at(), np.random.default_rng(12)
    corners, ratios = corners_px(pose, gauge, 0.0), []
    for _ in range(60):
        sigma = rng.uniform(0.02, 0.3, (4, 2))
        noise = np.hypot(sigma, 0.03) * rng.standard_normal((4, 2))  # the floor of all corners
        place = yoke_from_tag(tag(corners + noise, sigma), pose, gauge.yoke)
        error = np.array([place.shoulder_mm[1] - SHOULDER_MM[1], place.angle_rad])
        ratios.append(error / np.sqrt(np.diag(place.covariance)[1:]))
    assert 0.6 < np.sqrt(np.mean(np.square(ratios))) < 1.3


def test_a_tag_of_another_size_is_none(gauge):
    pose = pose_at()
    corners = corners_px(pose, gauge, 0.0)
    grown = corners.mean(axis=0) + 1.05 * (corners - corners.mean(axis=0))
    assert yoke_from_tag(tag(grown), pose, gauge.yoke) is None
