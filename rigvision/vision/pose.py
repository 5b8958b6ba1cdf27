"""Where the camera was: one least-squares solve over all marks, with its covariance.

Unknown are the view's eleven parameters. Focal length, principal point and distortion
carry what is known of the camera before the photo as prior observations, so that the
picture moves them only as far as it can tell them. Marks weigh in by the covariance of
their corners and of their calibrated positions, which is shared by a mark's four corners.

A planar target seen from far has two poses that fit; both are solved and the rival kept.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rigvision.ground.conventions import FloatArray
from rigvision.ground.errors import Unmeasurable
from rigvision.vision.agreeing_marks import agreeing, misread_sides
from rigvision.vision.camera_prior import CameraPrior
from rigvision.vision.edge_spread import StepPixels
from rigvision.vision.focus import Focus, find_focus
from rigvision.vision.marks import LEAST_SIDES, Mark, Marks
from rigvision.vision.view import View
from rigvision.vision.view_problem import PoseTuning, SharedPulls, ViewProblem
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


def solve_pose(
    marks: Marks, gauge: Gauge, prior: CameraPrior, tuning: PoseTuning | None = None
) -> Pose:
    """Solve the view from the gauge's plate marks.

    Raises Unmeasurable: ``too-few-marks``, ``marks-disagree``.
    """
    tuning = tuning or PoseTuning()
    plate = [m for m in marks.measured if m.mark_id in gauge.marks.centres_mm]
    _enough(plate, gauge, tuning)
    problem = ViewProblem(plate, gauge, prior, tuning)
    parameters, rival = problem.solve_both()
    kept = agreeing(problem, parameters, tuning)
    every = plate
    misread: dict[int, int] = {}
    if not kept.any():
        raise Unmeasurable("marks-disagree", residual_px=problem.residual_px(parameters))
    if not kept.all():
        plate, misread = _mended(problem, plate, kept, parameters, tuning)
        if not _sufficient(plate, tuning):
            raise Unmeasurable("marks-disagree", residual_px=problem.residual_px(parameters))
        problem = ViewProblem(plate, gauge, prior, tuning)
        parameters, rival = problem.solve_both()
    residual_px = problem.residual_px(parameters)
    if residual_px > tuning.worst_residual_px:
        raise Unmeasurable("marks-disagree", residual_px=residual_px)
    view = View(parameters)
    blur_px = np.array([m.blur_px for m in plate])
    return Pose(
        view,
        problem.covariance(parameters),
        tuple(sorted(m.mark_id for m in plate)),
        tuple(sorted({m.mark_id for m in every} - {m.mark_id for m in plate})),
        residual_px,
        problem.rival_ratio(parameters, rival),
        float(np.median(blur_px)),
        marks.borders,
        find_focus(view, _centres_mm(plate, gauge), blur_px),
        problem.from_positions(parameters),
        sum(m.sides.count(False) for m in plate),
        tuple(sorted(misread.items())),
    )


def _mended(
    problem: ViewProblem,
    plate: list[Mark],
    kept: npt.NDArray[np.bool_],
    parameters: FloatArray,
    tuning: PoseTuning,
) -> tuple[list[Mark], dict[int, int]]:
    """The marks that agree, those too that do without one side; and which side, by mark id."""
    misread = misread_sides(problem, kept, parameters, tuning)
    marks = [m for m, agrees in zip(plate, kept, strict=True) if agrees]
    mended = {
        plate[k].mark_id: side for k, side in misread.items() if sum(plate[k].sides) > LEAST_SIDES
    }
    marks += [m.without(mended[m.mark_id]) for m in plate if m.mark_id in mended]
    return marks, mended


def _centres_mm(plate: list[Mark], gauge: Gauge) -> FloatArray:
    """Centres (M, 3) of marks on the plate's front face."""
    centres = [gauge.marks.centres_mm[m.mark_id] for m in plate]
    return np.column_stack([np.asarray(centres), np.zeros(len(plate))])


def shared_pulls(
    pose: Pose, marks: Marks, gauge: Gauge, prior: CameraPrior, tuning: PoseTuning | None = None
) -> SharedPulls:
    """Pulls on a view that ``solve_pose`` found. Marks that it did not use pull nothing."""
    misread = dict(pose.misread)
    plate = [
        m.without(misread[m.mark_id]) if m.mark_id in misread else m
        for m in marks.measured
        if m.mark_id in pose.used
    ]
    problem = ViewProblem(plate, gauge, prior, tuning or PoseTuning())
    return problem.shared_pulls(pose.view.parameters)


def _enough(plate: list[Mark], gauge: Gauge, tuning: PoseTuning) -> None:
    if _sufficient(plate, tuning):
        return
    seen = {m.mark_id for m in plate}
    missing = ", ".join(str(i) for i in sorted(gauge.marks.centres_mm) if i not in seen)
    raise Unmeasurable(
        "too-few-marks",
        found=sum(sum(m.sides) for m in plate) // 4,
        total=len(gauge.marks.centres_mm),
        needed=tuning.min_marks,
        missing=missing,
    )


def _sufficient(plate: list[Mark], tuning: PoseTuning) -> bool:
    """Enough marks, or as many sides of more marks that are hidden in part."""
    return sum(sum(m.sides) for m in plate) >= 4 * tuning.min_marks
