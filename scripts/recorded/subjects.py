"""What single bytes are changed in, and how each change would be noticed.

A subject is a file with its judge: what the program says once the file is changed. More kinds of
subjects are added to ``MAKERS``.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from shutil import copyfile

from recorded.house import House
from rigvision.ground.errors import ExportError
from rigvision.records.evidence_store import evidence_folder
from rigvision.records.head_mark import mark_path
from rigvision.records.ledger import Ledger
from rigvision.records.ledger_check import check_ledger
from rigvision.records.ledger_error import LedgerError
from rigvision.records.ledger_key import key_path
from rigvision.records.verify_file import verify_file

#: What is said of a change, and what of a file in which nothing is found.
FOUND, REMARK, UNPROVEN, NOTHING = "found", "worth a look", "cannot be proven", "nothing"


@dataclass(frozen=True, slots=True)
class Subject:
    """``path`` is changed in place and put back. ``said`` gives one of the four above, ``kept``
    what the file holds for whoever reads it, to tell a change of nothing from one that was missed.
    ``share`` is how many of all changes it gets, in parts.
    """

    name: str
    path: Path
    said: Callable[[], str]
    kept: Callable[[], object]
    share: float


def of_ledger(house: House) -> Iterator[Subject]:
    """The database, the note of its head, its key, each file of evidence."""
    path = house.ledger

    def said() -> str:
        return _ledger_said(path)

    def rows() -> object:
        return _rows(path)

    yield Subject("ledger file", path, said, rows, 40)
    mark = mark_path(path)
    yield Subject("note of the newest head", mark, said, mark.read_bytes, 5)
    yield Subject("ledger's key", key_path(path), lambda: _key_said(path), lambda: _key(path), 5)
    files = sorted(evidence_folder(path).rglob("?" * 64))
    for file in files:
        yield Subject("evidence", file, said, file.read_bytes, 20 / len(files))


def of_log(house: House) -> Iterator[Subject]:
    """SQLite's write-ahead log, as a program that was killed leaves it; a ledger of its own."""
    folder = house.folder / "killed"
    folder.mkdir()
    path = folder / house.ledger.name
    with Ledger.open(house.ledger) as ledger:
        with ledger.writing() as writing:
            writing.append(house.note())
        for end in ("", "-wal", ".head", ".key"):
            copyfile(f"{house.ledger}{end}", f"{path}{end}")
    evidence_folder(path).symlink_to(evidence_folder(house.ledger).absolute())
    log = path.with_name(f"{path.name}-wal")
    yield Subject("write-ahead log", log, lambda: _ledger_said(path), lambda: _rows(path), 15)


def of_exports(house: House) -> Iterator[Subject]:
    """What left the house, by itself and with the ledger at hand."""
    for form, path in house.exported.items():
        for ledger in (None, house.ledger):
            name = f"exported {form}, {'with' if ledger else 'without'} the ledger"

            def said(path: Path = path, ledger: Path | None = ledger) -> str:
                return _file_said(path, ledger)

            yield Subject(name, path, said, path.read_bytes, 8)


MAKERS: tuple[Callable[[House], Iterator[Subject]], ...] = (of_ledger, of_log, of_exports)


def _ledger_said(path: Path) -> str:
    # SQLite's index of the log is made anew from what is there.
    path.with_name(f"{path.name}-shm").unlink(missing_ok=True)
    try:
        report = check_ledger(path)
    except LedgerError:
        return FOUND
    if not report.intact:
        return FOUND
    return REMARK if report.findings else NOTHING


def _rows(path: Path) -> object:
    """All that SQLite reads of a ledger."""
    try:
        with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as connection:
            tables = [
                name
                for (name,) in connection.execute(
                    "SELECT name FROM sqlite_schema WHERE type = 'table' ORDER BY name"
                )
            ]
            return [
                connection.execute(f"SELECT * FROM {t} ORDER BY 1, 2").fetchall() for t in tables
            ]
    except sqlite3.Error as error:
        return str(error)


def _key_said(path: Path) -> str:
    """A key is looked at when something is to be written."""
    try:
        with Ledger.open(path) as ledger, ledger.writing():
            return NOTHING
    except LedgerError:
        return FOUND


def _key(path: Path) -> object:
    from rigvision.records.ledger_key import read_key

    try:
        return read_key(key_path(path)).public_hex
    except LedgerError as error:
        return error.code


def _file_said(path: Path, ledger: Path | None) -> str:
    try:
        if ledger is None:
            verified = verify_file(path)
        else:
            with Ledger.open(ledger, read_only=True) as opened:
                verified = verify_file(path, opened)
    except ExportError:
        return FOUND
    return {"intact": NOTHING, "changed": FOUND, "unproven": UNPROVEN}[verified.outcome]
