"""What can go wrong with a ledger, as sentences."""

from __future__ import annotations

import errno
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from rigvision.ground.errors import RigvisionError
from rigvision.ground.shown import one_line


class LedgerError(RigvisionError):
    """A ledger cannot be read or added to. What it holds already stays as it is."""


_RESTORE = (
    "Keep the file as it is, and put the newest backup in its place "
    "(`rigvision record backup` and `restore`)."
)
_ROOM = "Make room on that disk and do it again. Nothing was recorded half."
_ALLOWED = "Give yourself the right to write there, or choose another ledger with --ledger."

#: By SQLite's primary result code: our code, sentence, remedy.
_SPOKEN = {
    sqlite3.SQLITE_BUSY: (
        "ledger-busy",
        "The ledger {path} is being written by another program and did not become free.",
        "Wait until that is done and try again. Nothing was recorded.",
    ),
    sqlite3.SQLITE_FULL: ("disk-full", "There is no room left for the ledger {path}.", _ROOM),
    sqlite3.SQLITE_READONLY: (
        "ledger-read-only",
        "The ledger {path} or its folder cannot be written to.",
        _ALLOWED,
    ),
    sqlite3.SQLITE_CANTOPEN: (
        "ledger-unopened",
        "The ledger {path} cannot be opened: {error}.",
        _ALLOWED,
    ),
    sqlite3.SQLITE_PERM: ("ledger-read-only", "The ledger {path} may not be used.", _ALLOWED),
    sqlite3.SQLITE_CORRUPT: (
        "ledger-damaged",
        "The ledger {path} is damaged: {error}.",
        _RESTORE,
    ),
    sqlite3.SQLITE_CONSTRAINT: (
        "ledger-conflict",
        "This does not fit what the ledger {path} holds already: {error}.",
        "Nothing was recorded. Look at what is there under that name.",
    ),
    sqlite3.SQLITE_NOTADB: (
        "no-ledger",
        "The file {path} is no ledger: SQLite did not write it.",
        _RESTORE,
    ),
}
_OTHERWISE = ("ledger-failed", "The ledger {path} cannot be used: {error}.", _RESTORE)


@contextmanager
def spoken(path: Path) -> Iterator[None]:
    """What SQLite and the file system raise meanwhile, as a LedgerError about ``path``."""
    try:
        yield
    except sqlite3.Error as error:
        raise of_sqlite(error, path) from error
    except UnicodeDecodeError as error:  # Python's, of a message of SQLite with damaged text in it
        text = f"The ledger {shown_path(path)} is damaged: it has text that is none."
        raise LedgerError("ledger-damaged", text, _RESTORE) from error
    except OSError as error:
        raise of_system(error, path) from error


def of_sqlite(error: sqlite3.Error, path: Path) -> LedgerError:
    """The sentence for what SQLite said."""
    # The low byte is the primary code, the rest says more exactly where.
    primary = getattr(error, "sqlite_errorcode", -1) & 0xFF
    code, text, remedy = _SPOKEN.get(primary, _OTHERWISE)
    shown = {"path": shown_path(path), "error": one_line(str(error))}
    return LedgerError(code, text.format(**shown), remedy)


def of_system(error: OSError, path: Path) -> LedgerError:
    """The sentence for what the operating system said."""
    at = shown_path(Path(error.filename) if isinstance(error.filename, str) else path)
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return LedgerError("disk-full", f"There is no room left for {at}.", _ROOM)
    if error.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
        return LedgerError("ledger-read-only", f"{at} cannot be written to or read.", _ALLOWED)
    cause = one_line(error.strerror or str(error))
    return LedgerError("ledger-failed", f"{at} cannot be used: {cause}.", _ALLOWED)


def shown_path(path: Path) -> str:
    """A path as it is fit to be shown."""
    return one_line(str(path), 300)
