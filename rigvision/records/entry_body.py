"""The body of an entry of a ledger as its dataclass, where the kind is known beforehand."""

from __future__ import annotations

from typing import TypeVar

from rigvision.records.entry import Entry
from rigvision.records.ledger_error import LedgerError
from rigvision.records.strict_json import read_part

B = TypeVar("B")


def entry_body(entry: Entry, kind: type[B]) -> B:
    """The body of an entry of that kind; fields that it was written before have their defaults.

    Raises LedgerError where a field is missing or of another type.
    """
    try:
        body: B = read_part(kind, entry.body)
    except ValueError as error:
        raise LedgerError(
            "entry-unreadable",
            f"Entry {entry.sequence} ({entry.kind}) does not have the form that it should: "
            f"{error}.",
            "Run `rigvision verify` on the ledger; if it is intact, install the newest rigvision.",
        ) from error
    return body
