"""Where the camera was: one least-squares solve over all marks, with its covariance.

Unknown are the view's eleven parameters. Focal length, principal point and distortion
carry what is known of the camera before the photo as prior observations, so that the
picture moves them only as far as it can tell them. Marks weigh in by the covariance of
their corners and of their calibrated positions, which is shared by a mark's four corners.

A planar target seen from far has two poses that fit; both are solved and the rival kept.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from rigvision.ground.conventions import (
    FULL_FRAME_DIAGONAL_MM,
    FloatArray,
    rotation_from_vector,
)
from rigvision.ground.errors import Unmeasurable
from rigvision.photo.picture import Picture
from rigvision.vision.edge_spread import StepPixels
from rigvision.vision.focus import Focus, find_focus
from rigvision.vision.marks import Mark, Marks
from rigvision.vision.view import DERIVATIVE_STEPS, View, project_many
from rigvision.world.camera import Camera
from rigvision.world.gauge import Gauge


@dataclass(frozen=True, slots=True)
class PoseTuning:
    """Every free choice of the solve."""

    corner_floor_px: float = 0.03  # what fitted borders may err beyond their own statistics
    border_shift_prior_px: float = 0.6  # phones' tone curves and sharpening, path-traced pictures
    # How far a mark's own border shift may be from the common one: light and focus differ from
    # mark to mark, and with them what tone curve and sharpening do (path-traced pictures).
    own_shift_px: float = 0.05
    min_marks: int = 4
    # A mark is refused where it lies this far from where all the others put it: in pixels,
    # and in RMS residuals of those others.
    refuse_px: float = 0.6
    refuse_ratio: float = 6.0
    suspicious_px: float = 0.12  # RMS of all; below, no mark is far enough out to look for
    worst_residual_px: float = 1.0  # all marks together; beyond, the drawing does not fit
    steps: int = 60
    converged: float = 1e-5  # relative gain of a step that is worth no more
    rival_steps: int = 10  # enough to tell how badly the mirrored pose fits


@dataclass(frozen=True, slots=True)
class CameraPrior:
    """What is known of the camera before the photo: values and standard uncertainties."""

    focal_px: float
    focal_relative_uncertainty: float
    principal_point_px: tuple[float, float]
    principal_point_uncertainty_px: float
    k1: float
    k1_uncertainty: float
    focal_known: bool = True


@dataclass(frozen=True, slots=True)
class Pose:
    """The solved view, how well it is known, and on which marks it stands."""

    view: View
    covariance: FloatArray  # (11, 11), order of ``view.PARAMETERS``
    used: tuple[int, ...]
    refused: tuple[int, ...]
    residual_px: float  # RMS over the corner coordinates used
    rival_ratio: float  # RMS of the other planar pose over this one's; inf where there is none
    blur_px: float  # sigma of the marks' borders
    borders: tuple[StepPixels, ...]  # pixels of the marks' sides
    focus: Focus
    #: The part (11, 11) of ``covariance`` that the marks' calibrated positions alone cause.
    from_positions: FloatArray | None = None


@dataclass(frozen=True, slots=True)
class SharedPulls:
    """How far one standard uncertainty of what several photos share moves a solved view.

    Photos of one gauge by one phone err alike in these; only what is left of the view's
    covariance is a photo's own.
    """

    marks: FloatArray  # (11, 2 M): x, then y of each mark's true place, ids of the gauge rising
    camera: FloatArray  # (11, 4): the prior's focal length, principal point x and y, distortion


def camera_prior(camera: Camera, picture: Picture) -> CameraPrior:
    """Prior from the camera's file and, for a camera without calibration, the photo's EXIF."""
    width_px, height_px = picture.width_px, picture.height_px
    focal_px = picture.exif.focal_px(width_px, height_px)
    diagonal_px = float(np.hypot(width_px, height_px))
    focal = camera.focal
    if focal.calibrated_px_per_diagonal is not None:
        value = focal.calibrated_px_per_diagonal * diagonal_px
        relative = focal.calibrated_relative_uncertainty or focal.exif_relative_uncertainty
    elif focal_px is not None:
        value, relative = focal_px, focal.exif_relative_uncertainty
    else:
        value = focal.default_35mm * diagonal_px / FULL_FRAME_DIAGONAL_MM
        relative = focal.default_relative_uncertainty
    longer_px = max(width_px, height_px)
    offset = camera.principal_point.offset_px_per_width
    return CameraPrior(
        value,
        relative,
        ((width_px - 1) / 2 + offset[0] * longer_px, (height_px - 1) / 2 + offset[1] * longer_px),
        camera.principal_point.uncertainty_per_width * longer_px,
        camera.distortion.k1,
        camera.distortion.k1_uncertainty,
        focal_known=focal_px is not None or focal.calibrated_px_per_diagonal is not None,
    )


def solve_pose(
    marks: Marks, gauge: Gauge, prior: CameraPrior, tuning: PoseTuning | None = None
) -> Pose:
    """Solve the view from the gauge's plate marks.

    Raises Unmeasurable: ``too-few-marks``, ``marks-disagree``.
    """
    tuning = tuning or PoseTuning()
    plate = [m for m in marks.measured if m.mark_id in gauge.marks.centres_mm]
    _enough(plate, gauge, tuning)
    refused: list[int] = []
    while True:
        problem = _Problem(plate, gauge, prior, tuning)
        parameters, rival = problem.solve_both()
        outlier = problem.odd_mark_out(parameters)
        if outlier is None:
            break
        refused.append(outlier)
        plate = [m for m in plate if m.mark_id != outlier]
        if len(plate) < tuning.min_marks:
            raise Unmeasurable("marks-disagree", residual_px=problem.residual_px(parameters))
    residual_px = problem.residual_px(parameters)
    if residual_px > tuning.worst_residual_px:
        raise Unmeasurable("marks-disagree", residual_px=residual_px)
    view = View(parameters)
    blur_px = np.array([m.blur_px for m in plate])
    return Pose(
        view,
        problem.covariance(parameters),
        tuple(sorted(m.mark_id for m in plate)),
        tuple(sorted(refused)),
        residual_px,
        problem.rival_ratio(parameters, rival),
        float(np.median(blur_px)),
        marks.borders,
        find_focus(view, _centres_mm(plate, gauge), blur_px),
        problem.from_positions(parameters),
    )


def _centres_mm(plate: list[Mark], gauge: Gauge) -> FloatArray:
    """Centres (M, 3) of marks on the plate's front face."""
    centres = [gauge.marks.centres_mm[m.mark_id] for m in plate]
    return np.column_stack([np.asarray(centres), np.zeros(len(plate))])


def shared_pulls(
    pose: Pose, marks: Marks, gauge: Gauge, prior: CameraPrior, tuning: PoseTuning | None = None
) -> SharedPulls:
    """Pulls on a view that ``solve_pose`` found. Marks that it did not use pull nothing."""
    plate = [m for m in marks.measured if m.mark_id in pose.used]
    problem = _Problem(plate, gauge, prior, tuning or PoseTuning())
    return problem.shared_pulls(pose.view.parameters)


def _enough(plate: list[Mark], gauge: Gauge, tuning: PoseTuning) -> None:
    if len(plate) >= tuning.min_marks:
        return
    seen = {m.mark_id for m in plate}
    missing = ", ".join(str(i) for i in sorted(gauge.marks.centres_mm) if i not in seen)
    raise Unmeasurable(
        "too-few-marks",
        found=len(plate),
        total=len(gauge.marks.centres_mm),
        needed=tuning.min_marks,
        missing=missing,
    )


class _Problem:
    """Residuals of the marks and priors as a function of the view's parameters."""

    def __init__(
        self, plate: list[Mark], gauge: Gauge, prior: CameraPrior, tuning: PoseTuning
    ) -> None:
        self._tuning, self._prior = tuning, prior
        self._plate, self._gauge = plate, gauge
        self._ids = [m.mark_id for m in plate]
        self._points_mm = np.concatenate([gauge.marks.corners_mm(i) for i in self._ids])
        self._observed_px = np.concatenate([m.corners_px for m in plate])
        self._outward = np.concatenate([outward_shift(m.corners_px) for m in plate])
        px_per_mm = [
            float(np.linalg.norm(m.corners_px[0] - m.corners_px[2]))
            / (gauge.marks.size_mm * np.sqrt(2.0))
            for m in plate
        ]
        self._position_px = np.array(px_per_mm) * gauge.marks.position_uncertainty_mm
        self._whiten = np.stack(
            [_whitening(m, px, tuning) for m, px in zip(plate, self._position_px, strict=True)]
        )

    def solve_both(self) -> tuple[FloatArray, FloatArray]:
        """The better and the other planar solution, both refined."""
        first = self._refine(self._start())
        mirrored = self._refine(_other_planar(first), self._tuning.rival_steps)
        pair = sorted((first, mirrored), key=lambda p: float(np.sum(self._residuals(p) ** 2)))
        return pair[0], pair[1]

    def rival_ratio(self, best: FloatArray, rival: FloatArray) -> float:
        """How much worse the other pose fits; inf where it is the same pose or impossible.

        A rival that slid most of the way from the mirrored pose to the best is no rival.
        """
        apart, mirrored = _angle(rival, best), _angle(_other_planar(best), best)
        if apart < 0.5 * mirrored or View(rival).camera_centre_mm[2] <= 0.0 or rival[5] <= 0.0:
            return float("inf")
        costs = [float(np.sum(self._residuals(p) ** 2)) for p in (rival, best)]
        return float(np.sqrt(costs[0] / max(costs[1], 1e-12)))

    def residual_px(self, parameters: FloatArray) -> float:
        return float(np.sqrt(np.mean(self._misfit_px(parameters) ** 2)))

    def odd_mark_out(self, parameters: FloatArray) -> int | None:
        """The mark that lies furthest from where the others put it, if beyond chance.

        Each is left out in turn: a mark far out pulls the common solution towards itself,
        and would hide in it.
        """
        marks = len(self._ids)
        if marks <= self._tuning.min_marks:
            return None
        if self.residual_px(parameters) < self._tuning.suspicious_px:
            return None
        apart_px, ratio = np.zeros(marks), np.zeros(marks)
        for index in range(marks):
            others = self._without(index)
            misfit = self._misfit_px(others._refine(parameters)).reshape(-1, 8)
            rms = np.sqrt(np.mean(misfit**2, axis=1))
            apart_px[index] = rms[index]
            rest = np.sqrt(np.mean(np.delete(rms, index) ** 2))
            ratio[index] = rms[index] / max(float(rest), self._tuning.corner_floor_px)
        worst = int(np.argmax(ratio))
        beyond = ratio[worst] > self._tuning.refuse_ratio
        return self._ids[worst] if beyond and apart_px[worst] > self._tuning.refuse_px else None

    def _without(self, index: int) -> _Problem:
        plate = [m for k, m in enumerate(self._plate) if k != index]
        return _Problem(plate, self._gauge, self._prior, self._tuning)

    def covariance(self, parameters: FloatArray) -> FloatArray:
        """Covariance (11, 11). Where the marks fit worse than they claim, they are taken to err

        by as much more; what was known of the camera beforehand errs no more for that.
        """
        jacobian = self._jacobian(parameters)
        residuals = self._residuals(parameters)
        # Priors add as many observations as they constrain parameters.
        freedom = max(len(residuals) - len(parameters), 1)
        widen = max(1.0, float(np.sum(residuals**2)) / freedom)
        inverse = np.linalg.inv(jacobian.T @ jacobian)
        by_marks = jacobian[: 8 * len(self._ids)] @ inverse
        return np.asarray(inverse + (widen - 1.0) * by_marks.T @ by_marks)

    def shared_pulls(self, parameters: FloatArray) -> SharedPulls:
        """A small change d of the residuals moves the solution by -(J' J)^-1 J' d."""
        jacobian = self._jacobian(parameters)
        gain = -np.linalg.solve(jacobian.T @ jacobian, jacobian.T)  # (11, R)
        order = sorted(self._gauge.marks.centres_mm)
        u_mm = self._gauge.marks.position_uncertainty_mm
        by_place = np.stack([self._moved_px(parameters, axis * u_mm) for axis in np.eye(3)[:2]], -1)
        marks = np.zeros((len(parameters), 2 * len(order)))
        for k, mark_id in enumerate(self._ids):
            at, rows = 2 * order.index(mark_id), slice(8 * k, 8 * k + 8)
            marks[:, at : at + 2] = gain[:, rows] @ self._whiten[k] @ by_place[rows]
        # A prior that is one sigma too high lowers its residual by one.
        beliefs = gain.shape[1] - 5
        return SharedPulls(marks, np.asarray(-gain[:, beliefs : beliefs + 4]))

    def _moved_px(self, parameters: FloatArray, by_mm: FloatArray) -> FloatArray:
        """By how much all corners (8 M,) move when their marks do (3,)."""
        view = View(parameters)
        moved = view.project(self._points_mm + by_mm) - view.project(self._points_mm - by_mm)
        return np.asarray(moved.ravel() / 2.0)

    def from_positions(self, parameters: FloatArray) -> FloatArray:
        """Covariance (11, 11) of the solution where nothing errs but the marks' positions.

        A mark off its calibrated place by its standard uncertainty shifts its four corners
        alike; the solve answers with its gain. Those answers add up over marks and axes.
        """
        jacobian = self._jacobian(parameters)
        alike = np.tile(np.eye(2), (4, 1))  # (8, 2)
        shifts = self._whiten @ (alike * self._position_px[:, None, None])  # (M, 8, 2)
        marks = jacobian[: 8 * len(shifts)].reshape(len(shifts), 8, -1)
        pulled = (np.swapaxes(marks, 1, 2) @ shifts).transpose(1, 0, 2).reshape(len(parameters), -1)
        answers = np.linalg.solve(jacobian.T @ jacobian, pulled)
        return np.asarray(answers @ answers.T)

    def _start(self) -> FloatArray:
        """First guess from the plane's homography with the prior focal length."""
        prior = self._prior
        ideal = (self._observed_px - prior.principal_point_px) / prior.focal_px
        homography, _ = cv2.findHomography(self._points_mm[:, :2], ideal, 0)
        if homography is None:
            raise Unmeasurable("marks-disagree", residual_px=float("inf"))
        h = np.asarray(homography, dtype=np.float64)
        h = h / np.sqrt(np.linalg.norm(h[:, 0]) * np.linalg.norm(h[:, 1]))
        h = h if h[2, 2] > 0 else -h  # in front of the camera
        u, _, vt = np.linalg.svd(np.column_stack([h[:, :2], np.cross(h[:, 0], h[:, 1])]))
        rotation = u @ np.diag([1.0, 1.0, np.linalg.det(u @ vt)]) @ vt
        vector = np.asarray(cv2.Rodrigues(rotation)[0], dtype=np.float64).reshape(3)
        inner = [np.log(prior.focal_px), *prior.principal_point_px, prior.k1, 0.0]
        return np.concatenate([vector, h[:, 2], inner])

    def _refine(self, parameters: FloatArray, steps: int | None = None) -> FloatArray:
        """Levenberg-Marquardt on the whitened residuals."""
        damping, residuals = 1e-3, self._residuals(parameters)
        cost = float(np.sum(residuals**2))
        for _ in range(steps or self._tuning.steps):
            jacobian = self._jacobian(parameters)
            normal, gradient = jacobian.T @ jacobian, jacobian.T @ residuals
            step = np.linalg.solve(normal + damping * np.diag(np.diag(normal)), -gradient)
            candidate = parameters + step
            new_residuals = self._residuals(candidate)
            new_cost = float(np.sum(new_residuals**2))
            if not new_cost < cost:
                damping *= 10.0
                continue
            gain, parameters, residuals = cost - new_cost, candidate, new_residuals
            cost, damping = new_cost, damping / 10.0
            if gain < self._tuning.converged * cost + 1e-12:
                break
        return parameters

    def _misfit_px(self, parameters: FloatArray) -> FloatArray:
        """Observed minus predicted corners (N, 2)."""
        return np.asarray(self._misfits_px(parameters[None, :])[0])

    def _misfits_px(self, parameters: FloatArray) -> FloatArray:
        """Observed minus predicted corners (B, N, 2) for B parameter vectors (B, 11)."""
        predicted = project_many(parameters, self._points_mm)
        shifted = predicted + parameters[:, None, 10:11] * self._outward
        return np.asarray(self._observed_px - shifted)

    def _residuals(self, parameters: FloatArray) -> FloatArray:
        return np.asarray(self._residuals_many(parameters[None, :])[0])

    def _residuals_many(self, parameters: FloatArray) -> FloatArray:
        """Whitened residuals (B, R) of marks and priors for B parameter vectors (B, 11)."""
        count = len(parameters)
        misfit = self._misfits_px(parameters).reshape(count, -1, 8)
        marks = (self._whiten @ misfit[..., None]).reshape(count, -1)
        prior = self._prior
        believed = [np.log(prior.focal_px), *prior.principal_point_px, prior.k1, 0.0]
        sigma = [
            prior.focal_relative_uncertainty,
            prior.principal_point_uncertainty_px,
            prior.principal_point_uncertainty_px,
            prior.k1_uncertainty,
            self._tuning.border_shift_prior_px,
        ]
        beliefs = (parameters[:, 6:11] - np.array(believed)) / np.array(sigma)
        return np.concatenate([marks, beliefs], axis=1)

    def _jacobian(self, parameters: FloatArray) -> FloatArray:
        """Central differences, all in one evaluation."""
        shifts = np.diag(DERIVATIVE_STEPS)
        residuals = self._residuals_many(np.concatenate([parameters + shifts, parameters - shifts]))
        up, down = residuals[: len(shifts)], residuals[len(shifts) :]
        return np.asarray((up - down).T / (2.0 * DERIVATIVE_STEPS))


def outward_shift(corners_px: FloatArray) -> FloatArray:
    """Displacement (4, 2) of a mark's corners when its four borders move out by one pixel."""
    along = np.roll(corners_px, -1, axis=0) - corners_px
    along = along / np.linalg.norm(along, axis=1, keepdims=True)
    normal = np.column_stack([along[:, 1], -along[:, 0]])
    pairs = np.stack([np.roll(normal, 1, axis=0), normal], axis=1)  # sides that meet at a corner
    return np.linalg.solve(pairs, np.ones((4, 2, 1)))[:, :, 0]


def corrected_corners(mark: Mark, view: View) -> FloatArray:
    """A mark's corners (4, 2) px with the common border shift taken off."""
    return mark.corners_px - view.border_shift_px * outward_shift(mark.corners_px)


def _whitening(mark: Mark, position_px: float, tuning: PoseTuning) -> FloatArray:
    """Inverse Cholesky factor (8, 8) of a mark's corner covariance."""
    covariance = mark.covariance_px2 + np.eye(8) * tuning.corner_floor_px**2
    shared = np.kron(np.ones((4, 4)), np.eye(2)) * position_px**2
    outward = outward_shift(mark.corners_px).ravel()
    shared += np.outer(outward, outward) * tuning.own_shift_px**2
    return np.asarray(np.linalg.inv(np.linalg.cholesky(covariance + shared)))


def _other_planar(parameters: FloatArray) -> FloatArray:
    """The mirrored pose: the plate's normal reflected about the line of sight to its middle."""
    rotation, sight = rotation_from_vector(parameters[:3]), parameters[3:6]
    half_turn_about_sight = rotation_from_vector(sight / np.linalg.norm(sight) * np.pi)
    half_turn_in_plane = np.diag([-1.0, -1.0, 1.0])
    mirrored = half_turn_about_sight @ rotation @ half_turn_in_plane
    vector = np.asarray(cv2.Rodrigues(mirrored)[0], dtype=np.float64).reshape(3)
    return np.concatenate([vector, parameters[3:]])


def _angle(a: FloatArray, b: FloatArray) -> float:
    """Angle in radians between two poses' rotations."""
    turn = rotation_from_vector(a[:3]).T @ rotation_from_vector(b[:3])
    return float(np.arccos(np.clip((np.trace(turn) - 1.0) / 2.0, -1.0, 1.0)))
