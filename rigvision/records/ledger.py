"""The ledger: entries in one SQLite file, each chained to the one before, only ever added to."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from types import TracebackType
from typing import Self, get_args

from rigvision.records.bodies import LedgerOpened
from rigvision.records.canonical import read
from rigvision.records.clock import now
from rigvision.records.connection import connect, connect_to_read, keep_safe, transaction
from rigvision.records.entry import Entry, Head, Kind, entry_text_hash
from rigvision.records.entry_body import entry_body
from rigvision.records.evidence_store import EvidenceStore, evidence_folder
from rigvision.records.head_mark import is_of, lost_entries, note_head, noted_head
from rigvision.records.ledger_error import LedgerError, shown_path, spoken
from rigvision.records.ledger_key import LedgerKey, key_path, read_key
from rigvision.records.opening import (
    begin,
    bring_up_to_date,
    refuse_older,
    refuse_other_databases,
    refuse_other_files,
)
from rigvision.records.writing import Writing

_COLUMNS = "sequence, kind, recorded_at, body, previous, hash, signature"
KINDS: tuple[str, ...] = get_args(Kind)


class Ledger:
    """An open ledger, for one thread. Use as a context manager, or ``close`` it.

    ``evidence`` keeps the files that entries name by hash. All methods raise LedgerError.
    """

    def __init__(self, path: Path, connection: sqlite3.Connection) -> None:
        self.path = path
        self.connection = connection
        self.evidence = EvidenceStore(evidence_folder(path))
        self._key: LedgerKey | None = None
        first = self.entry(1)
        if first is None or first.kind != "ledger-opened":
            raise unreadable_entry(1, path)
        opened = entry_body(first, LedgerOpened)
        self.identity = opened.ledger
        self.public_key = opened.public_key

    @classmethod
    def create(cls, path: Path) -> Self:
        """A new ledger in a new file, with a key of its own. The folder is made where missing."""
        with spoken(path):
            begin(path)
        return cls.open(path)

    @classmethod
    def open(cls, path: Path, *, read_only: bool = False) -> Self:
        """An existing ledger. One of an older rigvision is brought up to date, unless read only."""
        with spoken(path), ExitStack() as undo:
            refuse_other_files(path)
            connection = connect_to_read(path) if read_only else connect(path)
            undo.callback(connection.close)
            refuse_other_databases(connection, path)
            if read_only:
                refuse_older(connection, path)
            else:
                keep_safe(connection)
                bring_up_to_date(connection, path)
            ledger = cls(path, connection)
            undo.pop_all()
        return ledger

    @classmethod
    def open_or_create(cls, path: Path) -> Self:
        """The ledger at ``path``, which is made where there is none."""
        try:
            return cls.open(path)
        except LedgerError as error:
            if error.code != "no-ledger-yet":
                raise
        try:
            return cls.create(path)
        except LedgerError as error:
            if error.code != "ledger-exists":
                raise
            return cls.open(path)  # another program was quicker

    def head(self) -> Head:
        """How far the ledger has come."""
        with spoken(self.path):
            sql = "SELECT sequence, hash, signature FROM entry ORDER BY sequence DESC LIMIT 1"
            count, entry_hash, signature = self.connection.execute(sql).fetchone()
        return Head(self.identity, count, entry_hash, signature, self.public_key)

    def entry(self, sequence: int) -> Entry | None:
        """One entry by its number, None where there is none."""
        return next(self.entries(sequence, sequence), None)

    def entries(self, first: int = 1, last: int | None = None) -> Iterator[Entry]:
        """Entries in order, both ends included, read one by one."""
        sql = f"SELECT {_COLUMNS} FROM entry WHERE sequence >= ? AND sequence <= ? ORDER BY 1"
        yield from self._entries(sql, (first, (1 << 62) if last is None else last))

    def entries_of(self, record: str) -> Iterator[Entry]:
        """All entries that concern a record, from its recording on, in order."""
        sql = (
            f"SELECT {_COLUMNS} FROM entry WHERE sequence IN "
            "(SELECT sequence FROM mention WHERE record = ?) ORDER BY sequence"
        )
        yield from self._entries(sql, (record,))

    def entries_of_kind(self, kind: Kind) -> Iterator[Entry]:
        """All entries of a kind that the index knows as a table: people, jobs, corrections."""
        table = _TABLES[kind]
        sql = (
            f"SELECT {_COLUMNS} FROM entry WHERE sequence IN "
            f"(SELECT sequence FROM {table}) AND kind = ? ORDER BY sequence"
        )
        yield from self._entries(sql, (kind,))

    @contextmanager
    def writing(self) -> Iterator[Writing]:
        """A write transaction: all entries that are appended in it are kept, or none.

        Other programs wait meanwhile, so nothing slow belongs in here. Evidence is put before.
        """
        if self._key is None:
            self._key = self._own_key()
        with spoken(self.path), transaction(self.connection):
            begun = self.head()
            self._refuse_lost_entries(begun.count)
            last_at = self._last_recorded_at()
            writing = Writing(self.connection, self._key, begun, now(), last_at)
            yield writing
        if writing.head.count > begun.count:
            note_head(self.path, writing.head)

    def signature(self, message: bytes) -> str:
        """The ledger's own signature over a message, which begins with a domain of its own."""
        if self._key is None:
            self._key = self._own_key()
        return self._key.sign(message).hex()

    def close(self) -> None:
        self.connection.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def _entries(self, sql: str, values: tuple[object, ...]) -> Iterator[Entry]:
        with spoken(self.path):
            for row in self.connection.execute(sql, values):
                yield entry_of(row, self.path)

    def _last_recorded_at(self) -> str:
        """When the last entry was recorded, which must be what it was: it is built upon."""
        sql = f"SELECT {_COLUMNS} FROM entry ORDER BY sequence DESC LIMIT 1"
        sequence, kind, at, body, previous, stored, _ = self.connection.execute(sql).fetchone()
        if entry_text_hash(sequence, kind, at, body.encode(), previous) != stored:
            raise LedgerError(
                "ledger-changed",
                f"The last entry of the ledger {shown_path(self.path)} was changed.",
                "Nothing was added to it. Run `rigvision verify` on it and restore the newest "
                "backup.",
            )
        recorded_at: str = at
        return recorded_at

    def _refuse_lost_entries(self, count: int) -> None:
        noted = noted_head(self.path)
        if noted and noted.count > count and is_of(noted, self.identity, self.public_key):
            raise lost_entries(self.path, noted, count)

    def _own_key(self) -> LedgerKey:
        key = read_key(key_path(self.path))
        if key.public_hex != self.public_key:
            raise LedgerError(
                "ledger-key-other",
                f"The key {shown_path(key_path(self.path))} is that of another ledger.",
                "Put this ledger's own key back from a backup.",
            )
        return key


_TABLES: dict[str, str] = {
    "person-enrolled": "person",
    "person-withdrawn": "withdrawal",
    "job-opened": "job",
    "job-closed": "job_closed",
    "check-recorded": "check_recorded",
    "check-signed": "signing",
    "check-corrected": "correction",
}


def entry_of(row: tuple[object, ...], path: Path) -> Entry:
    """An entry from the columns of its row. Raises LedgerError where they are not of that form."""
    sequence, kind, recorded_at, body, previous, entry_hash, signature = row
    try:
        plain = read(str(body))
    except (ValueError, RecursionError):
        plain = None
    if kind not in KINDS or not isinstance(plain, dict):
        raise unreadable_entry(sequence, path)
    return Entry(sequence, kind, recorded_at, plain, previous, entry_hash, signature)  # type: ignore[arg-type]


def unreadable_entry(sequence: object, path: Path) -> LedgerError:
    return LedgerError(
        "ledger-damaged",
        f"Entry {sequence} of the ledger {shown_path(path)} cannot be read.",
        "Run `rigvision verify` on it, keep it as it is, and restore the newest backup.",
    )
