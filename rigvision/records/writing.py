"""What is appended to the ledger in one transaction."""

from __future__ import annotations

import sqlite3
from dataclasses import fields, is_dataclass
from typing import Any

from rigvision.records import bodies
from rigvision.records.bodies import Body
from rigvision.records.canonical import canonical, read
from rigvision.records.entry import Entry, Head, Kind, entry_text_hash
from rigvision.records.index_rows import Row, index_rows
from rigvision.records.ledger_key import LedgerKey

KIND_OF: dict[type, Kind] = {
    bodies.LedgerOpened: "ledger-opened",
    bodies.PersonEnrolled: "person-enrolled",
    bodies.PersonWithdrawn: "person-withdrawn",
    bodies.JobOpened: "job-opened",
    bodies.JobClosed: "job-closed",
    bodies.CheckRecorded: "check-recorded",
    bodies.CheckSigned: "check-signed",
    bodies.CheckCorrected: "check-corrected",
    bodies.Exported: "exported",
    bodies.Noted: "noted",
}


class Writing:
    """An open write transaction. ``recorded_at`` is the clock's time when it began.

    All its entries carry that time, even where an earlier entry carries a later one: what the
    clock said is kept (``clock_jumped_back``).
    """

    def __init__(
        self,
        connection: sqlite3.Connection,
        key: LedgerKey,
        head: Head,
        recorded_at: str,
        last_recorded_at: str = "",
    ) -> None:
        self.recorded_at = recorded_at
        self.clock_jumped_back = recorded_at < last_recorded_at
        self.head = head
        self._connection = connection
        self._key = key

    def append(self, body: Body) -> Entry:
        """Add one entry, signed; ``head`` is then its head. Raises ValueError for a body that has
        no canonical form."""
        kind, content = KIND_OF[type(body)], canonical(_plain(body))
        sequence, previous = self.head.count + 1, self.head.hash
        hashed = entry_text_hash(sequence, kind, self.recorded_at, content, previous)
        head = self._key.signed_head(self.head.ledger, sequence, hashed)
        text = content.decode()
        parts = (sequence, kind, self.recorded_at, read(text), previous, hashed)
        entry = Entry(*parts, head.signature)
        self._insert(entry, text)
        self.head = head
        return entry

    def _insert(self, entry: Entry, text: str) -> None:
        values = (entry.sequence, entry.kind, entry.recorded_at, text)
        self._connection.execute(
            "INSERT INTO entry VALUES (?, ?, ?, ?, ?, ?, ?)",
            (*values, entry.previous, entry.hash, entry.signature),
        )
        for row in index_rows(entry):
            insert_row(self._connection, row)


def insert_row(connection: sqlite3.Connection, row: Row) -> None:
    """One row into the index; its table and columns are our own names."""
    table, values = row
    columns = ", ".join(values)
    marks = ", ".join("?" * len(values))
    connection.execute(
        f"INSERT INTO {table} ({columns}) VALUES ({marks})",
        tuple(values.values()),
    )


def _plain(part: Any) -> Any:
    """As ``dataclasses.asdict``, which would copy results that are plain already, too."""
    if is_dataclass(part):
        return {field.name: _plain(getattr(part, field.name)) for field in fields(part)}
    return [_plain(item) for item in part] if isinstance(part, tuple) else part
