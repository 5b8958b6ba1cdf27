"""Connections to the ledger's file, and transactions on them."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

#: How long a writer waits for others; each of them is done in milliseconds.
BUSY_S = 30.0


def connect(path: Path, *, create: bool = False) -> sqlite3.Connection:
    """To read and write; the file is not touched yet. sqlite3.Error."""
    mode = "rwc" if create else "rw"
    return _connected(f"{path.absolute().as_uri()}?mode={mode}")


def keep_safe(connection: sqlite3.Connection) -> None:
    """Write-ahead log, every commit forced to the disk. sqlite3.Error."""
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = FULL")


def connect_to_read(path: Path) -> sqlite3.Connection:
    """For reading only: also from a folder that cannot be written to. sqlite3.Error.

    There, where no program has the ledger open, SQLite must be told that it need make no files.
    """
    log = path.with_name(f"{path.name}-wal")
    alone = not log.exists() and not os.access(path.absolute().parent, os.W_OK)
    uri = f"{path.absolute().as_uri()}?mode=ro" + ("&immutable=1" if alone else "")
    return _connected(uri)


def _connected(uri: str) -> sqlite3.Connection:
    connection = sqlite3.connect(uri, timeout=BUSY_S, isolation_level=None, uri=True)
    # Not to run what a forged file brings along; errors show when the file is first read.
    connection.execute("PRAGMA trusted_schema = OFF")
    return connection


@contextmanager
def transaction(connection: sqlite3.Connection) -> Iterator[None]:
    """The only writer meanwhile: all that is done in it is kept at its end, or nothing is."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
        connection.execute("COMMIT")
    finally:
        # Some errors, such as a full disk, make SQLite roll back by itself.
        if connection.in_transaction:
            connection.execute("ROLLBACK")
