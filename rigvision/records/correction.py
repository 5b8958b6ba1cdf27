"""A record that is wrong: said in an entry of its own, which the record then carries."""

from __future__ import annotations

from rigvision.ground.errors import UsageError
from rigvision.records.bodies import CheckCorrected
from rigvision.records.entry import Entry
from rigvision.records.given_text import LONGEST_REMARK, given_text
from rigvision.records.ledger import Ledger
from rigvision.records.person import checked_name
from rigvision.records.record_view import view_record


def correct_record(
    ledger: Ledger, typed: str, cause: str, corrected_by: str, replaced_by: str | None = None
) -> Entry:
    """Say what was wrong with a record. From here on it is superseded and cannot be signed.

    Raises UsageError for an unknown record, one that is corrected already, or a replacement that
    is itself corrected.
    """
    name = checked_name(corrected_by)
    why = given_text(cause, "the cause", LONGEST_REMARK)
    with ledger.writing() as writing:
        view = view_record(ledger, typed)
        if view.corrections:
            raise UsageError(
                "corrected-already",
                f"Record {view.record} was corrected already by "
                f"{view.corrections[0].corrected_by}: {view.corrections[0].cause}.",
                "Nothing needs doing.",
            )
        other = _replacement(ledger, view.record, replaced_by)
        return writing.append(CheckCorrected(view.record, why, name, other))


def _replacement(ledger: Ledger, record: str, typed: str | None) -> str | None:
    if typed is None:
        return None
    other = view_record(ledger, typed)
    if other.record == record or other.corrections:
        raise UsageError(
            "unfit-replacement",
            f"Record {other.record} cannot take the place of {record}: "
            + ("it is the same." if other.record == record else "it was corrected itself."),
            "Name the record that holds instead, or none.",
        )
    return other.record
