"""How a ledger's tables came to be: named steps, each done once, each in a transaction."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from rigvision.records import schema
from rigvision.records.ledger_error import LedgerError, shown_path

_MADE = """
CREATE TABLE migration (
    number INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE,
    done_at TEXT NOT NULL
) STRICT;
"""


@dataclass(frozen=True, slots=True)
class Migration:
    """``apply`` changes the tables on a connection whose write transaction is open."""

    name: str
    apply: Callable[[sqlite3.Connection], None]


def statements(connection: sqlite3.Connection, script: str) -> None:
    """Run a script inside the open transaction; ``executescript`` would commit it first."""
    part = ""
    for line in script.splitlines(keepends=True):
        part += line
        if sqlite3.complete_statement(part):
            connection.execute(part)
            part = ""


def _first_tables(connection: sqlite3.Connection) -> None:
    statements(connection, _MADE)
    statements(connection, schema.ENTRY)
    statements(connection, schema.guards("entry"))
    statements(connection, schema.INDEX)
    for table in schema.INDEX_TABLES:
        statements(connection, schema.index_guards(table))
    connection.execute(f"PRAGMA application_id = {schema.APPLICATION_ID}")


#: In order. Released ones are never changed, as ledgers have them behind them.
MIGRATIONS: tuple[Migration, ...] = (Migration("first tables", _first_tables),)


def missing(connection: sqlite3.Connection, path: Path) -> tuple[Migration, ...]:
    """The migrations that a ledger has not behind it yet.

    Raises LedgerError for a ledger of a newer rigvision, which has more than are known here.
    """
    known = MIGRATIONS
    if not connection.execute("SELECT 1 FROM sqlite_schema WHERE name = 'migration'").fetchone():
        return known
    done = [name for (name,) in connection.execute("SELECT name FROM migration ORDER BY number")]
    names = [migration.name for migration in known]
    if done != names[: len(done)]:
        raise LedgerError(
            "ledger-newer",
            f"The ledger {shown_path(path)} was written by a newer rigvision.",
            "Install the newest rigvision on this machine. The ledger was not touched.",
        )
    return known[len(done) :]


def migrate(connection: sqlite3.Connection, todo: tuple[Migration, ...], done_at: str) -> None:
    """Do them all in the write transaction that is open."""
    for migration in todo:
        migration.apply(connection)
        connection.execute(
            "INSERT INTO migration SELECT coalesce(max(number), 0) + 1, ?, ? FROM migration",
            (migration.name, done_at),
        )
