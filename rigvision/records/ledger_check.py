"""A whole ledger looked at again: what it holds is what was recorded, or where it is not."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterable, Mapping
from contextlib import closing
from pathlib import Path

from rigvision.ground.shown import one_line
from rigvision.records.chain_check import ChainCheck
from rigvision.records.connection import connect_to_read
from rigvision.records.entry import Head
from rigvision.records.evidence_check import EvidenceCheck
from rigvision.records.evidence_store import EvidenceStore, evidence_folder
from rigvision.records.head_mark import is_of, mark_path, noted_head
from rigvision.records.index_check import IndexCheck
from rigvision.records.ledger_error import spoken
from rigvision.records.ledger_report import Findings, LedgerReport
from rigvision.records.migrations import MIGRATIONS, migrate, missing
from rigvision.records.opening import refuse_other_databases, refuse_other_files
from rigvision.records.signature_check import SignatureCheck
from rigvision.records.statement_check import StatementCheck

#: What is being looked at, how much of it is done, and of how much where that is known.
Progress = Callable[[str, int, int | None], None]


def untold(what: str, done: int, of: int | None) -> None:
    """Where nobody wants to know."""


_EVERY = 500


def check_ledger(
    path: Path,
    *,
    evidence: bool = True,
    known_heads: Iterable[Head] = (),
    progress: Progress = untold,
) -> LedgerReport:
    """Look at all of a ledger, of which nothing is changed; other programs may write meanwhile.

    ``known_heads`` are from what left the house: the chain must still lead through them. Raises
    LedgerError where the file is no ledger, or so damaged that it cannot be opened.
    """
    with spoken(path):
        refuse_other_files(path)
        with closing(connect_to_read(path)) as connection:
            refuse_other_databases(connection, path)
            return _LedgerCheck(path, connection, known_heads, progress).report(evidence)


class _LedgerCheck:
    def __init__(
        self,
        path: Path,
        connection: sqlite3.Connection,
        known_heads: Iterable[Head],
        progress: Progress,
    ) -> None:
        # Bytes that are no UTF-8 must come through, to be seen as what was changed.
        connection.text_factory = lambda text: text.decode("utf-8", "surrogateescape")
        self._path = path
        self._connection = connection
        self._progress = progress
        self._findings = Findings()
        self._signatures = SignatureCheck()
        statements = StatementCheck(connection, self._findings, self._signatures)
        anchors = self._anchors(known_heads)
        self._chain = ChainCheck(self._findings, anchors, statements, self._signatures)
        self._evidence = EvidenceCheck(EvidenceStore(evidence_folder(path)), self._findings)

    def report(self, evidence: bool) -> LedgerReport:
        self._connection.execute("BEGIN")  # all that is read is of one moment
        try:
            self._structure()
            with self._signatures:
                self._entries()
            if evidence:
                self._evidence.all_named(self._connection, self._evidence_seen)
                self._evidence.unnamed(self._connection)
        except (sqlite3.Error, UnicodeDecodeError) as error:
            text = f"SQLite cannot read it beyond entry {self._chain.count}: "
            self._findings.add(
                "file-damaged", text + one_line(str(error), 200) + ".", self._chain.count
            )
        return LedgerReport(
            self._path,
            self._chain.head,
            self._chain.count,
            self._findings.kept(),
            self._findings.more(),
            self._evidence.files if evidence else None,
            self._evidence.size_bytes,
        )

    def _anchors(self, known_heads: Iterable[Head]) -> Mapping[int, str]:
        anchors = {head.count: head.hash for head in known_heads}
        noted = noted_head(self._path)
        if noted is None and mark_path(self._path).exists():
            text = f"the note of its newest head, {mark_path(self._path).name}, cannot be read."
            self._findings.add("mark-unread", text, proves_change=False)
        if noted is not None:
            if is_of(noted, noted.ledger, noted.public_key):
                anchors.setdefault(noted.count, noted.hash)
            else:
                text = f"the note of its newest head, {mark_path(self._path).name}, was changed."
                self._findings.add("mark-changed", text)
        return anchors

    def _structure(self) -> None:
        """SQLite's own tables, and ours: guards that were taken away show that somebody wrote."""
        for (said,) in self._connection.execute("PRAGMA integrity_check(10)"):
            if said != "ok":
                self._findings.add("file-damaged", f"SQLite says: {one_line(said, 200)}.")
        if missing(self._connection, self._path):
            text = "it is of an older rigvision; its index was not compared."
            self._findings.add("older", text, proves_change=False)
            return
        for name in sorted(_schema(self._connection) ^ _schema_as_made(), key=repr):
            text = (
                f"the table, index or guard '{one_line(str(name[0]), 60)}' is not as it was made."
            )
            self._findings.add("schema-changed", text)

    def _entries(self) -> None:
        index = None
        if not missing(self._connection, self._path):
            index = IndexCheck(self._connection, self._findings)
        (total,) = self._connection.execute("SELECT count(*) FROM entry").fetchone()
        self._signatures.expect_many(total)
        for row in self._connection.execute(
            "SELECT sequence, kind, recorded_at, body, previous, hash, signature "
            "FROM entry ORDER BY sequence"
        ):
            entry = self._chain.entry(row)
            if entry is not None and index is not None:
                index.entry(entry)
            if self._chain.count % _EVERY == 0:
                self._progress("entries", self._chain.count, total)
        self._chain.end()
        if index is not None:
            index.end(self._chain.count)
        if not self._chain.count:
            self._findings.add("entry-missing", "it has no entry at all.")

    def _evidence_seen(self, count: int) -> None:
        if count % _EVERY == 0:
            self._progress("evidence", count, None)


def _schema(connection: sqlite3.Connection) -> set[tuple[str, str]]:
    """Name and text of all that is ours; SQLite's statistics are its own affair."""
    return set(
        connection.execute(
            "SELECT name, coalesce(sql, '') FROM sqlite_schema WHERE name NOT LIKE 'sqlite_stat%'"
        )
    )


def _schema_as_made() -> set[tuple[str, str]]:
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as connection:
        migrate(connection, MIGRATIONS, "")
        return _schema(connection)
