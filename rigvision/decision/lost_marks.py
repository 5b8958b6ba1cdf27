"""Marks that were not measured: where they are, what is wrong there, and what to do about it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from rigvision.decision.cause import Cause
from rigvision.decision.directions import place, way


@dataclass(frozen=True, slots=True)
class UnreadMark:
    """A mark of the plate that was not measured."""

    mark_id: int
    cause: str  # one of those named below
    from_middle: tuple[float, float] | None  # of the gauge, px; None where its place is unknown


#: What is wrong at a mark, for a person: by the cause with which it was lost.
_WRONG = {
    "outside": "outside the picture",
    "bright": "in glare",
    "dark": "in the dark",
    "hidden": "covered or dirty",
    "contradicts": "not where the others put it",
    "side": "with a side that contradicts the rest",
}


def too_few(lost: Sequence[UnreadMark], facts: dict[str, Any]) -> Cause:
    """The reason for too few marks, from what most of the lost ones suffer; ``facts`` says how
    many were found, of how many, how many are needed, and the ids missing.
    """
    worst = Counter(mark.cause for mark in lost).most_common(1)[0][0] if lost else "hidden"
    count = {"found": facts["found"], "total": facts["total"], "needed": facts["needed"]}
    concerned = [mark for mark in lost if mark.cause == worst]
    if worst == "outside":
        return "gauge-cut-off", {**count, "marks": named(concerned), "way": _towards(concerned)}
    if worst == "bright":
        part = f"{len(concerned)} of {facts['total']} marks"
        where = f"the marks {named(concerned)}"
        return "glare", {"where": where, "part": part, "cure": "spot-off-marks"}
    cure = "light-marks" if worst == "dark" else "wipe-marks"
    missing = named(lost) if lost else facts["missing"]
    return "too-few-marks", {**count, "missing": missing, "cure": cure}


def noted(lost: Sequence[UnreadMark]) -> Cause:
    """That some marks were not read, though enough were."""
    by_cause: dict[str, list[UnreadMark]] = {}
    for mark in lost:
        by_cause.setdefault(mark.cause, []).append(mark)
    said = [f"{named(marks)} {_WRONG[cause]}" for cause, marks in by_cause.items()]
    return "marks-lost", {"marks": "; ".join(said)}


def named(lost: Sequence[UnreadMark]) -> str:
    """Ids with their places as the picture shows them: ``100 (upper left), 104 (right)``."""
    return ", ".join(f"{m.mark_id}{_place(m)}" for m in lost)


def _place(mark: UnreadMark) -> str:
    if mark.from_middle is None:
        return ""
    return f" ({place(*mark.from_middle)})"


def _towards(lost: Sequence[UnreadMark]) -> str:
    """The way in which to aim further, so that the marks outside come in."""
    vectors = [m.from_middle for m in lost if m.from_middle is not None]
    if not vectors:
        return "back"
    return way(sum(x for x, _ in vectors), sum(y for _, y in vectors))
