"""Errors of many pictures into bias, RMS and worst, and how honest the uncertainties were."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import sqrt

import numpy as np

from .record import Figure, Record


@dataclass(frozen=True, slots=True)
class Statistics:
    """``inside`` and ``over_u`` are None where no uncertainty was claimed."""

    measured: int
    wanted: int
    bias: float
    rms: float
    worst: float
    inside: float | None = None  # part of the errors within the expanded uncertainty
    over_u: float | None = None  # RMS of error over standard uncertainty; 1 is honest


def statistics_of(figures: Iterable[Figure]) -> Statistics | None:
    """None where nothing was measured."""
    figures = list(figures)
    known = [(f.error, f.expanded, f.factor) for f in figures if f.error is not None]
    if not known:
        return None
    errors = np.array([error for error, _, _ in known])
    expanded = np.array([u for _, u, _ in known], dtype=float)
    factors = np.array([k for _, _, k in known], dtype=float)
    plain = plain_statistics(errors)
    return Statistics(
        len(known),
        len(figures),
        plain.bias,
        plain.rms,
        plain.worst,
        float(np.mean(np.abs(errors) <= expanded)),
        sqrt(float(np.mean((factors * errors / expanded) ** 2))),
    )


def plain_statistics(errors: np.ndarray) -> Statistics:
    """Of errors (N,) that come without uncertainty."""
    worst = float(errors[np.argmax(np.abs(errors))])
    rms = sqrt(float(np.mean(errors**2)))
    return Statistics(len(errors), len(errors), float(np.mean(errors)), rms, worst)


@dataclass(frozen=True, slots=True)
class Verdicts:
    """How often each verdict was right, and in which way it was not."""

    pictures: int
    right: int
    wrong_passes: int  # passed, though something is out or the picture cannot be trusted
    needless_adjusts: int  # everything is inside, but that could not be proven
    needless_retakes: int
    missed_retakes: int  # measured, though the picture cannot be trusted


def verdicts_of(records: Iterable[Record]) -> Verdicts:
    pairs = [(r.true_verdict, r.verdict) for r in records]
    return Verdicts(
        len(pairs),
        sum(true == said for true, said in pairs),
        sum(said == "pass" and true != "pass" for true, said in pairs),
        pairs.count(("pass", "adjust")),
        sum(said in ("retake", "error") and true != "retake" for true, said in pairs),
        pairs.count(("retake", "adjust")),
    )
