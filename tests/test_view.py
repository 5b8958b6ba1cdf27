"""The solver's projection against OpenCV's, against hand arithmetic, and against its inverse."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigvision.ground.conventions import CORNER_SIGNS
from rigvision.vision.view import PARAMETERS, View
from tests.views import view_at

POINTS_MM = np.array(
    [
        [-56.0, 44.0, 0.0],
        [56.0, 44.0, 0.0],
        [3.0, -20.0, -10.0],
        [-36.0, 12.0, -6.25],
        [61.0, -54.0, -22.0],
        [0.0, 0.0, 30.0],
    ]
)


@pytest.mark.parametrize(
    "view",
    [
        view_at(),
        view_at(tilt_deg=38.0, azimuth_deg=-130.0, roll_deg=-21.0, k1=-0.05),
        view_at(tilt_deg=4.0, azimuth_deg=170.0, roll_deg=95.0, distance_mm=420.0, k1=0.04),
    ],
)
def test_projection_is_that_of_opencv(view):
    """cv2.projectPoints with distortion (k1, 0, 0, 0)."""
    matrix = np.array(
        [
            [view.focal_px, 0.0, view.principal_point_px[0]],
            [0.0, view.focal_px, view.principal_point_px[1]],
            [0.0, 0.0, 1.0],
        ]
    )
    lens = np.array([view.k1, 0.0, 0.0, 0.0])
    expected, _ = cv2.projectPoints(
        POINTS_MM, view.parameters[:3], view.translation_mm, matrix, lens
    )
    np.testing.assert_allclose(view.project(POINTS_MM), expected.reshape(-1, 2), rtol=0, atol=1e-9)


def test_projection_is_hand_arithmetic():
    """Half a turn about the gauge's x brings its z to face the camera, 200 mm away.

    (30, 20, 0) is then (30, -20, 200) to the camera: 0.15 and -0.10. With f 1000 px, centre
    (500, 400) and k1 0.1: r2 = 0.0325, factor 1.00325: u = 650.4875, v = 299.675.
    (30, 20, -50) lies at depth 250: 0.12, -0.08; r2 = 0.0208; u = 620.2496, v = 319.8336.
    """
    view = View(
        np.array([np.pi, 0.0, 0.0, 0.0, 0.0, 200.0, np.log(1000.0), 500.0, 400.0, 0.1, 0.0])
    )
    seen = view.project(np.array([[30.0, 20.0, 0.0], [30.0, 20.0, -50.0]]))
    np.testing.assert_allclose(seen, [[650.4875, 299.675], [620.2496, 319.8336]], rtol=0, atol=1e-9)


def test_the_camera_stands_where_it_was_put():
    """240 mm, 17 deg towards 62 deg: (32.94, 61.96, 229.51) mm (recomputed)."""
    view = view_at()
    np.testing.assert_allclose(
        view.camera_centre_mm, [32.9424, 61.9556, 229.5131], rtol=0, atol=1e-3
    )
    assert view.distance_mm == pytest.approx(240.0, abs=1e-9)
    assert view.tilt_deg == pytest.approx(17.0, abs=1e-9)


def test_up_in_the_gauge_is_up_in_the_picture_and_right_is_right():
    """In every moderately rolled view: rows run down, y runs up."""
    for azimuth in range(-180, 180, 40):
        view = view_at(azimuth_deg=azimuth, tilt_deg=30.0, roll_deg=-12.0)
        middle, right, up = view.project(np.array([[0.0, 0, 0], [5.0, 0, 0], [0, 5.0, 0]]))
        assert right[0] > middle[0]
        assert up[1] < middle[1]


@given(
    st.floats(0.0, 45.0),
    st.floats(-180.0, 180.0),
    st.floats(-180.0, 180.0),
    st.floats(160.0, 450.0),
    st.floats(-0.06, 0.06),
    st.floats(-60.0, 60.0),
    st.floats(-54.0, 54.0),
    st.floats(-25.0, 5.0),
)
def test_a_pixel_carried_back_to_its_plane_is_the_point_it_came_from(
    tilt, azimuth, roll, distance, k1, x, y, z
):
    """0.1 um: far below any edge fit; the distortion is undone by iteration."""
    view = view_at(tilt, azimuth, roll, distance, k1=k1)
    point = np.array([[x, y, z]])
    back = view.on_plane_z(view.project(point), z)
    np.testing.assert_allclose(back, point, rtol=0, atol=1e-4)


def test_rays_start_at_the_camera_and_pass_through_their_points():
    view = view_at(tilt_deg=33.0, azimuth_deg=-75.0)
    rays = view.rays(view.project(POINTS_MM))
    towards = POINTS_MM - view.camera_centre_mm
    crossed = np.cross(rays, towards) / np.linalg.norm(towards, axis=1, keepdims=True)
    np.testing.assert_allclose(crossed, 0.0, atol=1e-9)
    assert (np.sum(rays * towards, axis=1) > 0).all()


def test_scale_is_focal_length_over_depth_along_the_picture_plane():
    """Seen from straight ahead 200 mm away with f 1000 px: 5 px a mm; 22 mm deeper 4.5045."""
    view = View(
        np.array([np.pi, 0.0, 0.0, 7.0, -4.0, 200.0, np.log(1000.0), 500.0, 400.0, 0.0, 0.0])
    )
    up = np.array([0.0, 1.0, 0.0])
    assert view.px_per_mm(np.zeros(3), up) == pytest.approx(5.0, abs=1e-9)
    assert view.px_per_mm(np.array([0.0, 0, -22.0]), up) == pytest.approx(4.504505, abs=1e-6)


def test_a_camera_above_looks_down_with_a_positive_slope():
    """From (., 61.96, 229.51) to (0, 12, -6): 49.96 / 235.51 = 0.2121 (recomputed)."""
    point = np.array([0.0, 12.0, -6.0])
    assert view_at().ray_slope_y(point) == pytest.approx(0.21212, abs=1e-4)
    assert view_at(azimuth_deg=-62.0).ray_slope_y(point) < 0.0


def test_eleven_parameters_are_named():
    assert len(PARAMETERS) == len(view_at().parameters) == 11


def test_corner_signs_run_clockwise_in_the_picture():
    square = np.column_stack([7.0 * CORNER_SIGNS, np.zeros(4)])
    x, y = view_at(roll_deg=33.0).project(square).T
    assert np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y) > 0
