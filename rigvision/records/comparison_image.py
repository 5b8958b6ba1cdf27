"""A door before and after as one picture, for whoever signs and for the maintenance record."""

from __future__ import annotations

from collections.abc import Sequence

from rigvision.records.comparison import Change
from rigvision.records.ledger import Ledger
from rigvision.records.record_view import RecordView
from rigvision.report.figures import NOT_MEASURED, with_uncertainty
from rigvision.report.wording import LOOKS

INDEPENDENT = (
    "Change: after less before; its uncertainty takes the two photos' errors as independent. "
    "◆ marks a change that is larger than its uncertainty."
)


def comparison_image(
    ledger: Ledger,
    before: RecordView,
    after: RecordView,
    changes: Sequence[Change],
    expected: Change | None,
) -> bytes:
    """JPEG. Raises LedgerError where an image is missing from the evidence or was changed."""
    from rigvision.report.side_by_side import Side, TableRow, side_by_side

    sides = tuple(
        Side(
            f"{word}   {LOOKS[view.result.verdict].word}",
            LOOKS[view.result.verdict].colour,
            (f"record {view.record}, {view.status}", f"recorded {_minute(view)} UTC"),
            ledger.evidence.read(view.image.sha256),
        )
        for word, view in (("BEFORE", before), ("AFTER", after))
    )
    rows = [TableRow(("Figure", "before", "after", "change"))]
    rows += [TableRow(cells(c), bool(c.beyond_doubt)) for c in changes]
    job = after.job
    title = f"Engine {job.engine}, {job.frame} door {job.door}"
    head = ledger.head()
    proof = f"Ledger {head.ledger}, {head.count} entries, head {head.hash[:32]}"
    notes = [INDEPENDENT, *([expectation(expected)] if expected else []), proof]
    return side_by_side(title, (sides[0], sides[1]), rows, notes)


def _minute(view: RecordView) -> str:
    return view.core.recorded_at[:16].replace("T", " ")


def cells(change: Change) -> tuple[str, str, str, str]:
    """Name, before, after, change, each with its uncertainty as people read it."""
    unit = change.unit
    return (
        change.name,
        with_uncertainty(change.before, change.before_expanded_uncertainty, unit),
        with_uncertainty(change.after, change.after_expanded_uncertainty, unit),
        ""
        if change.change is None
        else with_uncertainty(change.change, change.change_expanded_uncertainty, unit),
    )


def expectation(expected: Change) -> str:
    """What the first check foresaw, and whether it came so."""
    promised = with_uncertainty(expected.before, expected.before_expanded_uncertainty, "mm")
    found = with_uncertainty(expected.after, expected.after_expanded_uncertainty, "mm")
    if expected.after is None:
        found = NOT_MEASURED
    said = f"Foreseen after the turn: {promised}; found: {found}"
    if expected.beyond_doubt is None:
        return f"{said}."
    return f"{said}, {'not as foreseen' if expected.beyond_doubt else 'as foreseen'}."
