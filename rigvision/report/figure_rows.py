"""The figures of a result as rows: name, value with uncertainty, limit, whether it is out.

A result just measured carries its frame, and so all limits; a saved one those it was judged by.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rigvision.decision.result import CheckResult
from rigvision.report.figures import NOT_MEASURED, percent, with_uncertainty
from rigvision.world.frame import Frame

if TYPE_CHECKING:
    from rigvision.report.saved_result import SavedResult

#: Nobody turns a wrench finer than this; more decimals would only hide the number.
FINEST_TURN = 0.01

#: Names, the figure in ``YokeResult`` and ``YokeLimits``, unit, the limit's decimals, reason.
_YOKE_FIGURES = (
    ("Yoke to the side", "Side", "lateral_offset", "mm", 2, "yoke-offset"),
    ("Yoke tilt", "Tilt", "tilt", "deg", 1, "yoke-tilt"),
    ("Yoke seat gap", "Seat", "seat_gap", "mm", 2, "yoke-not-seated"),
    ("Clock", "Clock", "clock", "deg", 1, "clock-off"),
)


@dataclass(frozen=True, slots=True)
class FigureRow:
    """One figure. ``out`` where a reason of the verdict speaks of it."""

    name: str
    short_name: str
    value: str
    limit: str = ""
    short_limit: str = ""
    out: bool = False


def figure_rows(result: CheckResult | SavedResult) -> list[FigureRow]:
    """Gap, taper and yoke; each says "not measured" where it was not."""
    return [*_gap_rows(result), *_yoke_rows(result), _turns_row(result)]


def _gap_rows(result: CheckResult | SavedResult) -> Iterator[FigureRow]:
    gap, codes = result.gap, {r.code for r in result.reasons}
    if gap is None:
        yield FigureRow("Gap", "Gap", NOT_MEASURED)
        return
    limits = f"{gap.lower_mm:.2f} to {gap.upper_mm:.2f} mm"
    inside = percent(gap.conformance_probability)
    yield FigureRow(
        "Gap",
        "Gap",
        with_uncertainty(gap.mean_mm, gap.expanded_uncertainty_mm, "mm"),
        f"{limits} (inside: {inside})" if gap.conformance_probability is not None else limits,
        f"{gap.lower_mm:.2f} … {gap.upper_mm:.2f}",
        bool(codes & {"gap-high", "gap-low"}),
    )
    yield FigureRow(
        "Taper",
        "Taper",
        with_uncertainty(gap.taper_mm, gap.taper_expanded_uncertainty_mm, "mm"),
        *_at_most(_taper_limit_mm(result), 2, "mm"),
        "taper" in codes,
    )


def _yoke_rows(result: CheckResult | SavedResult) -> Iterator[FigureRow]:
    yoke, codes = result.yoke, {r.code for r in result.reasons}
    for name, short_name, figure, unit, decimals, code in _YOKE_FIGURES:
        expanded = getattr(yoke, f"{figure}_expanded_uncertainty_{unit}")
        yield FigureRow(
            name,
            short_name,
            with_uncertainty(getattr(yoke, f"{figure}_{unit}"), expanded, unit),
            *_at_most(_yoke_limit(result, figure, unit), decimals, unit),
            code in codes,
        )
    engaged = {True: "yes", False: "no", None: NOT_MEASURED}[yoke.engaged]
    yield FigureRow("Yoke engaged", "Engaged", engaged)


def _turns_row(result: CheckResult | SavedResult) -> FigureRow:
    turns = result.turns
    if turns.value is None or turns.direction is None:
        return FigureRow("Turns", "Turns", NOT_MEASURED)
    if turns.direction == "none":
        return FigureRow("Turns", "Turns", "none needed")
    expanded = turns.expanded_uncertainty
    if expanded is not None:
        expanded = max(expanded, FINEST_TURN)
    amount = with_uncertainty(abs(turns.value), expanded, "", most_decimals=2)
    source = {"gap": "from the gap", "gap+clock": "from gap and clock", None: ""}[turns.source]
    short = f"to {turns.direction}"
    return FigureRow(f"Turns {short}", "Turns", amount, source, short)


def after_turn_row(result: CheckResult | SavedResult) -> FigureRow | None:
    """The gap to expect once turned, and how sure the flat is; None where no turn is due."""
    turns = result.turns
    if turns.direction not in ("close", "open") or turns.gap_after_mm is None:
        return None
    expanded = turns.gap_after_expanded_uncertainty_mm
    sure = turns.flat_probability
    return FigureRow(
        "Gap after turning",
        "Then",
        with_uncertainty(turns.gap_after_mm, expanded, "mm"),
        "" if sure is None else f"flat right with {percent(sure)}",
    )


def risk_line(result: CheckResult | SavedResult) -> str | None:
    """What a pass leaves of doubt; None for other verdicts."""
    decision = result.decision
    if result.verdict != "pass" or decision is None or decision.joint_risk is None:
        return None
    risk, at_most = percent(decision.joint_risk), percent(decision.joint_risk_at_most)
    bound = "" if at_most == risk else f", at most {at_most}"
    return f"Risk that at least one figure is outside all the same: {risk}{bound}."


def _at_most(limit: float | None, decimals: int, unit: str) -> tuple[str, str]:
    """The limit in words and in short; nothing where none is known."""
    if limit is None:
        return "", ""
    return f"at most {limit:.{decimals}f} {unit}", f"≤ {limit:.{decimals}f}"


def _taper_limit_mm(result: CheckResult | SavedResult) -> float | None:
    frame = _frame_of(result)
    return frame.gap.taper_limit_mm if frame else _judged_limit(result, "taper")


def _yoke_limit(result: CheckResult | SavedResult, figure: str, unit: str) -> float | None:
    frame = _frame_of(result)
    if frame is None:
        return _judged_limit(result, figure)
    return getattr(frame.yoke_limits, f"{figure}_{unit}", None)


def _judged_limit(result: CheckResult | SavedResult, quantity: str) -> float | None:
    """The upper limit that a figure was judged by; None where it was not judged."""
    judged = result.decision.characteristics if result.decision else ()
    return next((c.upper for c in judged if c.quantity == quantity), None)


def _frame_of(result: CheckResult | SavedResult) -> Frame | None:
    """The frame the photo was judged by, where the result still carries its evidence."""
    frame = getattr(getattr(result, "evidence", None), "frame", None)
    return frame if isinstance(frame, Frame) else None
