"""How a ledger's file is begun, recognised and brought up to date."""

from __future__ import annotations

import secrets
import sqlite3
import tempfile
from contextlib import closing
from pathlib import Path

import rigvision
from rigvision.records.bodies import LedgerOpened
from rigvision.records.clock import now
from rigvision.records.connection import connect, keep_safe, transaction
from rigvision.records.entry import NOTHING_BEFORE, Head
from rigvision.records.evidence_store import evidence_folder
from rigvision.records.ledger_error import LedgerError, shown_path
from rigvision.records.ledger_key import LedgerKey, key_path, new_key
from rigvision.records.migrations import MIGRATIONS, migrate, missing
from rigvision.records.safe_file import UNFINISHED, name_new, sync_folder
from rigvision.records.schema import APPLICATION_ID
from rigvision.records.writing import Writing


def begin(path: Path) -> None:
    """A new ledger's file and key. Made beside and then named, so that it is never there half.

    Raises LedgerError, sqlite3.Error, OSError.
    """
    if path.exists():
        raise exists(path)
    _refuse_lost(path)
    path.parent.mkdir(parents=True, exist_ok=True)
    key = new_key(key_path(path))
    with tempfile.TemporaryDirectory(prefix=".", suffix=UNFINISHED, dir=path.parent) as folder:
        part = Path(folder) / path.name
        _write_first_entry(part, key)
        try:
            name_new(part, path)
        except FileExistsError as error:
            raise exists(path) from error  # another program was quicker
    sync_folder(path.parent)


def _write_first_entry(part: Path, key: LedgerKey) -> None:
    identity = secrets.token_hex(8)
    nothing = Head(identity, 0, NOTHING_BEFORE, "", key.public_hex)
    with closing(connect(part, create=True)) as connection:
        keep_safe(connection)
        with transaction(connection):
            migrate(connection, MIGRATIONS, now())
            writing = Writing(connection, key, nothing, now())
            writing.append(LedgerOpened(identity, key.public_hex, rigvision.__version__))


def refuse_other_files(path: Path) -> None:
    """Raises LedgerError where there is no file, or one that is surely no ledger."""
    if not path.exists():
        _refuse_lost(path)
        raise LedgerError(
            "no-ledger-yet",
            f"There is no ledger at {shown_path(path)}.",
            "Open a job to begin one, or choose another with --ledger or RIGVISION_LEDGER.",
        )
    if not path.is_file():
        raise not_a_ledger(path)
    if not path.stat().st_size:
        raise LedgerError(
            "no-ledger",
            f"The file {shown_path(path)} is empty.",
            "If there was a ledger in it, restore the newest backup; else remove the file.",
        )


def refuse_other_databases(connection: sqlite3.Connection, path: Path) -> None:
    """Raises LedgerError for a database of another program, before anything is done to it."""
    if connection.execute("PRAGMA application_id").fetchone() != (APPLICATION_ID,):
        raise not_a_ledger(path)


def bring_up_to_date(connection: sqlite3.Connection, path: Path) -> None:
    """Do the migrations that the ledger has not behind it yet."""
    if missing(connection, path):
        with transaction(connection):
            migrate(connection, missing(connection, path), now())  # asked again, now it is ours


def refuse_older(connection: sqlite3.Connection, path: Path) -> None:
    """Raises LedgerError where there is something to bring up to date."""
    if missing(connection, path):
        raise LedgerError(
            "ledger-older",
            f"The ledger {shown_path(path)} is of an older rigvision and is not brought up to "
            "date while it is only read.",
            "Open it once where it can be written, or read a copy of it.",
        )


def _refuse_lost(path: Path) -> None:
    """Evidence or SQLite's log without its ledger: to begin anew would hide what was lost."""
    folder, log = evidence_folder(path), path.with_name(f"{path.name}-wal")
    if (log.exists() and log.stat().st_size) or (folder.is_dir() and any(folder.iterdir())):
        raise LedgerError(
            "ledger-lost",
            f"The ledger {shown_path(path)} is gone, but its evidence or log is still there.",
            "Restore the newest backup (`rigvision record restore`), or choose another name.",
        )


def exists(path: Path) -> LedgerError:
    return LedgerError(
        "ledger-exists",
        f"There is a file already at {shown_path(path)}.",
        "Open that one, or choose another name.",
    )


def not_a_ledger(path: Path) -> LedgerError:
    return LedgerError(
        "no-ledger",
        f"The file {shown_path(path)} is no ledger of rigvision.",
        "Choose another with --ledger or RIGVISION_LEDGER. The file was not touched.",
    )
