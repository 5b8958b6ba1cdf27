"""A door before and after: each figure twice, and what has changed beyond doubt.

Only subtracts what was measured. The errors of the two photos are taken as independent: those
that they share, such as the gauge's own, mostly cancel in a difference, so that the uncertainty
stated of it is rather too large than too small.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from math import hypot
from typing import Any

from rigvision.records.figures import Figure, figures_of
from rigvision.report.saved_result import SavedResult

SCHEMA = "rigvision.comparison/1"
#: Turns are what to do next, not a state that could change.
_NOT_COMPARED = "turns"


@dataclass(frozen=True, slots=True)
class Change:
    """One figure before and after. ``change`` is after less before.

    None stands for what was not measured. ``beyond_doubt``: the change is larger than its own
    expanded uncertainty; None where that is not known.
    """

    key: str
    name: str
    unit: str
    before: float | None
    before_expanded_uncertainty: float | None
    after: float | None
    after_expanded_uncertainty: float | None
    change: float | None
    change_expanded_uncertainty: float | None

    @property
    def beyond_doubt(self) -> bool | None:
        if self.change is None or self.change_expanded_uncertainty is None:
            return None
        return abs(self.change) > self.change_expanded_uncertainty

    def as_json(self) -> dict[str, Any]:
        return asdict(self) | {"beyond_doubt": self.beyond_doubt}


def changes(before: SavedResult, after: SavedResult, flats: int | None = None) -> list[Change]:
    """Every figure that either of the two has, in the order of a result.

    ``flats`` is of the frame's socket: the clock comes round again after one flat.
    """
    first = {f.key: f for f in figures_of(before)}
    second = {f.key: f for f in figures_of(after)}
    keys = [key for key in first | second if key != _NOT_COMPARED]
    period_deg = 360.0 / flats if flats else None
    return [
        _change(first.get(key), second.get(key), period_deg if key == "clock" else None)
        for key in keys
    ]


def expected_after(before: SavedResult, after: SavedResult) -> Change | None:
    """The gap that the first check expected once turned, beside the gap found then.

    None where no turn was called for.
    """
    turns, gap = before.turns, after.gap
    if turns.direction not in ("close", "open") or turns.gap_after_mm is None or gap is None:
        return None
    # The expectation carries no factor of its own: it is made from the gap's.
    factor = before.gap.coverage_factor if before.gap else None
    promised = Figure(
        "gap after turning",
        "Gap expected",
        "mm",
        turns.gap_after_mm,
        turns.gap_after_expanded_uncertainty_mm,
        factor,
    )
    found = Figure(
        "gap", "Gap", "mm", gap.mean_mm, gap.expanded_uncertainty_mm, gap.coverage_factor
    )
    return _change(promised, found, None)


def _change(first: Figure | None, second: Figure | None, period: float | None) -> Change:
    named = first or second
    assert named is not None
    difference, expanded = _difference(first, second, period)
    return Change(
        named.key,
        named.name,
        named.unit,
        first.value if first else None,
        first.expanded_uncertainty if first else None,
        second.value if second else None,
        second.expanded_uncertainty if second else None,
        difference,
        expanded,
    )


def _difference(
    first: Figure | None, second: Figure | None, period: float | None
) -> tuple[float | None, float | None]:
    """After less before, with its expanded uncertainty (JCGM 100, 5.1.2).

    The coverage factor is the larger of the two: by the Welch-Satterthwaite formula a sum never
    has fewer degrees of freedom than the part that has fewest.
    """
    if first is None or second is None or first.value is None or second.value is None:
        return None, None
    difference = second.value - first.value
    if period is not None:
        difference -= period * round(difference / period)
    u_first, u_second = first.standard_uncertainty, second.standard_uncertainty
    if u_first is None or u_second is None:
        return difference, None
    factor = max(first.coverage_factor or 0.0, second.coverage_factor or 0.0)
    return difference, factor * hypot(u_first, u_second)
