"""The same door before and after: which shots belong together, and what has changed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rigvision.records.comparison import Change, changes
from rigvision.report.figures import NOT_MEASURED, with_uncertainty
from rigvision.training.shot import Shot


@dataclass(frozen=True, slots=True)
class ChangeRow:
    """A figure before, after, and its change, as people read them; ``plain``: beyond doubt."""

    name: str
    before: str
    after: str
    change: str
    plain: bool


@dataclass(frozen=True, slots=True)
class SameDoor:
    """Other shots of a shot's door, the oldest first, and the one to compare with, if any.

    ``rows`` compare ``before`` with ``after``, one of which is the shot itself.
    """

    others: tuple[Shot, ...]
    before: Shot | None = None
    after: Shot | None = None
    rows: tuple[ChangeRow, ...] = ()


def same_door(shots: Sequence[Shot]) -> dict[str, SameDoor]:
    """By each shot's key; shots of which no door is known have no others."""
    doors: dict[tuple[str, str, int], list[Shot]] = {}
    for shot in shots:
        if shot.door is not None:
            doors.setdefault(shot.door, []).append(shot)
    return {s.key: _same(s, doors[s.door] if s.door is not None else []) for s in shots}


def _same(shot: Shot, all_of_door: list[Shot]) -> SameDoor:
    others = tuple(s for s in all_of_door if s is not shot)
    partner = _partner(shot, others)
    if partner is None:
        return SameDoor(others)
    before, after = (shot, partner) if shot.stage == "before" else (partner, shot)
    rows = tuple(_row(c) for c in changes(before.result, after.result) if _is_compared(c))
    return SameDoor(others, before, after, rows)


def _partner(shot: Shot, others: tuple[Shot, ...]) -> Shot | None:
    """The last that counts of the other stage: of the same job first, else of the door."""
    wanted = {"before": "after", "after": "before"}.get(shot.stage or "")
    counting = [
        s for s in others if s.stage == wanted and s.status not in ("corrected", "rejected")
    ]
    of_job = [s for s in counting if s.job and shot.job and s.job.job == shot.job.job]
    return next(reversed(of_job or counting), None) if wanted else None


def _is_compared(change: Change) -> bool:
    """Figures of which something is known; single stations stand in their plot."""
    known = change.before is not None or change.after is not None
    return known and not change.key.startswith("gap at")


def _row(change: Change) -> ChangeRow:
    unit = change.unit
    difference = (
        NOT_MEASURED
        if change.change is None
        else with_uncertainty(change.change, change.change_expanded_uncertainty, unit)
    )
    return ChangeRow(
        change.name,
        with_uncertainty(change.before, change.before_expanded_uncertainty, unit),
        with_uncertainty(change.after, change.after_expanded_uncertainty, unit),
        difference if difference.startswith(("-", "n")) else f"+{difference}",
        bool(change.beyond_doubt),
    )
