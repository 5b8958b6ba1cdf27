"""A view solved from the plate's marks, with what is not to be believed left out.

Marks may be out of their place, and what is known of the camera may be wrong: a file tells the
focal length of another lens, a piece cut out has its centre elsewhere, an ultra-wide lens is not
straightened. Either shows in the residuals, and each can be taken for the other. So where
the first solution is beyond chance, it is held against solutions that do without the one or the
other belief, each with its own set of marks; the one that explains most with least is taken.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from rigvision.ground.conventions import FloatArray
from rigvision.vision.agreeing_marks import agreeing, misread_sides, without_the_odd
from rigvision.vision.camera_prior import PIECE_PER_WIDTH, CameraPrior
from rigvision.vision.marks import LEAST_SIDES, Mark
from rigvision.vision.pose_tuning import PoseTuning
from rigvision.vision.tag_size import TagSize
from rigvision.vision.view_problem import ViewProblem
from rigvision.world.gauge import Gauge

#: What of the camera is not believed.
Belief = Literal["focal length", "principal point", "distortion"]

#: What is tried without which beliefs, and the chi-squared that each must be better by: one of a
#: thousand, by the number of beliefs.
DOUBTS: tuple[tuple[tuple[Belief, ...], float], ...] = (
    (("focal length",), 10.8),
    (("distortion",), 10.8),
    (("focal length", "distortion"), 13.8),
    (("focal length", "principal point"), 16.3),
    (("focal length", "principal point", "distortion"), 18.5),
)
#: Tension between picture and beliefs from which they are doubted: one of a hundred, of four.
DOUBTFUL = 13.3
#: The same of the yoke's tag alone, standard deviations: what a lens stated twice as long does to
#: its size is no longer in proportion.
ODD_SIZE = 2.6
#: A mark refused must better chi-squared by what its eight coordinates have by chance at most, and
#: a side by what its two have.
MARK_CHI2, SIDE_CHI2 = 31.8, 18.4
#: Instead of a belief: any lens of a phone, zoomed or cut; and what is left of an ultra-wide lens.
ANY_FOCAL, ANY_K1 = 0.8, 0.1


@dataclass(frozen=True, slots=True)
class SolvedView:
    """The solution, the marks it stands on, and what was believed of the camera."""

    plate: tuple[Mark, ...]  # without their misread sides
    refused: tuple[int, ...]
    misread: dict[int, int]  # side by mark id
    prior: CameraPrior
    doubted: tuple[Belief, ...]
    problem: ViewProblem
    parameters: FloatArray  # (11,)
    rival: FloatArray | None  # (11,) the other planar pose; None where it was not solved yet

    @property
    def sufficient(self) -> bool:
        return sum(sum(m.sides) for m in self.plate) >= 4 * self.problem.tuning.min_marks


def solve_view(
    plate: list[Mark],
    gauge: Gauge,
    prior: CameraPrior,
    tuning: PoseTuning,
    size: TagSize | None = None,
) -> SolvedView | None:
    """The view by marks, prior and yoke's tag; None where no set of marks agrees."""
    first = _solved(plate, gauge, prior, tuning, size)
    if first is None or (first.sufficient and _believable(first, tuning)):
        return first
    others = [
        (_doubting(plate, gauge, prior, doubted, tuning, size), least) for doubted, least in DOUBTS
    ]
    # Without a belief more goes: a majority of the marks must say so.
    others = [(s, least) for s, least in others if 2 * len(s.plate) > len(plate)]
    rated = [(s, least) for s, least in [(first, 0.0), *others] if s.sufficient]
    if not rated:
        return None
    scatter = min(s.problem.scatter(s.parameters) for s, _ in rated)
    best = min(rated, key=lambda r: _cost(r[0], scatter) + r[1])[0]
    if best.rival is not None:
        return best
    parameters, rival = best.problem.solve_both()
    return replace(best, parameters=parameters, rival=rival)


def loosened(prior: CameraPrior, doubted: tuple[Belief, ...]) -> CameraPrior:
    """The prior without some of its beliefs."""
    if "focal length" in doubted:
        wide = max(ANY_FOCAL, prior.focal_relative_uncertainty)
        prior = replace(
            prior,
            focal_relative_uncertainty=wide,
            focal_source="picture",
            focal_unconfirmed=0.0,
        )
    if "principal point" in doubted:
        # The prior's own centre is about the picture's.
        longer_px = 2.0 * max(prior.principal_point_px)
        wide = max(PIECE_PER_WIDTH * longer_px, prior.principal_point_uncertainty_px)
        prior = replace(prior, principal_point_uncertainty_px=wide)
    if "distortion" in doubted:
        prior = replace(prior, k1_uncertainty=max(ANY_K1, prior.k1_uncertainty))
    return prior


def _solved(
    plate: list[Mark], gauge: Gauge, prior: CameraPrior, tuning: PoseTuning, size: TagSize | None
) -> SolvedView | None:
    """By the marks that agree where all that is known of the camera is believed."""
    problem = ViewProblem(plate, gauge, prior, tuning, size)
    parameters, rival = problem.solve_both()
    kept = agreeing(problem, parameters, tuning)
    if not kept.any():
        return None
    marks = plate
    misread: dict[int, int] = {}
    if not kept.all():
        misread = {
            plate[k].mark_id: side
            for k, side in misread_sides(problem, kept, parameters, tuning).items()
            if sum(plate[k].sides) > LEAST_SIDES
        }
        marks = [m for m, agrees in zip(plate, kept, strict=True) if agrees]
        marks += [m.without(misread[m.mark_id]) for m in plate if m.mark_id in misread]
        problem = ViewProblem(marks, gauge, prior, tuning, size)
        parameters, rival = problem.solve_both()
    return SolvedView(
        tuple(marks), _missing(plate, marks), misread, prior, (), problem, parameters, rival
    )


def _doubting(
    plate: list[Mark],
    gauge: Gauge,
    prior: CameraPrior,
    doubted: tuple[Belief, ...],
    tuning: PoseTuning,
    size: TagSize | None,
) -> SolvedView:
    """Without some of the beliefs; marks are left out one after another."""
    prior, marks = loosened(prior, doubted), plate
    if "principal point" in doubted:
        tuning = replace(tuning, converged=tuning.valley_converged)
    while True:
        problem = ViewProblem(marks, gauge, prior, tuning, size)
        parameters = problem.solve()
        kept = without_the_odd(problem, parameters, tuning)
        if kept.all():
            break
        marks = [m for m, stays in zip(marks, kept, strict=True) if stays]
    return SolvedView(
        tuple(marks), _missing(plate, marks), {}, prior, doubted, problem, parameters, None
    )


def _missing(plate: list[Mark], marks: list[Mark]) -> tuple[int, ...]:
    return tuple(sorted({m.mark_id for m in plate} - {m.mark_id for m in marks}))


def _believable(solved: SolvedView, tuning: PoseTuning) -> bool:
    scatter = solved.problem.scatter(solved.parameters)
    quiet = scatter < tuning.suspicious_scatter
    quiet &= abs(solved.problem.size_misfit(solved.parameters)) < ODD_SIZE
    return quiet and solved.problem.tension(solved.parameters) < DOUBTFUL


def _cost(solved: SolvedView, scatter: float) -> float:
    """Chi-squared, with what refused marks and sides had to be worth."""
    left_out = MARK_CHI2 * len(solved.refused) + SIDE_CHI2 * len(solved.misread)
    return solved.problem.chi2(solved.parameters) / scatter + left_out


def as_used(marks: tuple[Mark, ...], used: tuple[int, ...], misread: dict[int, int]) -> list[Mark]:
    """Marks as a pose used them: those it names, without their misread sides."""
    return [
        m.without(misread[m.mark_id]) if m.mark_id in misread else m
        for m in marks
        if m.mark_id in used
    ]
