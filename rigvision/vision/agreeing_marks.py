"""Which marks agree on one view: all of them, or the largest set that does.

One mark out of its place stands out when it is left out. Several hide each other, as they all
pull on the common solution; so where any stands out, every four marks are solved alone and grown,
each time by the mark nearest to where they put it, to a majority. The majority that fits best is
believed (least trimmed squares), and grows on until the next mark is beyond chance (a forward
search). Where no majority agrees, four marks that do are believed if no other four do: dirt makes
marks err in ways of their own, and only a gauge that is bent or doubled has two answers.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
import numpy.typing as npt

from rigvision.ground.conventions import FloatArray
from rigvision.vision.pose_tuning import PoseTuning
from rigvision.vision.view_problem import ViewProblem

Chosen = npt.NDArray[np.bool_]

#: Marks of the sets to grow from, and how many such sets are tried at most: all of eight marks'.
SEED_MARKS, MOST_SEEDS = 4, 70


def agreeing(problem: ViewProblem, parameters: FloatArray, tuning: PoseTuning) -> Chosen:
    """Which marks (M,) agree, given the solution (11,) by all of them; none where two sets do."""
    marks = len(problem.coordinates)
    apart = problem.apart(parameters)
    # Where several are out of place, none stands out of the others' scatter: but that is large.
    quiet = apart.scatter.min() < tuning.suspicious_scatter
    if marks <= SEED_MARKS or (quiet and apart.beyond_chance.max() < tuning.refuse_chi2):
        return np.ones(marks, dtype=bool)
    grown = _grown(problem, _best_set(problem, parameters, tuning), parameters, tuning)
    rivals = _seeds(marks)
    rivals = rivals[~(rivals & grown).any(axis=1)]
    if len(rivals) and _scatter(problem, rivals, parameters).min() < tuning.suspicious_scatter:
        return np.zeros(marks, dtype=bool)
    return grown


def _best_set(problem: ViewProblem, parameters: FloatArray, tuning: PoseTuning) -> Chosen:
    """The majority (M,) that fits best, or the four marks where no majority agrees."""
    marks = len(problem.coordinates)
    seeds = _seeds(marks)
    majorities = _grown_to(problem, seeds, parameters, max(SEED_MARKS, marks // 2 + 1))
    for sets in (majorities, seeds):
        scatter = _scatter(problem, sets, parameters)
        best = int(np.argmin(scatter))
        if scatter[best] < tuning.suspicious_scatter:
            return np.asarray(sets[best])
    return np.asarray(majorities[int(np.argmin(_scatter(problem, majorities, parameters)))])


def _scatter(problem: ViewProblem, chosen: Chosen, start: FloatArray) -> FloatArray:
    """Chi-squared per coordinate (B,) of sets (B, M) solved alone."""
    _, chi2 = problem.solved_with(chosen, start)
    return np.asarray(chi2 / (chosen @ problem.coordinates))


def without_the_odd(problem: ViewProblem, parameters: FloatArray, tuning: PoseTuning) -> Chosen:
    """All marks (M,) but the one that stands out most; all where none does."""
    kept = np.ones(len(problem.coordinates), dtype=bool)
    beyond = problem.apart(parameters).beyond_chance
    if len(kept) > SEED_MARKS and beyond.max() > tuning.refuse_chi2:
        kept[np.argmax(beyond)] = False
    return kept


def misread_sides(
    problem: ViewProblem, kept: Chosen, start: FloatArray, tuning: PoseTuning
) -> dict[int, int]:
    """Of the marks refused, those of which a single side is at fault: index and side."""
    solved, chi2 = problem.solved_with(kept[None], start)
    apart = problem.apart_from(kept[None], solved, chi2)
    by_side = apart.gains[0, :, 1:]
    left = (apart.chi2[0] - by_side.max(axis=1)) / apart.scatter[0]
    mended = ~kept & (left < tuning.mend_chi2)
    return {int(k): int(np.argmax(by_side[k])) for k in np.flatnonzero(mended)}


def _seeds(marks: int) -> Chosen:
    """Sets of four marks (B, M), spread evenly over all there are."""
    every = np.array(list(combinations(range(marks), SEED_MARKS)))
    taken = every[:: -(-len(every) // MOST_SEEDS)]
    chosen = np.zeros((len(taken), marks), dtype=bool)
    np.put_along_axis(chosen, taken, True, axis=1)
    return chosen


def _grown_to(problem: ViewProblem, chosen: Chosen, start: FloatArray, size: int) -> Chosen:
    """The sets (B, M) grown to a size by what lies nearest to where they put it."""
    chosen = chosen.copy()
    solved, chi2 = problem.solved_with(chosen, start)
    for _ in range(size - SEED_MARKS):
        apart = problem.apart_from(chosen, solved, chi2).beyond_chance
        nearest = np.argmin(np.where(chosen, np.inf, apart), axis=1)
        chosen[np.arange(len(chosen)), nearest] = True
        solved, chi2 = problem.solved_with(chosen, start)
    return chosen


def _grown(problem: ViewProblem, chosen: Chosen, start: FloatArray, tuning: PoseTuning) -> Chosen:
    """The set (M,) with all marks that agree with it."""
    chosen = chosen.copy()
    while not chosen.all():
        solved, chi2 = problem.solved_with(chosen[None], start)
        apart = problem.apart_from(chosen[None], solved, chi2).beyond_chance[0]
        nearest = int(np.argmin(np.where(chosen, np.inf, apart)))
        if apart[nearest] > tuning.refuse_chi2:
            break
        chosen[nearest] = True
    return chosen
