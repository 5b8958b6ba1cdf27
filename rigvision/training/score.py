"""How well a trainee calls and estimates, each figure with its 95 % interval."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np

from rigvision.decision.result import Verdict
from rigvision.records.person import folded
from rigvision.training.agreement import (
    Kappa,
    Proportion,
    cohen_kappa,
    cohen_table,
    fleiss_by_category,
    fleiss_kappa,
    proportion,
)
from rigvision.training.quantiles import chi_squared_quantile, t_quantile
from rigvision.training.sitting import Answered, Sitting
from rigvision.training.verdict_agreement import VERDICTS

SCHEMA = "rigvision.score/1"
_TAIL = 0.025


@dataclass(frozen=True, slots=True)
class Agreement:
    """The same call as somebody else's, and Cohen's kappa with that."""

    same: Proportion
    kappa: Kappa


@dataclass(frozen=True, slots=True)
class Estimates:
    """Estimates less what is held to be so: their mean, and how they scatter about it.

    ``bias`` is None of no estimates; interval and spread are of fewer than two.
    """

    count: int
    bias: float | None
    bias_interval: tuple[float, float] | None
    spread: float | None
    spread_interval: tuple[float, float] | None


@dataclass(frozen=True, slots=True)
class Tally:
    """``three`` is Fleiss's kappa of trainee, tool and trainer, where the trainer ruled.

    ``wrong_passes`` are of the shots that should not pass, ``needless_retakes`` of those that need
    none, ``unseen`` of those that must be taken again: called otherwise.
    """

    answered: int
    asked: int
    right: Proportion
    tool: Agreement
    trainer: Agreement
    three: Kappa
    wrong_passes: Proportion
    needless_retakes: Proportion
    unseen_retakes: Proportion
    gap_mm: Estimates
    turns: Estimates


@dataclass(frozen=True, slots=True)
class Dated:
    """One sitting of a trainee's."""

    finished_at: str
    quiz: str
    title: str
    tally: Tally


@dataclass(frozen=True, slots=True)
class TraineeScore:
    """All first sittings together, and each by itself in the order of time."""

    trainee: str
    together: Tally
    sittings: tuple[Dated, ...]


@dataclass(frozen=True, slots=True)
class Score:
    """``among`` is Fleiss's kappa of trainees who answered the same shots, ``by_verdict`` of each
    verdict against all others; both say nothing of one trainee."""

    trainees: tuple[TraineeScore, ...]
    among: Kappa
    by_verdict: tuple[tuple[Verdict, Kappa], ...]


def score(sittings: Sequence[Sitting]) -> Score:
    """Of first sittings only: who has seen a quiz's readings is not asked again."""
    people: dict[str, list[Sitting]] = {}
    for sitting in sorted(sittings, key=lambda s: s.finished_at):
        people.setdefault(folded(sitting.trainee), []).append(sitting)
    counts = _counts(sittings)
    by_verdict = zip(VERDICTS, fleiss_by_category(counts), strict=True) if len(counts) else ()
    return Score(
        tuple(_trainee(own) for own in people.values()),
        fleiss_kappa(counts),
        tuple((v, k) for v, k in by_verdict if k.value is not None),
    )


def _trainee(sittings: Sequence[Sitting]) -> TraineeScore:
    shots = [shot for sitting in sittings for shot in sitting.shots]
    asked = sum(s.asked for s in sittings)
    dated = tuple(
        Dated(s.finished_at, s.quiz, s.title, tally_of(s.shots, s.asked)) for s in sittings
    )
    return TraineeScore(sittings[-1].trainee, tally_of(shots, asked), dated)


def tally_of(shots: Sequence[Answered], asked: int) -> Tally:
    ruled = [s for s in shots if s.ruling is not None]
    rulings = [s.ruling for s in shots if s.ruling is not None]
    return Tally(
        len(shots),
        asked,
        proportion(sum(s.answer.verdict == s.right for s in shots), len(shots)),
        _agreement(shots, [s.known.verdict for s in shots]),
        _agreement(ruled, rulings),
        _three(ruled, rulings),
        _share([s.answer.verdict == "pass" for s in shots if s.must_not_pass]),
        _share([s.answer.verdict == "retake" for s in shots if s.right != "retake"]),
        _share([s.answer.verdict != "retake" for s in shots if s.right == "retake"]),
        estimates([(s.answer.gap_mm, s.known.best_gap_mm) for s in shots]),
        estimates([(s.answer.turns, s.known.best_turns) for s in shots]),
    )


def estimates(pairs: Sequence[tuple[float | None, float | None]]) -> Estimates:
    """Of pairs (estimated, so); pairs with one of them missing say nothing."""
    errors = np.array([a - b for a, b in pairs if a is not None and b is not None])
    count = len(errors)
    if count == 0:
        return Estimates(0, None, None, None, None)
    bias = float(errors.mean())
    if count == 1:
        return Estimates(1, bias, None, None, None)
    spread = float(errors.std(ddof=1))
    reach = t_quantile(1.0 - _TAIL, count - 1) * spread / sqrt(count)
    ends = [
        spread * sqrt((count - 1) / chi_squared_quantile(p, count - 1)) for p in (1 - _TAIL, _TAIL)
    ]
    return Estimates(count, bias, (bias - reach, bias + reach), spread, (ends[0], ends[1]))


def _agreement(shots: Sequence[Answered], other: Sequence[Verdict]) -> Agreement:
    own = [s.answer.verdict for s in shots]
    same = proportion(sum(a == b for a, b in zip(own, other, strict=True)), len(own))
    return Agreement(same, cohen_kappa(cohen_table(own, other, VERDICTS)))


def _three(ruled: Sequence[Answered], rulings: Sequence[Verdict]) -> Kappa:
    calls = [(s.answer.verdict, s.known.verdict, r) for s, r in zip(ruled, rulings, strict=True)]
    return fleiss_kappa(_table(calls))


def _share(hits: Sequence[bool]) -> Proportion:
    return proportion(sum(hits), len(hits))


def _counts(sittings: Sequence[Sitting]) -> list[list[int]]:
    """Calls of each shot that two trainees or more have answered. (shots, 3)"""
    calls: dict[tuple[str, int], list[Verdict]] = {}
    for sitting in sittings:
        for shot in sitting.shots:
            calls.setdefault((sitting.quiz, shot.answer.shot), []).append(shot.answer.verdict)
    return _table([c for c in calls.values() if len(c) > 1])


def _table(calls: Sequence[Sequence[Verdict]]) -> list[list[int]]:
    return [[list(c).count(v) for v in VERDICTS] for c in calls]
