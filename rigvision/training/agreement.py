"""How well people agree in what they call things: shares and kappas, with intervals."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np
import numpy.typing as npt

from rigvision.ground.conventions import FloatArray
from rigvision.training.quantiles import beta_quantile, t_quantile

Counts = npt.ArrayLike


@dataclass(frozen=True, slots=True)
class Kappa:
    """Agreement beyond chance: 1 is perfect, 0 is chance, below 0 is worse.

    ``value`` is None where it means nothing: everybody calls everything the same, or nothing was
    called twice. Interval and standard error are None with fewer than two subjects too.
    """

    value: float | None
    standard_error: float | None
    interval: tuple[float, float] | None
    subjects: int


@dataclass(frozen=True, slots=True)
class Proportion:
    """``count`` of ``total`` with an exact interval (Clopper and Pearson); None of nothing."""

    count: int
    total: int
    interval: tuple[float, float] | None

    @property
    def value(self) -> float | None:
        return self.count / self.total if self.total else None


def proportion(count: int, total: int, confidence: float = 0.95) -> Proportion:
    if not total:
        return Proportion(count, total, None)
    tail = 0.5 * (1.0 - confidence)
    low = beta_quantile(tail, count, total - count + 1) if count else 0.0
    high = beta_quantile(1.0 - tail, count + 1, total - count) if count < total else 1.0
    return Proportion(count, total, (low, high))


def cohen_kappa(table: Counts, confidence: float = 0.95) -> Kappa:
    """Two raters: ``table[i][j]`` subjects were called i by the one and j by the other.

    Standard error of Fleiss, Cohen and Everitt (Psychol. Bull. 72, 1969, 323), which holds
    whatever kappa is.
    """
    counts = np.asarray(table, dtype=np.float64)
    total = float(counts.sum())
    subjects = round(total)
    if total <= 0.0:
        return _meaningless(subjects)
    shares = counts / total
    first, second = shares.sum(axis=1), shares.sum(axis=0)
    agreed, by_chance = float(np.trace(shares)), float(first @ second)
    if by_chance >= 1.0 - 1e-12:
        return _meaningless(subjects)
    kappa = (agreed - by_chance) / (1.0 - by_chance)
    same = np.diag(shares) @ (1.0 - (first + second) * (1.0 - kappa)) ** 2
    crossed = (second[:, None] + first[None, :]) ** 2
    different = (1.0 - kappa) ** 2 * float(np.sum(shares * crossed) - np.trace(shares * crossed))
    less = (kappa - by_chance * (1.0 - kappa)) ** 2
    variance = (same + different - less) / (total * (1.0 - by_chance) ** 2)
    return _kappa(kappa, sqrt(max(float(variance), 0.0)), subjects, None, confidence)


def cohen_table(
    first: Sequence[Hashable], second: Sequence[Hashable], categories: Sequence[Hashable]
) -> FloatArray:
    """The table of two raters' calls of the same subjects, in the same order."""
    found = np.zeros((len(categories), len(categories)))
    for a, b in zip(first, second, strict=True):
        found[categories.index(a), categories.index(b)] += 1
    return found


def fleiss_kappa(counts: Counts, confidence: float = 0.95) -> Kappa:
    """Many raters: ``counts[i][j]`` called subject i by category j. (subjects, categories)

    Subjects may have different numbers of calls; those with fewer than two tell what is common,
    but not who agrees. With equal numbers it is Fleiss's kappa (Psychol. Bull. 76, 1971, 378).
    The standard error is what other subjects would have given, the raters being these: kappa
    linearised in each subject's part, as Gwet does (Brit. J. Math. Stat. Psychol. 61, 2008, 29,
    from memory).
    """
    called = np.asarray(counts, dtype=np.float64)
    called = called[called.sum(axis=1) > 0.0] if called.size else called.reshape(0, 1)
    subjects = called.shape[0]
    numbers = called.sum(axis=1)
    twice = numbers >= 2.0 - 1e-9
    if not twice.any():
        return _meaningless(subjects)
    common = (called / numbers[:, None]).mean(axis=0)
    by_chance = float(common @ common)
    if by_chance >= 1.0 - 1e-12:
        return _meaningless(subjects)
    pairs = np.maximum(numbers * (numbers - 1.0), 1.0)
    each = np.where(twice, (np.sum(called**2, axis=1) - numbers) / pairs, 0.0)
    agreed = float(each.sum() / twice.sum())
    kappa = (agreed - by_chance) / (1.0 - by_chance)
    if subjects < 2:
        return Kappa(kappa, None, None, subjects)
    chance_each = (called / numbers[:, None]) @ common
    apart = np.where(twice, each - agreed, 0.0) * subjects / twice.sum()
    shifts = (apart - 2.0 * (1.0 - kappa) * (chance_each - by_chance)) / (1.0 - by_chance)
    error = sqrt(float(np.sum(shifts**2)) / (subjects * (subjects - 1)))
    return _kappa(kappa, error, subjects, subjects - 1, confidence)


def fleiss_by_category(counts: Counts, confidence: float = 0.95) -> tuple[Kappa, ...]:
    """Each category against all others together."""
    called = np.asarray(counts, dtype=np.float64)
    others = called.sum(axis=1, keepdims=True) - called
    return tuple(
        fleiss_kappa(np.stack([called[:, j], others[:, j]], axis=1), confidence)
        for j in range(called.shape[1])
    )


def _kappa(
    kappa: float, error: float, subjects: int, freedom: int | None, confidence: float
) -> Kappa:
    """With an interval cut at -1 and 1; normal where no degrees of freedom are given."""
    reach = t_quantile(0.5 * (1.0 + confidence), freedom or 1e9) * error
    return Kappa(kappa, error, (max(kappa - reach, -1.0), min(kappa + reach, 1.0)), subjects)


def _meaningless(subjects: int) -> Kappa:
    return Kappa(None, None, None, subjects)
