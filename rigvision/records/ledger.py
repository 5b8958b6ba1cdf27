"""The ledger: entries in one SQLite file, each chained to the one before, only ever added to."""

from __future__ import annotations

import secrets
import sqlite3
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Self, get_args

import rigvision
from rigvision.records.bodies import LedgerOpened
from rigvision.records.canonical import read
from rigvision.records.connection import connect, connect_to_read, transaction
from rigvision.records.entry import NOTHING_BEFORE, Entry, Head, Kind
from rigvision.records.evidence_store import EvidenceStore, evidence_folder
from rigvision.records.ledger_error import LedgerError, shown_path, spoken
from rigvision.records.ledger_key import LedgerKey, key_path, new_key, read_key
from rigvision.records.migrations import MIGRATIONS, migrate, missing
from rigvision.records.schema import APPLICATION_ID
from rigvision.records.writing import Writing

_COLUMNS = "sequence, kind, recorded_at, body, previous, hash, signature"
KINDS: tuple[str, ...] = get_args(Kind)


def now() -> str:
    """The clock's time: UTC with microseconds, ``2026-01-31T23:59:59.000000Z``."""
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


class Ledger:
    """An open ledger, for one thread. Use as a context manager, or ``close`` it.

    ``evidence`` keeps the files that entries name by hash. All methods raise LedgerError.
    """

    def __init__(self, path: Path, connection: sqlite3.Connection) -> None:
        self.path = path
        self.connection = connection
        self.evidence = EvidenceStore(evidence_folder(path))
        self._key: LedgerKey | None = None
        opened = self.entry(1)
        if opened is None or opened.kind != "ledger-opened":
            raise _not_a_ledger(path)
        self.identity: str = opened.body["ledger"]
        self.public_key: str = opened.body["public_key"]

    @classmethod
    def create(cls, path: Path) -> Self:
        """A new ledger in a new file, with a key of its own. The folder is made where missing."""
        with spoken(path):
            if path.exists() and path.stat().st_size:
                raise _exists(path)
            _refuse_lost(path)
            path.parent.mkdir(parents=True, exist_ok=True)
            with ExitStack() as undo:
                connection = connect(path, create=True)
                undo.callback(connection.close)
                _first_entry(connection, path)
                ledger = cls(path, connection)
                undo.pop_all()
        return ledger

    @classmethod
    def open(cls, path: Path, *, read_only: bool = False) -> Self:
        """An existing ledger. One of an older rigvision is brought up to date, unless read only."""
        with spoken(path):
            _refuse_other_files(path)
            with ExitStack() as undo:
                connection = connect_to_read(path) if read_only else connect(path)
                undo.callback(connection.close)
                _bring_up_to_date(connection, path, read_only)
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
            last = self.entry(self.head().count)
            assert last is not None  # entry 1 is always there
            yield Writing(self.connection, self._key, self.identity, last, now(), self.path)

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
        raise LedgerError(
            "ledger-damaged",
            f"Entry {sequence} of the ledger {shown_path(path)} cannot be read.",
            "Run `rigvision verify` on it, keep it as it is, and restore the newest backup.",
        )
    return Entry(sequence, kind, recorded_at, plain, previous, entry_hash, signature)  # type: ignore[arg-type]


def _refuse_other_files(path: Path) -> None:
    """Raises LedgerError where there is no file, or one that is surely no ledger."""
    if not path.exists():
        _refuse_lost(path)
        raise LedgerError(
            "no-ledger-yet",
            f"There is no ledger at {shown_path(path)}.",
            "Open a job to begin one, or choose another with --ledger or RIGVISION_LEDGER.",
        )
    if not path.is_file():
        raise _not_a_ledger(path)
    if not path.stat().st_size:
        _refuse_lost(path)
        raise LedgerError(
            "no-ledger-yet",
            f"The file {shown_path(path)} is empty.",
            "Open a job to begin a ledger in it, or choose another.",
        )


def _refuse_lost(path: Path) -> None:
    """Evidence without its ledger: to begin anew would hide that records were lost."""
    if evidence_folder(path).is_dir() and any(evidence_folder(path).iterdir()):
        raise LedgerError(
            "ledger-lost",
            f"The ledger {shown_path(path)} is gone, but its evidence is still there.",
            "Restore the newest backup (`rigvision record restore`), or choose another name.",
        )


def _exists(path: Path) -> LedgerError:
    return LedgerError(
        "ledger-exists",
        f"There is a file already at {shown_path(path)}.",
        "Open that one, or choose another name.",
    )


def _not_a_ledger(path: Path) -> LedgerError:
    return LedgerError(
        "no-ledger",
        f"The file {shown_path(path)} is no ledger of rigvision.",
        "Choose another with --ledger or RIGVISION_LEDGER. The file was not touched.",
    )


def _first_entry(connection: sqlite3.Connection, path: Path) -> None:
    """All tables and the first entry in one transaction, so that no half ledger can be there."""
    with transaction(connection):
        if len(missing(connection, path)) != len(MIGRATIONS):
            raise _exists(path)  # another program was quicker
        migrate(connection, MIGRATIONS, now())
        key = new_key(key_path(path))
        identity = secrets.token_hex(8)
        nothing = Entry(0, "ledger-opened", "", {}, "", NOTHING_BEFORE, "")
        writing = Writing(connection, key, identity, nothing, now(), path)
        writing.append(LedgerOpened(identity, key.public_hex, rigvision.__version__))


def _bring_up_to_date(connection: sqlite3.Connection, path: Path, read_only: bool) -> None:
    if connection.execute("PRAGMA application_id").fetchone() != (APPLICATION_ID,):
        raise _not_a_ledger(path)
    todo = missing(connection, path)
    if not todo:
        return
    if read_only:
        raise LedgerError(
            "ledger-older",
            f"The ledger {shown_path(path)} is of an older rigvision and is not brought up to "
            "date while it is only read.",
            "Open it once where it can be written, or read a copy of it.",
        )
    with transaction(connection):
        migrate(connection, missing(connection, path), now())  # asked again, now that it is ours
