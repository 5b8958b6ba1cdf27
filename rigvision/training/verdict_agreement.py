"""Verdicts of a study: does each person get the same one again, do people, is it the right one?"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from rigvision.decision.result import Verdict
from rigvision.ground.conventions import FloatArray
from rigvision.training.agreement import (
    Kappa,
    Proportion,
    cohen_kappa,
    cohen_table,
    fleiss_by_category,
    fleiss_kappa,
    proportion,
)

VERDICTS: tuple[Verdict, ...] = ("pass", "adjust", "retake")


@dataclass(frozen=True, slots=True)
class Call:
    """One photo's verdict. ``shot`` counts a person's shots of a setting, from 1.

    ``reference`` is what the verdict should be, None where nobody knows.
    """

    setting: str
    person: str
    shot: int
    verdict: Verdict
    reference: Verdict | None = None


@dataclass(frozen=True, slots=True)
class WithinPerson:
    """Settings that a person shot at least twice, and those with one verdict throughout."""

    person: str
    same: Proportion
    kappa: Kappa


@dataclass(frozen=True, slots=True)
class BetweenTwo:
    """First shots with first shots, second with second, of the settings that both shot."""

    first: str
    second: str
    kappa: Kappa


@dataclass(frozen=True, slots=True)
class AgainstReference:
    """``right``: settings whose every verdict is the reference. Single shots beyond that:
    ``wrong_passes`` of those that should not pass, ``missed`` of those that should."""

    person: str
    right: Proportion
    kappa: Kappa
    wrong_passes: Proportion
    missed: Proportion


@dataclass(frozen=True, slots=True)
class VerdictAgreement:
    """``all_same``: settings at which everybody always got the same verdict."""

    within: tuple[WithinPerson, ...]
    all_same: Proportion
    together: Kappa
    by_verdict: tuple[tuple[Verdict, Kappa], ...]
    between: tuple[BetweenTwo, ...]
    reference: tuple[AgainstReference, ...]


def verdict_agreement(calls: Sequence[Call]) -> VerdictAgreement:
    """All of it; what there are no shots for is empty."""
    people = list(dict.fromkeys(c.person for c in calls))
    shared = _verdicts_by_setting(calls, lambda c: len({x.person for x in c}) > 1)
    counts = _counts(list(shared.values()))
    by_verdict = zip(VERDICTS, fleiss_by_category(counts), strict=True)
    return VerdictAgreement(
        tuple(_within(p, [c for c in calls if c.person == p]) for p in people),
        _unanimous(list(shared.values())),
        fleiss_kappa(counts),
        tuple((v, k) for (v, k), column in zip(by_verdict, counts.T, strict=True) if column.any()),
        tuple(_between(calls, a, b) for a, b in combinations(people, 2)),
        tuple(
            _against(p, [c for c in calls if c.person == p and c.reference])
            for p in people
            if any(c.person == p and c.reference for c in calls)
        ),
    )


def _verdicts_by_setting(
    calls: Sequence[Call], wanted: Callable[[list[Call]], bool]
) -> dict[str, list[Verdict]]:
    grouped: dict[str, list[Call]] = {}
    for call in calls:
        grouped.setdefault(call.setting, []).append(call)
    return {s: [c.verdict for c in group] for s, group in grouped.items() if wanted(group)}


def _counts(groups: Sequence[Sequence[Verdict]]) -> FloatArray:
    """Verdicts of each subject. (subjects, 3)"""
    found = [[group.count(v) for v in VERDICTS] for group in groups]
    return np.array(found, dtype=np.float64).reshape(-1, len(VERDICTS))


def _unanimous(groups: Sequence[Sequence[Verdict]]) -> Proportion:
    return proportion(sum(len(set(group)) == 1 for group in groups), len(groups))


def _within(person: str, calls: Sequence[Call]) -> WithinPerson:
    groups = list(_verdicts_by_setting(calls, lambda c: len(c) > 1).values())
    return WithinPerson(person, _unanimous(groups), fleiss_kappa(_counts(groups)))


def _between(calls: Sequence[Call], first: str, second: str) -> BetweenTwo:
    by_shot = {(c.setting, c.shot): c.verdict for c in calls if c.person == second}
    pairs = [
        (c.verdict, by_shot[c.setting, c.shot])
        for c in calls
        if c.person == first and (c.setting, c.shot) in by_shot
    ]
    table = cohen_table([a for a, _ in pairs], [b for _, b in pairs], VERDICTS)
    return BetweenTwo(first, second, cohen_kappa(table))


def _against(person: str, calls: Sequence[Call]) -> AgainstReference:
    groups: dict[str, list[bool]] = {}
    for call in calls:
        groups.setdefault(call.setting, []).append(call.verdict == call.reference)
    table = cohen_table([c.verdict for c in calls], [c.reference for c in calls], VERDICTS)
    unfit = [c for c in calls if c.reference != "pass"]
    fit = [c for c in calls if c.reference == "pass"]
    return AgainstReference(
        person,
        proportion(sum(all(g) for g in groups.values()), len(groups)),
        cohen_kappa(table),
        proportion(sum(c.verdict == "pass" for c in unfit), len(unfit)),
        proportion(sum(c.verdict != "pass" for c in fit), len(fit)),
    )
