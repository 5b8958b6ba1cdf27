"""A trainer's ruling on a record: what it should have been called, and why, in an entry."""

from __future__ import annotations

from typing import get_args

from rigvision.ground.errors import UsageError
from rigvision.ground.shown import one_line
from rigvision.records.bodies import Noted, RulingWord
from rigvision.records.entry import Entry
from rigvision.records.given_text import LONGEST_REMARK, given_text
from rigvision.records.ledger import Ledger
from rigvision.records.person import checked_name
from rigvision.records.record_view import view_record

#: The kind of a ``Noted`` that carries a ruling.
RULING = "ruling"
RULING_WORDS: tuple[str, ...] = get_args(RulingWord)


def note_ruling(ledger: Ledger, typed: str, ruling: str, text: str, noted_by: str) -> Entry:
    """Add a ruling to a record; a later one stands beside it, the newest counts.

    Raises UsageError for an unknown record, and for words that cannot be kept.
    """
    name = checked_name(noted_by)
    why = given_text(text, "the text", LONGEST_REMARK)
    with ledger.writing() as writing:
        view = view_record(ledger, typed)
        return writing.append(Noted(view.record, RULING, why, name, _word(ruling)))


def _word(ruling: str) -> RulingWord:
    for word in get_args(RulingWord):
        if word == ruling:
            found: RulingWord = word
            return found
    raise UsageError(
        "unknown-ruling",
        f"'{one_line(ruling, 40)}' is no ruling.",
        f"Rule {', '.join(RULING_WORDS)}.",
    )
