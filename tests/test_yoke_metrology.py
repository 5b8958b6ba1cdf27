"""Yoke against socket from hand-made places: signs, zero points, missing parts, budget."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from rigvision.ground.conventions import rotation_from_vector
from rigvision.ground.measured import correlation
from rigvision.metrology.yoke import YokeModel, measure_yoke
from rigvision.vision.view import View
from rigvision.vision.yoke import YokeFeatures
from tests.hand_made import influence, pose_at, socket_place, yoke_place
from tests.views import view_at


def aligned(frame, yoke, socket, view=None):
    return measure_yoke(YokeFeatures(yoke, socket), pose_at(view), frame)


@pytest.mark.parametrize("offset_mm", [0.35, -0.22])
def test_lateral_offset_is_socket_minus_yoke(offset_mm, frame):
    found = aligned(frame, yoke_place(4.0, -20.1), socket_place(-20.1 + offset_mm))
    assert found.lateral_offset_mm.value == pytest.approx(offset_mm, abs=1e-12)


@pytest.mark.parametrize("angle_deg", [1.5, -0.8])
def test_a_tilted_centreline_is_carried_to_the_socket_s_face(angle_deg, frame):
    """From a shoulder 10 mm back: 10 tan(1.5 deg) = 0.2619 mm off the shoulder's own y."""
    found = aligned(frame, yoke_place(-6.0, -20.0, angle_deg), socket_place(-20.0))
    expected = -10.0 * np.tan(np.radians(angle_deg))
    assert found.lateral_offset_mm.value == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize(
    ("yoke_deg", "socket_deg", "tilt_deg"), [(0.0, 0.7, 0.7), (0.4, 0.0, -0.4), (-0.3, -1.0, -0.7)]
)
def test_tilt_runs_from_yoke_to_socket_counter_clockwise(yoke_deg, socket_deg, tilt_deg, frame):
    found = aligned(frame, yoke_place(4.0, -20.0, yoke_deg), socket_place(-20.0, socket_deg))
    assert found.tilt_deg.value == pytest.approx(tilt_deg, abs=1e-9)


@pytest.mark.parametrize("seat_mm", [0.25, -0.10, 9.0])
def test_seat_gap_is_face_minus_shoulder(seat_mm, frame):
    found = aligned(frame, yoke_place(4.0 - seat_mm, -20.0), socket_place(-20.0))
    assert found.seat_gap_mm.value == pytest.approx(seat_mm, abs=1e-12)


def test_seat_gap_uses_the_face_as_found_and_not_as_drawn(frame):
    found = aligned(frame, yoke_place(4.0, -20.0), socket_place(-20.0, face_x_mm=4.4))
    assert found.seat_gap_mm.value == pytest.approx(0.4, abs=1e-12)


@pytest.mark.parametrize("clock_deg", [12.0, -31.5, 45.0])
def test_clock_is_the_line_s_angle_in_degrees(clock_deg, frame):
    found = aligned(frame, yoke_place(4.0, -20.0), socket_place(-20.0, clock_deg=clock_deg))
    assert found.clock_deg.value == pytest.approx(clock_deg, abs=1e-9)


def test_what_is_hidden_is_none_and_the_rest_is_measured(frame):
    without_face = aligned(frame, yoke_place(4.0, -20.0), socket_place(-20.0, face_x_mm=None))
    assert without_face.seat_gap_mm is None
    assert without_face.lateral_offset_mm is not None
    without_lines = aligned(frame, yoke_place(4.0, -20.0), socket_place(-20.0, clock_deg=None))
    assert without_lines.clock_deg is None
    assert without_lines.tilt_deg is not None


def test_without_a_yoke_tag_only_the_clock_is_measured(frame):
    found = aligned(frame, None, socket_place(-20.0, clock_deg=5.0))
    assert (found.lateral_offset_mm, found.tilt_deg, found.seat_gap_mm) == (None, None, None)
    assert found.clock_deg.value == pytest.approx(5.0, abs=1e-9)


def test_without_a_socket_nothing_is_measured(frame):
    found = aligned(frame, yoke_place(4.0, -20.0), None)
    assert [found.lateral_offset_mm, found.tilt_deg, found.seat_gap_mm, found.clock_deg] == [
        None
    ] * 4


def test_a_depth_error_counts_only_where_the_view_is_slanted(frame):
    """From above at slope t: t times what both planes are off together."""
    ahead = aligned(
        frame, yoke_place(4.0, -20.0), socket_place(-20.0),
        view_at(tilt_deg=4.8, azimuth_deg=-90.0, aim_mm=(0.0, -20.0)),
    )  # fmt: skip
    above = aligned(
        frame, yoke_place(4.0, -20.0), socket_place(-20.0), view_at(tilt_deg=35.0, azimuth_deg=90.0)
    )
    assert influence(ahead.lateral_offset_mm, "plane depth") < 0.01
    # Slopes at yoke and socket, 20 mm from where the camera looks: tan of about 39 deg.
    expected = np.tan(np.radians(39.0)) * np.hypot(0.06, 0.03)
    assert influence(above.lateral_offset_mm, "plane depth") == pytest.approx(expected, rel=0.1)


def test_a_yoke_s_angle_doubt_grows_with_the_lever_to_the_face(frame):
    """0.005 rad over 20 mm is 0.1 mm, far above the shoulder's own 0.005 mm."""
    near = aligned(frame, yoke_place(4.0, -20.0), socket_place(-20.0)).lateral_offset_mm
    far = aligned(frame, yoke_place(-16.0, -20.0), socket_place(-20.0)).lateral_offset_mm
    assert influence(near, "yoke tag") == pytest.approx(0.005, abs=1e-6)
    assert influence(far, "yoke tag") == pytest.approx(0.100125, abs=1e-5)


def test_clock_doubt_follows_from_the_axis_by_the_radius(frame):
    """0.005 mm of axis on a radius of 7 mm, line at the crown: 0.0409 deg (recomputed)."""
    found = aligned(frame, yoke_place(4.0, -20.0), socket_place(-20.0, clock_deg=0.0))
    assert influence(found.clock_deg, "socket outline") == pytest.approx(0.040926, abs=1e-5)
    assert influence(found.clock_deg, "index lines") == pytest.approx(0.3, abs=1e-9)


def test_offset_and_clock_hang_on_the_same_outline(frame):
    """An axis taken too high makes the offset too large and the clock too small: r nears -1

    where little else matters.
    """
    outline = np.diag([0.2**2, 1e-16])
    place = replace(socket_place(-20.0), covariance=outline)
    found = aligned(frame, yoke_place(4.0, -20.0, sigma=1e-6), place)
    assert correlation(found.lateral_offset_mm, found.clock_deg) < -0.9


def test_clock_takes_from_the_axis_what_the_solve_of_the_lines_says(frame):
    """Two lines hold the clock against an axis that errs: half of 0.01 mm / 7 mm is 0.040926 deg

    (recomputed).
    """
    exact = np.diag([0.01**2, 1e-16])
    place = replace(socket_place(-20.0, clock_deg=30.0), covariance=exact)
    found = aligned(frame, yoke_place(4.0, -20.0), replace(place, clock_by_axis_rad_per_mm=0.5 / 7))
    assert influence(found.clock_deg, "socket outline") == pytest.approx(0.040926, abs=1e-5)


@pytest.mark.parametrize("clock_deg", [0.0, 30.0, -40.0])
def test_a_gauge_turned_about_the_socket_s_axis_turns_the_clock_as_far(clock_deg, frame):
    """1 mrad, whichever part of the barrel shows the line, crown or flank; the axis stays."""
    view = view_at(tilt_deg=20.0, azimuth_deg=-60.0, aim_mm=(0.0, -20.0))
    place = socket_place(-20.0, clock_deg=clock_deg)
    model = YokeModel(yoke_place(4.0, -20.0), place, pose_at(view), frame.socket)
    turn = rotation_from_vector(np.array([1e-3, 0.0, 0.0]))
    turned = View(view.parameters.copy())
    turned.parameters[:3] = cv2.Rodrigues(view.rotation @ turn)[0].ravel()
    turned.parameters[3:6] += view.rotation @ (place.axis_mm - turn @ place.axis_mm)
    errors = {s.name: np.zeros((1, len(s.root))) for s in model.sources}
    before = model.places(errors)[0]
    errors["pose"] = (turned.parameters - view.parameters)[None, :]
    after = model.places(errors)[0]
    assert abs(after[-1] - before[-1]) == pytest.approx(1e-3, rel=5e-3)
    assert after[0] == pytest.approx(before[0], abs=1e-5)
