"""The least-squares problem of one view: marks and what was known of the camera, as residuals.

Marks weigh in by the covariance of their sides and of their calibrated positions, which is
shared by a mark's four corners. A hidden side has no rows. How large the yoke's tag looks is one
observation more.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import cv2
import numpy as np
import numpy.typing as npt

from rigvision.ground.conventions import FloatArray, rotations_from_vectors
from rigvision.ground.errors import Unmeasurable
from rigvision.vision.camera_prior import CameraPrior
from rigvision.vision.mark_measures import mark_measures
from rigvision.vision.marks import Mark
from rigvision.vision.outward import outward_shift
from rigvision.vision.planar_poses import angle_between, other_planar
from rigvision.vision.pose_tuning import PoseTuning
from rigvision.vision.tag_size import TagSize
from rigvision.vision.view import DERIVATIVE_STEPS, View, project_many
from rigvision.world.gauge import Gauge

#: Prior observations: focal length, principal point (2), distortion, border shift.
PRIORS = 5


@dataclass(frozen=True, slots=True)
class SharedPulls:
    """How far one standard uncertainty of what several photos share moves a solved view.

    Photos of one gauge by one phone err alike in these; only what is left of the view's
    covariance is a photo's own.
    """

    marks: FloatArray  # (11, 2 M): x, then y of each mark's true place, ids of the gauge rising
    camera: FloatArray  # (11, 4): the prior's focal length, principal point x and y, distortion


@dataclass(frozen=True, slots=True)
class Apart:
    """Marks (M,) about where others put them, for one solution or for many (B, M)."""

    chi2: FloatArray
    #: By how much it falls where the mark moved as a whole, or one of its sides was misread.
    gains: FloatArray  # (..., M, 5)
    scatter: FloatArray  # chi-squared per degree of freedom of those others, at least 1

    @property
    def beyond_chance(self) -> FloatArray:
        """What explains a mark best, where the others' scatter is taken for what marks scatter."""
        return np.asarray(self.gains.max(axis=-1) / self.scatter)


class ViewProblem:
    """Residuals of the marks and priors as a function of the view's parameters."""

    def __init__(
        self,
        plate: list[Mark],
        gauge: Gauge,
        prior: CameraPrior,
        tuning: PoseTuning,
        size: TagSize | None = None,
    ) -> None:
        self.tuning, self._prior, self._size = tuning, prior, size
        #: Observations beside the marks: what was known beforehand, and the yoke's tag.
        self._beside = PRIORS + (size is not None)
        self._plate, self._gauge = plate, gauge
        self._last: tuple[FloatArray, FloatArray] | None = None
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
        #: Coordinates known of each mark (M,): two for each side.
        self.coordinates = np.array([2 * sum(m.sides) for m in plate])
        measures = [
            mark_measures(m, px, tuning) for m, px in zip(plate, self._position_px, strict=True)
        ]
        self._across, self._whiten, self._ways = (np.stack(m) for m in zip(*measures, strict=True))

    def solve(self) -> FloatArray:
        """The solution from the prior focal length, or the best from several where that is wide."""
        focal_px = self._prior.focal_px
        if self._prior.focal_relative_uncertainty < self.tuning.one_start:
            return self._refine(self._start(focal_px))
        if self._prior.principal_point_uncertainty_px > self.tuning.any_centre * focal_px:
            return self._refine(min(self._held_solutions(), key=self.chi2))
        roughly = [
            self._refine(self._start(focal_px * part), self.tuning.rival_steps)
            for part in self.tuning.starts
        ]
        return self._refine(min(roughly, key=self.chi2))

    def _held_solutions(self) -> Iterator[FloatArray]:
        """The best for each of several focal lengths, from short to long."""
        found = None
        for part in self.tuning.held_starts:
            focal_px = self._prior.focal_px * part
            prior = replace(
                self._prior, focal_px=focal_px, focal_relative_uncertainty=self.tuning.held
            )
            problem = ViewProblem(self._plate, self._gauge, prior, self.tuning, self._size)
            start = problem._start(focal_px)
            if found is not None:
                further = self._lengthened(found, focal_px)
                start = min(start, further, key=problem.chi2)
            found = problem._refine(start, self.tuning.rival_steps)
            yield found

    @staticmethod
    def _lengthened(parameters: FloatArray, focal_px: float) -> FloatArray:
        """The same view from as much further as another focal length is longer."""
        longer = parameters.copy()
        longer[3:6] *= focal_px / np.exp(parameters[6])
        longer[6] = np.log(focal_px)
        return longer

    def solve_both(self) -> tuple[FloatArray, FloatArray]:
        """The better and the other planar solution, both refined."""
        first = self.solve()
        mirrored = self._refine(other_planar(first), self.tuning.rival_steps)
        pair = sorted((first, mirrored), key=lambda p: float(np.sum(self._residuals(p) ** 2)))
        return pair[0], pair[1]

    def rival_ratio(self, best: FloatArray, rival: FloatArray) -> float:
        """How much worse the other pose fits; inf where it is the same pose or impossible.

        A rival that slid most of the way from the mirrored pose to the best is no rival.
        """
        apart, mirrored = angle_between(rival, best), angle_between(other_planar(best), best)
        if apart < 0.5 * mirrored or View(rival).camera_centre_mm[2] <= 0.0 or rival[5] <= 0.0:
            return float("inf")
        costs = [float(np.sum(self._residuals(p) ** 2)) for p in (rival, best)]
        return float(np.sqrt(costs[0] / max(costs[1], 1e-12)))

    def residual_px(self, parameters: FloatArray) -> float:
        """RMS over the known sides' ends, each across its side."""
        misfit = self._misfit_px(parameters).reshape(-1, 8, 1)
        square = float(np.sum((self._across @ misfit) ** 2))
        return float(np.sqrt(square / self.coordinates.sum()))

    def covariance(self, parameters: FloatArray) -> FloatArray:
        """Covariance (11, 11). Where the marks fit worse than they claim, they are taken to err

        by as much more; what was known of the camera beforehand errs no more for that. As far as
        they leave the focal length to what the file says, it may be off by what files are.
        """
        jacobian = self._jacobian(parameters)
        # Priors add as many observations as they constrain parameters.
        widen = self.scatter(parameters)
        inverse = np.linalg.inv(jacobian.T @ jacobian)
        by_marks = jacobian[: 8 * len(self._ids)] @ inverse
        by_focal = inverse[:, 6] * self._unconfirmed(parameters, float(inverse[6, 6]))
        by_focal /= self._prior.focal_relative_uncertainty**2
        return np.asarray(
            inverse + (widen - 1.0) * by_marks.T @ by_marks + np.outer(by_focal, by_focal)
        )

    def _unconfirmed(self, parameters: FloatArray, solved: float) -> float:
        """By how much the focal length believed may be off, relative standard uncertainty: what

        files are, and as far as the picture alone would have it elsewhere, beyond its own doubt.
        ``solved`` is the variance of the focal length as solved.
        """
        usual = self._prior.focal_unconfirmed
        if usual == 0.0:
            return 0.0
        believed = self._prior.focal_relative_uncertainty**-2
        alone = 1.0 / max(1.0 / solved - believed, self.tuning.told * believed)
        away = (parameters[6] - np.log(self._prior.focal_px)) * believed * alone
        doubt = self.tuning.own_doubt**2 * alone / max(away**2, 1e-12)
        return float(np.hypot(usual, away * max(0.0, 1.0 - doubt)))

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
        beliefs = 8 * len(self._ids)
        camera = -gain[:, beliefs : beliefs + 4]
        believed = self._prior.focal_relative_uncertainty
        variance = float(np.linalg.inv(jacobian.T @ jacobian)[6, 6])
        unconfirmed = self._unconfirmed(parameters, variance)
        camera[:, 0] *= np.hypot(1.0, unconfirmed / believed)
        return SharedPulls(marks, np.asarray(camera))

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

    def chi2(self, parameters: FloatArray) -> float:
        """Sum of the squares of all residuals."""
        return float(np.sum(self._residuals(parameters) ** 2))

    def scatter(self, parameters: FloatArray) -> float:
        """Chi-squared per degree of freedom, at least 1: more where marks err more than claimed."""
        freedom = max(int(self.coordinates.sum()) + self._beside - len(parameters), 1)
        return max(1.0, self.chi2(parameters) / freedom)

    def size_misfit(self, parameters: FloatArray) -> float:
        """Of the yoke's tag, standard deviations; 0 where there is none."""
        return float(self._residuals(parameters)[-1]) if self._size else 0.0

    def tension(self, parameters: FloatArray) -> float:
        """By how much chi-squared would fall were nothing known of the camera beforehand, where

        marks that scatter more than they claim are believed less: about chi-squared of as many
        degrees of freedom as the picture tells, four at most.
        """
        jacobian = self._jacobian(parameters)
        sigma = self._beliefs()[1][:4]
        solved = np.linalg.inv(jacobian.T @ jacobian)[6:10, 6:10] / np.outer(sigma, sigma)
        off = (parameters[6:10] - self._beliefs()[0][:4]) / sigma
        # Of what the picture does not tell at all it pulls nothing, either.
        told, ways = np.linalg.eigh(np.eye(4) - solved)
        kept = told > self.tuning.told
        return float(np.sum((ways.T @ off)[kept] ** 2 / told[kept])) / self.scatter(parameters)

    # Which marks agree

    def apart(self, parameters: FloatArray) -> Apart:
        """Each mark about where all the others put it, given the solution (11,) by all of them.

        Exact for small changes: a mark left out of a least-squares solution lies (1 - H)^-1 of its
        residual away, and (1 - H)^-1 is the covariance of that.
        """
        jacobian, residuals = self._jacobian(parameters), self._residuals(parameters)
        inverse = np.linalg.inv(jacobian.T @ jacobian)
        rows, rest = self._by_mark(jacobian), self._by_mark(residuals)
        allowed = np.asarray(np.linalg.inv(np.eye(8) - rows @ inverse @ np.swapaxes(rows, 1, 2)))
        chi2, gains = self._explained(allowed, allowed @ rest[..., None])
        others = int(self.coordinates.sum()) - self.coordinates + self._beside - len(parameters)
        scatter = (float(residuals @ residuals) - chi2) / np.maximum(others, 1)
        return Apart(chi2, gains, np.maximum(scatter, 1.0))

    def solved_with(
        self, chosen: npt.NDArray[np.bool_], start: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Solutions (B, 11) and their chi-squared (B,) by some of the marks (B, M) alone."""
        kept = self._rows_of(chosen)
        found = np.repeat(start[None, :], len(chosen), axis=0)
        residuals = self._residuals_many(found) * kept
        chi2, damping = np.sum(residuals**2, axis=1), np.full(len(chosen), 1e-4)
        for _ in range(self.tuning.subset_steps):
            jacobian = self._jacobians(found) * kept[..., None]
            transposed = np.swapaxes(jacobian, 1, 2)
            normal = transposed @ jacobian
            normal = normal * (1.0 + damping[:, None, None] * np.eye(normal.shape[-1]))
            step = np.linalg.solve(normal, transposed @ residuals[..., None])[..., 0]
            tried = self._residuals_many(found - step) * kept
            now = np.sum(tried**2, axis=1)
            better = now < chi2
            found = np.where(better[:, None], found - step, found)
            residuals = np.where(better[:, None], tried, residuals)
            chi2 = np.where(better, now, chi2)
            damping = np.where(better, damping / 10.0, damping * 100.0)
        return found, chi2

    def apart_from(
        self, chosen: npt.NDArray[np.bool_], solved: FloatArray, chi2: FloatArray
    ) -> Apart:
        """Every mark about where the chosen (B, M) put it, by their solutions (B, 11) and

        chi-squared (B,); for marks that are not chosen themselves.
        """
        jacobian, residuals = self._jacobians(solved), self._residuals_many(solved)
        mine = jacobian * self._rows_of(chosen)[..., None]
        inverse = np.linalg.inv(np.swapaxes(mine, 1, 2) @ mine)
        count, marks = len(solved), len(self._ids)
        rows = jacobian[:, : 8 * marks].reshape(count, marks, 8, -1)
        rest = residuals[:, : 8 * marks].reshape(count, marks, 8, 1)
        allowed = np.eye(8) + rows @ inverse[:, None] @ np.swapaxes(rows, 2, 3)
        freedom = chosen @ self.coordinates + self._beside - solved.shape[1]
        scatter = np.maximum(chi2 / np.maximum(freedom, 1), 1.0)
        return Apart(*self._explained(allowed, rest), np.repeat(scatter[:, None], marks, axis=1))

    def _explained(self, allowed: FloatArray, rest: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Chi-squared (..., M) of residuals (..., M, 8, 1) of that covariance, and by how much it

        falls (..., M, 5) where the mark moved as a whole, or one of its sides was misread.
        """
        weighed = np.linalg.solve(allowed, rest)
        chi2 = np.sum(rest * weighed, axis=(-2, -1))
        gains = []
        for k in range(5):
            way = self._ways[:, :, 2 * k : 2 * k + 2]  # (M, 8, 2)
            turned = np.swapaxes(way, 1, 2)
            pull = turned @ weighed
            normal = turned @ np.linalg.solve(allowed, np.broadcast_to(way, (*rest.shape[:-1], 2)))
            # A hidden side explains nothing.
            normal = normal + np.eye(2) * 1e-12
            gains.append(np.sum(pull * np.linalg.solve(normal, pull), axis=(-2, -1)))
        return chi2, np.stack(gains, axis=-1)

    def _rows_of(self, chosen: npt.NDArray[np.bool_]) -> FloatArray:
        """1 for residuals (B, R) of the marks chosen (B, M) and of the priors, 0 for the others."""
        marks = 8 * len(self._ids)
        rows = np.ones((len(chosen), marks + self._beside))
        rows[:, :marks] = np.repeat(chosen, 8, axis=1)
        return rows

    def _by_mark(self, rows: FloatArray) -> FloatArray:
        """The marks' rows (M, 8, ...) of residuals or derivatives, the priors' left out."""
        return rows[: 8 * len(self._ids)].reshape(len(self._ids), 8, *rows.shape[1:])

    def _start(self, focal_px: float) -> FloatArray:
        """First guess from the plane's homography with a focal length."""
        prior = self._prior
        ideal = (self._observed_px - prior.principal_point_px) / focal_px
        homography, _ = cv2.findHomography(self._points_mm[:, :2], ideal, 0)
        if homography is None:
            raise Unmeasurable("marks-disagree", residual_px=float("inf"))
        h = np.asarray(homography, dtype=np.float64)
        h = h / np.sqrt(np.linalg.norm(h[:, 0]) * np.linalg.norm(h[:, 1]))
        h = h if h[2, 2] > 0 else -h  # in front of the camera
        u, _, vt = np.linalg.svd(np.column_stack([h[:, :2], np.cross(h[:, 0], h[:, 1])]))
        rotation = u @ np.diag([1.0, 1.0, np.linalg.det(u @ vt)]) @ vt
        vector = np.asarray(cv2.Rodrigues(rotation)[0], dtype=np.float64).reshape(3)
        inner = [np.log(focal_px), *prior.principal_point_px, prior.k1, 0.0]
        return np.concatenate([vector, h[:, 2], inner])

    def _refine(self, parameters: FloatArray, steps: int | None = None) -> FloatArray:
        """Levenberg-Marquardt on the whitened residuals."""
        damping, residuals = 1e-3, self._residuals(parameters)
        cost = float(np.sum(residuals**2))
        for _ in range(steps or self.tuning.steps):
            jacobian = self._jacobian(parameters)
            normal, gradient = jacobian.T @ jacobian, jacobian.T @ residuals
            step = np.linalg.solve(normal + damping * np.diag(np.diag(normal)), -gradient)
            candidate = parameters + step
            new_residuals = self._residuals(candidate)
            new_cost = float(np.sum(new_residuals**2))
            if not new_cost < cost:
                damping *= 10.0
                if damping > self.tuning.stuck:
                    break
                continue
            gain, parameters, residuals = cost - new_cost, candidate, new_residuals
            cost, damping = new_cost, damping / 10.0
            if gain < self.tuning.converged * cost + 1e-12:
                break
        return parameters

    def _misfit_px(self, parameters: FloatArray) -> FloatArray:
        """Observed minus predicted corners (N, 2)."""
        return np.asarray(self._misfits_px(parameters[None, :])[0])

    def _misfits_px(
        self, parameters: FloatArray, rotations: FloatArray | None = None
    ) -> FloatArray:
        """Observed minus predicted corners (B, N, 2) for B parameter vectors (B, 11)."""
        predicted = project_many(parameters, self._points_mm, rotations)
        shifted = predicted + parameters[:, None, 10:11] * self._outward
        return np.asarray(self._observed_px - shifted)

    def _residuals(self, parameters: FloatArray) -> FloatArray:
        return np.asarray(self._residuals_many(parameters[None, :])[0])

    def _residuals_many(self, parameters: FloatArray) -> FloatArray:
        """Whitened residuals (B, R) of marks and priors for B parameter vectors (B, 11)."""
        count = len(parameters)
        rotations = rotations_from_vectors(parameters[:, :3])
        misfit = self._misfits_px(parameters, rotations).reshape(count, -1, 8)
        marks = (self._whiten @ misfit[..., None]).reshape(count, -1)
        believed, sigma = self._beliefs()
        parts = [marks, (parameters[:, 6:11] - believed) / sigma]
        if self._size is not None:
            parts.append(self._size.residuals(parameters, rotations)[:, None])
        return np.concatenate(parts, axis=1)

    def _beliefs(self) -> tuple[FloatArray, FloatArray]:
        """Values and standard uncertainties (5,) of what was known beforehand."""
        prior = self._prior
        believed = [np.log(prior.focal_px), *prior.principal_point_px, prior.k1, 0.0]
        sigma = [
            prior.focal_relative_uncertainty,
            prior.principal_point_uncertainty_px,
            prior.principal_point_uncertainty_px,
            prior.k1_uncertainty,
            self.tuning.border_shift_prior_px,
        ]
        return np.array(believed), np.array(sigma)

    def _jacobian(self, parameters: FloatArray) -> FloatArray:
        """Derivatives (R, 11); the last are kept, as a solution is asked for them five times."""
        if self._last is None or not np.array_equal(self._last[0], parameters):
            self._last = parameters, np.asarray(self._jacobians(parameters[None, :])[0])
        return self._last[1]

    def _jacobians(self, parameters: FloatArray) -> FloatArray:
        """Derivatives (B, R, 11) at parameter vectors (B, 11): central differences, all at once."""
        shifts = np.diag(DERIVATIVE_STEPS)
        moved = np.concatenate([shifts, -shifts])[None] + parameters[:, None, :]
        residuals = self._residuals_many(moved.reshape(-1, len(shifts)))
        by_step = residuals.reshape(len(parameters), 2, len(shifts), -1)
        slopes = (by_step[:, 0] - by_step[:, 1]) / (2.0 * DERIVATIVE_STEPS)[:, None]
        return np.swapaxes(slopes, 1, 2)
