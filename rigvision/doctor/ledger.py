"""Whether the ledger can be kept where it is to be: tried with a database beside it.

The ledger itself is never made, and an existing one is opened for reading only.
"""

from __future__ import annotations

import shutil
import sqlite3
import stat
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from rigvision.doctor.finding import Fact, Finding, Status
from rigvision.ground.shown import one_line
from rigvision.records.file_system import NETWORK, file_system_of
from rigvision.records.ledger_error import LedgerError
from rigvision.records.ledger_key import key_path
from rigvision.records.migrations import missing
from rigvision.records.opening import refuse_other_databases
from rigvision.records.place import VARIABLE, ledger_path

NEEDED_MB = 100
#: What another process says of a database that is locked, and of one that is not.
_LOCKED, _FREE = "locked", "free"
_OTHER_PROCESS = f"""
import sqlite3, sys
connection = sqlite3.connect(sys.argv[1], timeout=0.0, isolation_level=None)
try:
    connection.execute("BEGIN IMMEDIATE")
except sqlite3.OperationalError:
    print("{_LOCKED}")
else:
    print("{_FREE}")
"""
_MAGIC = b"SQLite format 3\0"
_ELSEWHERE = (
    f"Set {VARIABLE} to a file in a folder on this machine's own disk that you may write to and "
    "that has room."
)
_RESTORE = "Keep that file as it is, and put the newest copy of the ledger in its place."


class Unfit(Exception):
    """A place where no ledger can be kept; the sentence says why."""

    def __init__(self, text: str, remedy: str = _ELSEWHERE) -> None:
        super().__init__(text)
        self.text = text
        self.remedy = remedy


def findings() -> list[Finding]:
    """One line: where the ledger is or will be, and whether SQLite works there."""
    path = ledger_path()
    facts: dict[str, Fact] = {"path": str(path)}
    try:
        facts["exists"] = path.exists()
        there = _existing(path)
        with folder_of(path) as folder:
            journal = try_sqlite(folder)
            doubts = list(_doubts(path, folder, journal, facts))
    except Unfit as cause:
        return [_finding("failure", cause.text, cause.remedy, facts)]
    except OSError as error:
        text = f"The ledger {path} cannot be kept: {error.filename}: {error.strerror or error}."
        return [_finding("failure", text, _ELSEWHERE, facts)]
    except sqlite3.Error as error:
        text = f"SQLite does not work in {path.parent}: {error}."
        return [_finding("failure", text, _ELSEWHERE, facts)]
    if doubts:
        return [_finding("warning", f"{there}. {' '.join(doubts)}", _ELSEWHERE, facts)]
    free_gb = shutil.disk_usage(_nearest(path)).free / 1e9
    text = f"{there}; SQLite works there ({journal}, locks), {free_gb:.1f} GB free"
    return [_finding("ok", text, "", facts)]


def _existing(path: Path) -> str:
    """What is there already. Raises Unfit for anything that is no ledger, unopened."""
    try:
        status = path.stat()
    except FileNotFoundError:
        return f"none yet; it will be kept in {path}"
    except NotADirectoryError as error:
        raise Unfit(
            f"The ledger {path} cannot be kept: a file stands where its folder should."
        ) from error
    if not stat.S_ISREG(status.st_mode):
        kind = "a folder" if stat.S_ISDIR(status.st_mode) else "not an ordinary file"
        raise Unfit(f"The ledger {path} is {kind}.")
    with path.open("r+b") as file:  # writing must be allowed, though nothing is written
        start = file.read(len(_MAGIC))
    if start != _MAGIC:
        raise Unfit(f"The file {path} is no ledger: SQLite did not write it.", _RESTORE)
    # Immutable: SQLite then makes no files beside it. Where a log stands there already somebody
    # else has it open, and what is in the log counts.
    log = path.with_name(f"{path.name}-wal")
    uri = f"{path.absolute().as_uri()}?mode=ro" + ("" if log.exists() else "&immutable=1")
    try:
        with closing(sqlite3.connect(uri, uri=True)) as ledger:
            (verdict,) = ledger.execute("PRAGMA quick_check(1)").fetchone()
            refuse_other_databases(ledger, path)
            missing(ledger, path)
    except sqlite3.DatabaseError as error:
        raise Unfit(f"The ledger {path} cannot be read: {error}.", _RESTORE) from error
    except LedgerError as error:  # another program's, or a newer rigvision's
        raise Unfit(error.text, error.remedy) from error
    if verdict != "ok":
        raise Unfit(f"The ledger {path} is damaged: {one_line(verdict)}.", _RESTORE)
    return f"{path} opens and is whole"


@contextmanager
def folder_of(path: Path) -> Iterator[Path]:
    """The ledger's folder, made for the trial where it is missing and taken away again."""
    made = []
    missing = [folder for folder in path.absolute().parents if not folder.exists()]
    try:
        for folder in reversed(missing):
            try:
                folder.mkdir()
            except FileExistsError:
                continue  # another process was quicker; it is not ours to take away
            except NotADirectoryError as error:
                raise Unfit(
                    f"The ledger's folder {path.parent} cannot be made: {folder.parent} is a file."
                ) from error
            made.append(folder)
        if not path.absolute().parent.is_dir():
            raise Unfit(f"The ledger's folder {path.parent} is a file.")
        yield path.absolute().parent
    finally:
        for folder in reversed(made):
            if not any(folder.iterdir()):
                folder.rmdir()


def try_sqlite(folder: Path) -> str:
    """Make a database in a folder, use it as a ledger is used, and take it away again.

    Gives the journal that SQLite keeps there: ``WAL``, or ``rollback journal`` where it cannot
    have shared memory. Raises Unfit where rows do not come back or locks do not lock.
    """
    with tempfile.TemporaryDirectory(prefix=".rigvision-doctor-", dir=folder) as room:
        file = Path(room) / "trial.sqlite3"
        with closing(sqlite3.connect(file, isolation_level=None)) as trial:
            (journal,) = trial.execute("PRAGMA journal_mode=WAL").fetchone()
            trial.execute("PRAGMA synchronous=FULL")
            trial.execute("CREATE TABLE record (text TEXT NOT NULL)")
            trial.execute("BEGIN IMMEDIATE")
            trial.execute("INSERT INTO record VALUES ('kept')")
            locked = _seen_by_another(file)
            trial.execute("COMMIT")
            free = _seen_by_another(file)
        with closing(sqlite3.connect(file)) as again:
            kept = again.execute("SELECT text FROM record").fetchall()
    if (locked, free) != (_LOCKED, _FREE):
        raise Unfit(f"The folder {folder} does not lock files: records could overwrite each other.")
    if kept != [("kept",)]:
        raise Unfit(f"The folder {folder} does not keep what SQLite writes.")
    return "WAL" if journal == "wal" else "rollback journal"


def _seen_by_another(database: Path) -> str:
    """Locks hold between processes; within one, SQLite would answer by itself."""
    done = subprocess.run(
        [sys.executable, "-I", "-c", _OTHER_PROCESS, str(database)],
        capture_output=True,
        text=True,
        check=False,
        timeout=20.0,
    )
    return done.stdout.strip()


def _doubts(path: Path, folder: Path, journal: str, facts: dict[str, Fact]) -> Iterator[str]:
    free_mb = shutil.disk_usage(folder).free // 1_000_000
    kind = file_system_of(folder)
    facts |= {"free_mb": free_mb, "file_system": kind, "journal": journal}
    if kind in NETWORK:
        yield f"It lies on a network ({kind}), where SQLite's locks cannot be relied on."
    if journal != "WAL":
        yield "SQLite cannot keep a write-ahead log there, so that readers wait for writers."
    if free_mb < NEEDED_MB:
        yield f"Only {free_mb} MB are free; {NEEDED_MB} should be."
    if path.exists() and not key_path(path).exists():
        yield f"Its key {key_path(path).name} is missing, so that it can be read but not added to."
    if not path.is_absolute():
        yield "Its path is relative: started from another folder, there is another ledger."


def _nearest(path: Path) -> Path:
    return next(folder for folder in path.absolute().parents if folder.is_dir())


def _finding(status: Status, text: str, remedy: str, facts: dict[str, Fact]) -> Finding:
    return Finding("ledger", "Ledger", status, text, remedy, facts=facts)
