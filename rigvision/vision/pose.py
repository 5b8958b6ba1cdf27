"""Where the camera was: one least-squares solve over all marks, with its covariance.

Unknown are the view's eleven parameters. Focal length, principal point and distortion
carry what is known of the camera before the photo as prior observations, so that the
picture moves them only as far as it can tell them. Marks weigh in by the covariance of
their corners and of their calibrated positions, which is shared by a mark's four corners.

A planar target seen from far has two poses that fit; both are solved and the rival kept.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.ground.errors import Unmeasurable
from rigvision.vision.camera_prior import CameraPrior, FocalSource
from rigvision.vision.edge_spread import StepPixels
from rigvision.vision.focus import Focus, find_focus
from rigvision.vision.marks import Mark, Marks
from rigvision.vision.missing_marks import LostMark
from rigvision.vision.pose_tuning import PoseTuning
from rigvision.vision.solved_view import Belief, as_used, solve_view
from rigvision.vision.tag_size import TagSize, find_tag_size
from rigvision.vision.view import View
from rigvision.vision.view_problem import SharedPulls, ViewProblem
from rigvision.world.gauge import Gauge


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
    hidden_sides: int = 0  # of the marks used, those misread included
    #: Sides of marks used (mark id, side) that contradict all the rest, and were left out.
    misread: tuple[tuple[int, int], ...] = ()
    #: What was believed of the camera in the end; None for a pose made by hand.
    prior: CameraPrior | None = None
    focal_source: FocalSource = "exif"
    #: What the photo's file, the camera's or common practice says and the picture contradicts.
    doubted: tuple[Belief, ...] = ()
    lost: tuple[LostMark, ...] = ()  # marks of the plate that it does not stand on, and why

    @property
    def focal_contradicts_exif(self) -> bool:
        """Whether the picture contradicts the focal length that was known beforehand."""
        return "focal length" in self.doubted


def solve_pose(
    marks: Marks, gauge: Gauge, prior: CameraPrior, tuning: PoseTuning | None = None
) -> Pose:
    """Solve the view from the gauge's plate marks.

    Raises Unmeasurable: ``too-few-marks``, ``marks-disagree``.
    """
    tuning = tuning or PoseTuning()
    plate = [m for m in marks.measured if m.mark_id in gauge.marks.centres_mm]
    if sum(sum(m.sides) for m in plate) < 4 * tuning.min_marks:
        raise _too_few(plate, marks, gauge, tuning)
    solved = solve_view(plate, gauge, prior, tuning, _yoke_tag_size(marks, plate, gauge))
    if solved is None:
        raise Unmeasurable(
            "marks-disagree", residual_px=_residual_of_all(plate, gauge, prior, tuning)
        )
    problem, parameters = solved.problem, solved.parameters
    assert solved.rival is not None
    residual_px = problem.residual_px(parameters)
    if residual_px > tuning.worst_residual_px:
        raise Unmeasurable("marks-disagree", residual_px=residual_px)
    view, covariance = View(parameters), problem.covariance(parameters)
    blur_px = np.array([m.blur_px for m in solved.plate])
    return Pose(
        view,
        covariance,
        tuple(sorted(m.mark_id for m in solved.plate)),
        solved.refused,
        residual_px,
        problem.rival_ratio(parameters, solved.rival),
        float(np.median(blur_px)),
        marks.borders,
        find_focus(view, _centres_mm(solved.plate, gauge), blur_px),
        problem.from_positions(parameters),
        sum(m.sides.count(False) for m in solved.plate),
        tuple(sorted(solved.misread.items())),
        solved.prior,
        _focal_source(solved.prior, covariance),
        solved.doubted,
        _lost(marks, solved.refused, view, gauge),
    )


def _yoke_tag_size(marks: Marks, plate: list[Mark], gauge: Gauge) -> TagSize | None:
    return find_tag_size(marks.by_id(gauge.yoke.tag_id) if gauge.yoke else None, plate, gauge)


def _focal_source(prior: CameraPrior, covariance: FloatArray) -> FocalSource:
    """A guess that the picture bettered by half is the picture's."""
    known = float(np.sqrt(covariance[6, 6])) < prior.focal_relative_uncertainty / 2
    return "picture" if prior.focal_source == "assumed" and known else prior.focal_source


def _lost(marks: Marks, refused: tuple[int, ...], view: View, gauge: Gauge) -> tuple[LostMark, ...]:
    """All marks of the plate that the pose does not stand on."""
    missed = [
        replace(lost, corners_px=view.project(gauge.marks.corners_mm(lost.mark_id)))
        for lost in marks.lost
    ]
    contradict = [
        LostMark(i, view.project(gauge.marks.corners_mm(i)), "contradicts") for i in refused
    ]
    return tuple(sorted(missed + contradict, key=lambda lost: lost.mark_id))


def _too_few(plate: list[Mark], marks: Marks, gauge: Gauge, tuning: PoseTuning) -> Unmeasurable:
    seen = {m.mark_id for m in plate}
    missing = ", ".join(str(i) for i in sorted(gauge.marks.centres_mm) if i not in seen)
    return Unmeasurable(
        "too-few-marks",
        found=sum(sum(m.sides) for m in plate) // 4,
        total=len(gauge.marks.centres_mm),
        needed=tuning.min_marks,
        missing=missing,
        lost=marks.lost,
    )


def _residual_of_all(
    plate: list[Mark], gauge: Gauge, prior: CameraPrior, tuning: PoseTuning
) -> float:
    problem = ViewProblem(plate, gauge, prior, tuning)
    return problem.residual_px(problem.solve_both()[0])


def _centres_mm(plate: Sequence[Mark], gauge: Gauge) -> FloatArray:
    """Centres (M, 3) of marks on the plate's front face."""
    centres = [gauge.marks.centres_mm[m.mark_id] for m in plate]
    return np.column_stack([np.asarray(centres), np.zeros(len(plate))])


def shared_pulls(
    pose: Pose, marks: Marks, gauge: Gauge, prior: CameraPrior, tuning: PoseTuning | None = None
) -> SharedPulls:
    """Pulls on a view that ``solve_pose`` found. Marks that it did not use pull nothing."""
    plate = as_used(marks.measured, pose.used, dict(pose.misread))
    size = _yoke_tag_size(marks, plate, gauge)
    problem = ViewProblem(plate, gauge, prior, tuning or PoseTuning(), size)
    return problem.shared_pulls(pose.view.parameters)
