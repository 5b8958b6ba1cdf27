"""The index compared with what its entries make of it, table by table, in one pass."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from math import inf
from typing import Any

from rigvision.records.entry import Entry
from rigvision.records.index_rows import index_rows
from rigvision.records.ledger_report import Findings
from rigvision.records.schema import INDEX_TABLES


class IndexCheck:
    """Feed it every entry in order, then ``end``."""

    def __init__(self, connection: sqlite3.Connection, findings: Findings) -> None:
        self._findings = findings
        self._tables = {table: _Rows(connection, table) for table in INDEX_TABLES}

    def entry(self, entry: Entry) -> None:
        """Compare what the index has of this entry, and of none."""
        try:
            expected = index_rows(entry)
        except (KeyError, TypeError, ValueError, ArithmeticError):
            self._bad(entry.sequence, "lacks what entries of its kind always have.")
            expected = []
        wanted: dict[str, list[tuple[Any, ...]]] = {}
        for table, row in expected:
            wanted.setdefault(table, []).append(self._tables[table].in_order(row))
        for table, rows in self._tables.items():
            if table not in wanted and rows.at > entry.sequence:
                continue  # as most of the time
            if not rows.come_to(entry.sequence):
                self._bad(entry.sequence, f"stands before a row of {table} that has no entry.")
            found = list(rows.of(entry.sequence))
            if sorted(found, key=repr) != sorted(wanted.get(table, ()), key=repr):
                self._bad(entry.sequence, f"is not what the index ({table}) has of it.")

    def end(self, count: int) -> None:
        """After the last of ``count`` entries: no row may be left."""
        for table, rows in self._tables.items():
            if rows.next is not None:
                text = f"the index ({table}) has rows of entries that are not there."
                self._findings.add("index-changed", text, count)

    def _bad(self, sequence: int, what: str) -> None:
        self._findings.add("index-changed", f"entry {sequence} {what}", sequence)


class _Rows:
    """A table's rows in the order of their entries: ``next`` is looked at, ``at`` is its entry."""

    def __init__(self, connection: sqlite3.Connection, table: str) -> None:
        self._cursor = connection.execute(f"SELECT * FROM {table} ORDER BY sequence")
        self._columns = [name for name, *_ in self._cursor.description]
        self._place = self._columns.index("sequence")
        self._step()

    def in_order(self, row: dict[str, Any]) -> tuple[Any, ...]:
        return tuple(row.get(column) for column in self._columns)

    def come_to(self, sequence: int) -> bool:
        """Pass over rows of earlier entries; False where there are any, as all were taken."""
        passed = False
        while self.at < sequence:
            passed = True
            self._step()
        return not passed

    def of(self, sequence: int) -> Iterator[tuple[Any, ...]]:
        while self.next is not None and self.at == sequence:
            yield self.next
            self._step()

    def _step(self) -> None:
        self.next: tuple[Any, ...] | None = self._cursor.fetchone()
        at = inf if self.next is None else self.next[self._place]
        # In a damaged file even this column may hold something else, which is of no entry.
        self.at: float = at if isinstance(at, (int, float)) else -inf
