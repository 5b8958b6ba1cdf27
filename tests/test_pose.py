"""The pose: against OpenCV's, its rival, and its stated uncertainty against its error."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from rigvision.ground.errors import Unmeasurable
from rigvision.vision.camera_prior import CameraPrior
from rigvision.vision.marks import Mark, Marks
from rigvision.vision.outward import corrected_corners, outward_shift
from rigvision.vision.pose import shared_pulls, solve_pose
from rigvision.vision.pose_tuning import PoseTuning
from rigvision.vision.view import View
from tests.views import view_at

#: No allowance beyond what the simulated corners really scatter.
BARE = PoseTuning(corner_floor_px=1e-3, own_shift_px=0.0)


def prior_of(view: View, relative: float = 0.02) -> CameraPrior:
    """A prior that is right, with a given standard uncertainty of the focal length."""
    centre = (float(view.principal_point_px[0]), float(view.principal_point_px[1]))
    return CameraPrior(view.focal_px, relative, centre, 24.0, view.k1, 0.01)


def seen(view: View, gauge, sigma_px: float, rng, swell_px: float = 0.0) -> Marks:
    """Marks of the plate as a fit would hand them on: corners with white noise."""
    marks = []
    for mark_id in gauge.marks.centres_mm:
        corners = view.project(gauge.marks.corners_mm(mark_id))
        corners = corners + swell_px * outward_shift(corners)
        corners = corners + rng.normal(0.0, sigma_px, (4, 2))
        covariance = np.eye(8) * max(sigma_px, 1e-4) ** 2
        marks.append(Mark(mark_id, corners, covariance, 0.9))
    return Marks(tuple(marks), (), ())


def exact(gauge):
    """The gauge with marks exactly where they are drawn."""
    marks = gauge.marks.model_copy(update={"position_uncertainty_mm": 0.0})
    return gauge.model_copy(update={"marks": marks})


VIEWS = [
    view_at(),
    view_at(tilt_deg=36.0, azimuth_deg=-120.0, roll_deg=-17.0, distance_mm=300.0),
    view_at(tilt_deg=8.0, azimuth_deg=200.0, roll_deg=91.0, distance_mm=380.0),
    view_at(tilt_deg=24.0, azimuth_deg=15.0, roll_deg=178.0, k1=-0.02),
]


@pytest.mark.parametrize("view", VIEWS)
def test_without_noise_the_pose_is_the_true_one(view, gauge):
    """1 um and 1e-5 rad: the solver's own end; the prior is right and does not pull."""
    marks = seen(view, gauge, 0.0, np.random.default_rng(0))
    pose = solve_pose(marks, exact(gauge), prior_of(view), BARE)
    np.testing.assert_allclose(pose.view.camera_centre_mm, view.camera_centre_mm, rtol=0, atol=1e-3)
    np.testing.assert_allclose(pose.view.rotation, view.rotation, rtol=0, atol=1e-5)
    assert pose.used == tuple(sorted(gauge.marks.centres_mm))
    assert pose.residual_px < 1e-4


@pytest.mark.parametrize("view", VIEWS)
def test_the_pose_is_that_of_cv2_solvepnp(view, gauge):
    """Same corners, camera known exactly: both minimise the same pixels.

    With white noise and no shared errors the two least-squares solutions are one; 0.01 mm is a
    tenth of the pose's own standard uncertainty along the view.
    """
    marks = seen(view, gauge, 0.05, np.random.default_rng(1))
    known = replace(prior_of(view, 1e-6), principal_point_uncertainty_px=1e-4, k1_uncertainty=1e-7)
    pose = solve_pose(marks, exact(gauge), known, replace(BARE, border_shift_prior_px=1e-6))
    points = np.concatenate([gauge.marks.corners_mm(m.mark_id) for m in marks.measured])
    pixels = np.concatenate([m.corners_px for m in marks.measured])
    matrix = np.array([[view.focal_px, 0, 0], [0, view.focal_px, 0], [0, 0, 1.0]])
    matrix[:2, 2] = view.principal_point_px
    lens = np.array([view.k1, 0.0, 0.0, 0.0])
    _, vector, shift = cv2.solvePnP(points, pixels, matrix, lens, flags=cv2.SOLVEPNP_IPPE)
    vector, shift = cv2.solvePnPRefineLM(points, pixels, matrix, lens, vector, shift)
    rotation = cv2.Rodrigues(vector)[0]
    np.testing.assert_allclose(
        pose.view.camera_centre_mm, -rotation.T @ shift.ravel(), rtol=0, atol=0.01
    )
    np.testing.assert_allclose(pose.view.rotation, rotation, rtol=0, atol=5e-5)


def test_marks_that_all_swelled_alike_do_not_move_the_camera(gauge):
    """Tone and sharpening push every border out by 0.3 px: 0.4 % of a mark, nothing of a pose."""
    view = VIEWS[0]
    marks = seen(view, gauge, 0.01, np.random.default_rng(2), swell_px=0.3)
    pose = solve_pose(marks, exact(gauge), prior_of(view), BARE)
    assert pose.view.border_shift_px == pytest.approx(0.3, abs=0.01)
    true = view.project(gauge.marks.corners_mm(104))
    mark = marks.by_id(104)
    assert np.abs(corrected_corners(mark, pose.view) - true).max() < 0.05
    # known focal length: distance is as sure as the marks' own scale
    firm = solve_pose(marks, exact(gauge), prior_of(view, 1e-5), BARE)
    assert firm.view.distance_mm == pytest.approx(240.0, abs=0.05)


def test_a_mark_that_swelled_by_itself_hardly_moves_the_camera(gauge):
    """Glare on one mark pushes its borders by 0.3 px: its centre is as good as any other's.

    The others are then placed within 0.01 px, against 0.05 px where it is taken at its word.
    """
    view = VIEWS[1]
    marks = seen(view, gauge, 0.01, np.random.default_rng(3))
    glare = next(m for m in marks.measured if m.mark_id == 102)
    swollen = replace(glare, corners_px=glare.corners_px + 0.3 * outward_shift(glare.corners_px))
    rest = tuple(m for m in marks.measured if m.mark_id != 102)
    mixed = replace(marks, measured=(*rest, swollen))

    def worst_px(tuning: PoseTuning) -> float:
        pose = solve_pose(mixed, exact(gauge), prior_of(view), tuning)
        points = np.concatenate([gauge.marks.corners_mm(m.mark_id) for m in rest])
        return float(np.abs(pose.view.project(points) - view.project(points)).max())

    allowed = PoseTuning(corner_floor_px=0.01, refuse_chi2=np.inf)
    assert worst_px(allowed) < 0.02
    assert worst_px(allowed) < 0.5 * worst_px(replace(allowed, own_shift_px=0.0))


def test_outward_is_away_from_the_mark_s_middle(gauge):
    """A square's corner moves by one px along both of its sides' normals: sqrt(2) px out."""
    corners = np.array([[10.0, 10.0], [90.0, 10.0], [90.0, 90.0], [10.0, 90.0]])
    np.testing.assert_allclose(
        outward_shift(corners), [[-1, -1], [1, -1], [1, 1], [-1, 1]], rtol=0, atol=1e-12
    )


# ------------------------------------------------------------------------------- its rival


def test_the_rival_pose_fits_far_worse_from_the_side_and_near(gauge):
    marks = seen(VIEWS[0], gauge, 0.03, np.random.default_rng(3))
    assert solve_pose(marks, exact(gauge), prior_of(VIEWS[0])).rival_ratio > 4.0


@pytest.mark.parametrize("azimuth", [20.0, -110.0, 160.0])
def test_of_two_planar_poses_the_true_one_is_taken(azimuth, gauge):
    """The other has the camera on the wrong side of the normal: twice the tilt away."""
    view = view_at(tilt_deg=12.0, azimuth_deg=azimuth, distance_mm=430.0, focal_px=2000.0)
    for seed in range(6):
        marks = seen(view, gauge, 0.05, np.random.default_rng(seed))
        pose = solve_pose(marks, exact(gauge), prior_of(view), BARE)
        off = np.linalg.norm(pose.view.camera_centre_mm[:2] - view.camera_centre_mm[:2])
        assert off < 0.3 * np.linalg.norm(view.camera_centre_mm[:2])


def test_a_near_tie_shows_in_the_rival_ratio(gauge):
    """A gauge the size of a stamp seen from far off: perspective drowns in the noise."""
    marks = gauge.marks.model_copy(
        update={
            "centres_mm": {i: (0.12 * x, 0.12 * y) for i, (x, y) in gauge.marks.centres_mm.items()},
            "size_mm": 2.0,
            "pad_mm": 3.0,
            "position_uncertainty_mm": 0.0,
        }
    )
    stamp = gauge.model_copy(update={"marks": marks})
    view = view_at(tilt_deg=20.0, distance_mm=900.0, aim_mm=(0.5, 0.5), k1=0.0)
    ratios = [
        solve_pose(
            seen(view, stamp, 0.4, np.random.default_rng(s)), stamp, prior_of(view)
        ).rival_ratio
        for s in range(8)
    ]
    assert np.median(ratios) < 1.2


# ------------------------------------------------------------------------- what it refuses


def test_three_marks_are_too_few_and_the_missing_are_named(gauge):
    marks = seen(VIEWS[0], gauge, 0.03, np.random.default_rng(4))
    few = Marks(marks.measured[:3], (), ())
    with pytest.raises(Unmeasurable) as caught:
        solve_pose(few, gauge, prior_of(VIEWS[0]))
    assert caught.value.code == "too-few-marks"
    assert caught.value.facts["missing"] == "103, 104, 105, 106, 107"


def test_the_yoke_s_tag_does_not_count_as_a_mark_of_the_plate(gauge):
    marks = seen(VIEWS[0], gauge, 0.03, np.random.default_rng(5))
    yoke = replace(marks.measured[0], mark_id=108)
    with pytest.raises(Unmeasurable):
        solve_pose(Marks((*marks.measured[:3], yoke), (), ()), gauge, prior_of(VIEWS[0]))


@pytest.mark.parametrize("mark_id", [100, 101, 104, 107])
@pytest.mark.parametrize("off_px", [1.5, 4.0, 12.0])
def test_a_mark_out_of_its_place_is_refused_wherever_it_sits(mark_id, off_px, gauge):
    """1.5 px is 0.14 mm here, fourteen times what the certificate allows.

    The seven others must be kept and the pose be theirs.
    """
    marks = seen(VIEWS[0], gauge, 0.03, np.random.default_rng(6))
    shift = np.array([off_px, -0.5 * off_px])
    moved = tuple(
        replace(m, corners_px=m.corners_px + shift) if m.mark_id == mark_id else m
        for m in marks.measured
    )
    pose = solve_pose(Marks(moved, (), ()), gauge, prior_of(VIEWS[0]))
    assert pose.refused == (mark_id,)
    assert len(pose.used) == 7


# ------------------------------------------------------------------------------- its claims


def claims(view: View, gauge, sigma_px: float, number: int, relative: float) -> np.ndarray:
    """Errors over stated sigmas of points read in the plane of the gap, (number, 2, 3).

    The camera itself is drawn from the prior anew each time, as phones are.
    """
    rng = np.random.default_rng(int(1e4 * sigma_px) + number)
    points = np.array([[-36.0, 12.0, -6.25], [0.0, 12.8, -6.25], [36.0, 12.0, -6.25]])
    out = []
    for _ in range(number):
        true = view.parameters.copy()
        true[6] += rng.normal(0.0, relative)
        true[7:9] += rng.normal(0.0, 24.0, 2)
        true[9] += rng.normal(0.0, 0.01)
        camera = View(true)
        pose = solve_pose(
            seen(camera, gauge, sigma_px, rng), exact(gauge), prior_of(view, relative), BARE
        )
        pixels = camera.project(points)
        read = pose.view.on_plane_z(pixels, -6.25)[:, :2]
        spread = numeric_sensitivity(pose.view, pixels)
        sigma = np.sqrt(np.einsum("nkp,pq,nkq->nk", spread, pose.covariance, spread))
        out.append(((read - points[:, :2]) / sigma).T)
    return np.array(out)


def numeric_sensitivity(view: View, pixels: np.ndarray) -> np.ndarray:
    """d(x, y) / d(parameters) of pixels carried to the plane of the edges, (N, 2, 11)."""
    steps = np.array([1e-6] * 3 + [1e-4] * 3 + [1e-6, 1e-3, 1e-3, 1e-6, 1e-3])
    shifted = [
        [View(view.parameters + s * e).on_plane_z(pixels, -6.25)[:, :2] for s in (h, -h)]
        for e, h in zip(np.eye(11), steps, strict=True)
    ]
    return np.stack(
        [(up - down) / (2 * h) for (up, down), h in zip(shifted, steps, strict=True)], axis=-1
    )


@pytest.mark.parametrize("sigma_px", [0.02, 0.05, 0.15])
@pytest.mark.parametrize("view", VIEWS[:2])
def test_the_covariance_covers_the_error_over_noise_levels(view, sigma_px, gauge):
    """Error over sigma, RMS, between 0.7 and 1.3 over 60 simulated sets of corners.

    Chance alone spreads an RMS of 60 (3 points nearly alike) by 9 %.
    """
    ratio = claims(view, gauge, sigma_px, 60, 0.02)
    rms = np.sqrt(np.mean(ratio**2, axis=(0, 2)))
    assert (rms > 0.7).all(), rms
    assert (rms < 1.3).all(), rms


@pytest.mark.parametrize("seed", range(6))
def test_more_steps_would_not_change_the_answer(seed, gauge):
    """A lens 1.5 sigma off its prior: the solve must end at its least squares, not on the way.

    A tenth of the stated standard uncertainty of distance, focal length, centre and distortion.
    """
    rng = np.random.default_rng(seed)
    true = VIEWS[0].parameters.copy()
    true[6:10] += 1.5 * rng.choice([-1.0, 1.0], 4) * [0.02, 24.0, 24.0, 0.01]
    marks, prior = seen(View(true), gauge, 0.02, rng), prior_of(VIEWS[0])
    usual = solve_pose(marks, exact(gauge), prior)
    patient = solve_pose(marks, exact(gauge), prior, PoseTuning(steps=300, converged=1e-15))
    apart = usual.view.parameters[3:] - patient.view.parameters[3:]
    assert np.abs(apart / np.sqrt(np.diag(patient.covariance)[3:])).max() < 0.1


def test_marks_that_fit_worse_than_they_claim_widen_the_covariance(gauge):
    view, rng = VIEWS[0], np.random.default_rng(7)
    honest = seen(view, gauge, 0.05, rng)
    boasting = Marks(
        tuple(replace(m, covariance_px2=np.eye(8) * 0.005**2) for m in honest.measured), (), ()
    )
    told = solve_pose(honest, exact(gauge), prior_of(view), BARE).covariance
    widened = solve_pose(boasting, exact(gauge), prior_of(view), BARE).covariance
    for index in (3, 4, 5):
        assert widened[index, index] > 0.5 * told[index, index]


def test_marks_that_err_three_times_as_far_as_they_claim_leave_the_camera_s_prior_alone(gauge):
    """Seen squarely, a plane tells little of the principal point, known to 24 px beforehand.

    80 solves with marks and camera off at random: their spread, known to 8 %, is the claim's
    to 25 %. Had the prior been taken to err three times as far as well, the claim would be 55 px.
    """
    view, rng = view_at(tilt_deg=0.0, aim_mm=(0.0, 0.0)), np.random.default_rng(7)
    found, claimed = [], []
    for _ in range(80):
        marks = [
            replace(m, covariance_px2=np.eye(8) * 0.05**2)
            for m in seen(view, gauge, 0.15, rng).measured
        ]
        x, y = rng.normal(view.principal_point_px, 24.0)
        focal_px = view.focal_px * np.exp(rng.normal(0.0, 0.02))
        k1 = view.k1 + rng.normal(0.0, 0.01)
        prior = replace(prior_of(view), focal_px=focal_px, principal_point_px=(x, y), k1=k1)
        pose = solve_pose(Marks(tuple(marks), (), ()), exact(gauge), prior, BARE)
        found.append(pose.view.parameters[7:10])
        claimed.append(np.diag(pose.covariance)[7:10])
    claim = np.sqrt(np.mean(claimed, axis=0))
    np.testing.assert_allclose(claim, np.std(found, axis=0), rtol=0.25)
    assert claim[:2].max() < 45.0


# ---------------------------------------------------------------- what several photos share


#: Small changes are compared: no step is too small to take.
TO_THE_END = PoseTuning(converged=1e-13)


def params_apart(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Between two solutions of nearly the same view, in units that compare: (11,).

    Turned by nearly half a turn, one view may be written as v or as v less a whole turn.
    """
    angle = float(np.linalg.norm(a[:3]))
    if np.dot(a[:3], b[:3]) < 0.0 and angle > np.pi / 2.0:
        a = np.concatenate([a[:3] * (1.0 - 2.0 * np.pi / angle), a[3:]])
    return (a - b) / np.array([1e-4] * 3 + [1e-2] * 3 + [1e-4, 0.1, 0.1, 1e-4, 1e-3])


@pytest.mark.parametrize(("mark_id", "axis"), [(100, 0), (104, 1), (106, 0)])
def test_a_mark_s_pull_is_what_a_solve_with_the_mark_moved_gives(mark_id, axis, gauge):
    """The mark printed 0.01 mm off its drawing, photographed there, solved as if it were not."""
    view = VIEWS[1]
    marks = seen(view, gauge, 0.0, np.random.default_rng(0))
    plain = solve_pose(marks, gauge, prior_of(view), TO_THE_END)
    moved = gauge.marks.corners_mm(mark_id)
    moved[:, axis] += gauge.marks.position_uncertainty_mm
    off = tuple(
        replace(m, corners_px=view.project(moved)) if m.mark_id == mark_id else m
        for m in marks.measured
    )
    pulled = solve_pose(replace(marks, measured=off), gauge, prior_of(view), TO_THE_END)
    column = 2 * sorted(gauge.marks.centres_mm).index(mark_id) + axis
    pull = shared_pulls(plain, marks, gauge, prior_of(view)).marks[:, column]
    found = params_apart(pulled.view.parameters, plain.view.parameters)
    expected = params_apart(pull, np.zeros(11))
    assert np.abs(expected).max() > 0.5
    # second order and the solver's own end
    np.testing.assert_allclose(found, expected, rtol=0, atol=0.03 * np.abs(expected).max())


@pytest.mark.parametrize("which", ["focal_px", "k1"])
def test_a_prior_s_pull_is_what_a_solve_with_it_off_gives(which, gauge):
    view = VIEWS[0]
    marks = seen(view, gauge, 0.0, np.random.default_rng(0))
    prior = prior_of(view, 0.004)
    off = {
        "focal_px": view.focal_px * np.exp(prior.focal_relative_uncertainty),
        "k1": view.k1 + prior.k1_uncertainty,
    }
    plain = solve_pose(marks, gauge, prior, TO_THE_END)
    pulled = solve_pose(marks, gauge, replace(prior, **{which: off[which]}), TO_THE_END)
    pull = shared_pulls(plain, marks, gauge, prior).camera[:, {"focal_px": 0, "k1": 3}[which]]
    found = params_apart(pulled.view.parameters, plain.view.parameters)
    expected = params_apart(pull, np.zeros(11))
    assert np.abs(expected).max() > 0.5
    np.testing.assert_allclose(found, expected, rtol=0, atol=0.03 * np.abs(expected).max())


def test_what_is_shared_is_part_of_the_whole(gauge):
    """What is left of the covariance has no negative variance beyond rounding."""
    view = VIEWS[1]
    marks = seen(view, gauge, 0.05, np.random.default_rng(3))
    pose = solve_pose(marks, gauge, prior_of(view), TO_THE_END)
    pulls = shared_pulls(pose, marks, gauge, prior_of(view))
    both = np.column_stack([pulls.marks, pulls.camera])
    scale = np.sqrt(np.diag(pose.covariance))
    left = (pose.covariance - both @ both.T) / np.outer(scale, scale)
    assert np.linalg.eigvalsh(left).min() > -0.02
    assert np.trace(left) < 10.0
