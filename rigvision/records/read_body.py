"""An entry's body as its dataclass, checked: what the rest of the program works with."""

from __future__ import annotations

from typing import Any, TypeVar

from rigvision.records.entry import Entry
from rigvision.records.ledger_error import LedgerError

B = TypeVar("B")


def read_body(entry: Entry, kind: type[B]) -> B:
    """The body of an entry of that kind; fields that it was written before have their defaults.

    Raises LedgerError where a field is missing or of another type.
    """
    return read_as(entry.body, kind, f"Entry {entry.sequence} ({entry.kind})")


def read_as(plain: Any, kind: type[B], what: str) -> B:
    """A dataclass of ``bodies`` from its JSON value. ``what`` begins the error's sentence."""
    from pydantic import ValidationError

    try:
        read: B = _reader(kind).validate_python(plain)
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        where = ".".join(str(part) for part in first["loc"]) or "all of it"
        raise LedgerError(
            "entry-unreadable",
            f"{what} does not have the form that it should: {where}: {first['msg']}.",
            "Run `rigvision verify` on the ledger; if it is intact, install the newest rigvision.",
        ) from error
    return read


def _reader(kind: type) -> Any:
    from pydantic import TypeAdapter

    if kind not in _READERS:  # made once, as that is slow
        _READERS[kind] = TypeAdapter(kind)
    return _READERS[kind]


_READERS: dict[type, Any] = {}
