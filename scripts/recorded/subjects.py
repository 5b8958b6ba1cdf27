"""What single bytes are changed in, and how each change would be noticed.

A subject is a file with its judge: given the file's changed bytes, what the program says of it.
More subjects are added by more makers in ``MAKERS``; each makes all of its kind from one ledger.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from rigvision.records.evidence_store import evidence_folder
from rigvision.records.head_mark import mark_path
from rigvision.records.ledger_check import check_ledger
from rigvision.records.ledger_error import LedgerError
from rigvision.records.ledger_key import key_path


@dataclass(frozen=True, slots=True)
class Subject:
    """``path`` is changed in place and put back. ``noticed`` gives what was said, None for nothing.

    ``part_of`` names what a byte belongs to, where some bytes are covered and others not.
    """

    name: str
    path: Path
    noticed: Callable[[], str | None]
    part_of: Callable[[int], str]
    share: int = 1


def ledger_says(path: Path) -> str | None:
    """What a check of the whole ledger finds, None for a ledger that is intact."""
    try:
        report = check_ledger(path)
    except LedgerError as error:
        return error.code
    bad = report.first_bad
    if bad is not None:
        return bad.code
    return next((f"remark: {finding.code}" for finding in report.findings), None)


def of_ledger(path: Path) -> Iterator[Subject]:
    """The database, the head's note, the ledger's key."""
    says = lambda: ledger_says(path)  # noqa: E731
    yield Subject("ledger", path, says, _database_parts(path), share=6)
    yield Subject("note of the head", mark_path(path), says, lambda at: "all")
    yield Subject("ledger's key", key_path(path), lambda: _key_says(path), lambda at: "all")


def of_log(path: Path) -> Iterator[Subject]:
    """SQLite's write-ahead log, as a killed program leaves it."""
    log = path.with_name(f"{path.name}-wal")
    yield Subject("write-ahead log", log, lambda: ledger_says(path), lambda at: "all", share=2)


def of_evidence(path: Path) -> Iterator[Subject]:
    """Each file of evidence."""
    for file in sorted(evidence_folder(path).rglob("?" * 64)):
        yield Subject("evidence", file, lambda: ledger_says(path), lambda at: "all")


def _key_says(path: Path) -> str | None:
    """A key is only looked at when something is written."""
    from rigvision.records.ledger import Ledger

    try:
        with Ledger.open(path) as ledger, ledger.writing():
            return None
    except LedgerError as error:
        return error.code


#: Fields of SQLite's file header (https://www.sqlite.org/fileformat.html, 1.3) that say nothing
#: about what is kept.
_HEADER = {
    range(18, 20): "header: write and read version",
    range(20, 24): "header: reserved space, payload fractions",
    range(24, 28): "header: change counter",
    range(28, 32): "header: size in pages",
    range(32, 40): "header: free pages",
    range(40, 44): "header: schema cookie",
    range(44, 48): "header: schema format",
    range(48, 52): "header: suggested cache size",
    range(52, 56): "header: largest root page",
    range(56, 60): "header: text encoding",
    range(60, 64): "header: user version",
    range(64, 68): "header: incremental vacuum",
    range(68, 72): "header: application id",
    range(72, 92): "header: reserved for expansion",
    range(92, 96): "header: version-valid-for",
    range(96, 100): "header: SQLite version",
}


def _database_parts(path: Path) -> Callable[[int], str]:
    """What a byte of the database belongs to: a header field, a page's room, what is kept."""
    content = path.read_bytes()
    unused = _unused(content)

    def part(at: int) -> str:
        for places, name in _HEADER.items():
            if at in places:
                return name
        return "room that holds nothing" if unused[at] else "what is kept"

    return part


def _unused(content: bytes) -> bytearray:
    """1 for each byte that no cell, pointer or header of a b-tree page uses."""
    size = int.from_bytes(content[16:18], "big")
    size = 65536 if size == 1 else size
    unused = bytearray(len(content))
    for start in range(0, len(content), size):
        head = start + (100 if start == 0 else 0)
        kind = content[head]
        if kind not in (2, 5, 10, 13):
            continue  # overflow pages and free ones
        cells = int.from_bytes(content[head + 3 : head + 5], "big")
        begin = int.from_bytes(content[head + 5 : head + 7], "big") or 65536
        pointers = head + (12 if kind in (2, 5) else 8) + 2 * cells
        for at in range(pointers, start + begin):
            unused[at] = 1
        _free_blocks(content, unused, start, int.from_bytes(content[head + 1 : head + 3], "big"))
    return unused


def _free_blocks(content: bytes, unused: bytearray, start: int, block: int) -> None:
    while block:
        at = start + block
        following, size = (int.from_bytes(content[at + k : at + k + 2], "big") for k in (0, 2))
        unused[at + 4 : at + size] = b"\1" * (size - 4)
        block = following if following > block else 0


def free_pages(path: Path) -> int:
    """How many pages of a database hold nothing at all."""
    with closing(sqlite3.connect(path)) as connection:
        (count,) = connection.execute("PRAGMA freelist_count").fetchone()
    return int(count)


#: Each gives the subjects of its kind for a ledger's file.
MAKERS: tuple[Callable[[Path], Iterator[Subject]], ...] = (of_ledger, of_evidence)
