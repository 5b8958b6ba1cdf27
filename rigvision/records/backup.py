"""A ledger copied with its evidence, while it is in use.

A backup is a ledger of its own: the same files under the same names in another folder, so that it
opens, verifies and can be put back by hand. Evidence is only ever added to it: the second backup
into one folder takes as long as what is new.
"""

from __future__ import annotations

import os
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from rigvision.records.connection import connect, connect_to_read
from rigvision.records.entry import Head
from rigvision.records.evidence_check import KEPT
from rigvision.records.evidence_store import EvidenceStore, evidence_folder
from rigvision.records.head_mark import note_head
from rigvision.records.ledger import Ledger
from rigvision.records.ledger_check import Progress, check_ledger, untold
from rigvision.records.ledger_error import LedgerError, shown_path, spoken
from rigvision.records.ledger_key import key_path
from rigvision.records.safe_file import UNFINISHED, sync_file, sync_folder, write_over


@dataclass(frozen=True, slots=True)
class Backup:
    """What a backup holds: everything up to ``head``.

    ``copied_files`` were not in it before. ``problems`` are sentences about evidence that the
    ledger itself no longer has whole: all else was copied.
    """

    path: Path
    head: Head
    files: int
    copied_files: int
    problems: tuple[str, ...]


def backup(ledger: Ledger, folder: Path, progress: Progress = untold) -> Backup:
    """Copy a ledger, its key and its evidence into a folder; others may write meanwhile.

    An older backup of the same ledger there is replaced at the very end, by one that was checked.
    Raises LedgerError; what was there before is then still whole.
    """
    target = folder / ledger.path.name
    with spoken(folder):
        older = _older(ledger, target)
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(UNFINISHED, ".", folder) as room:
            part = Path(room) / target.name
            copy_database(ledger.connection, part)
            head = _sound_head(part, older, progress)
            store = EvidenceStore(evidence_folder(target))
            copied = _Copied(ledger.evidence, store)
            copied.all_named(part, progress)
            if key_path(ledger.path).exists():
                write_over(key_path(target), key_path(ledger.path).read_bytes(), mode=0o600)
            os.replace(part, target)
        sync_folder(folder)
        note_head(target, head)
    return Backup(target, head, copied.files, copied.new, tuple(copied.problems))


def _older(ledger: Ledger, target: Path) -> list[Head]:
    """The head of the backup that is there. Raises LedgerError where it must not be replaced."""
    if not target.exists():
        return []
    if os.path.samefile(target, ledger.path):
        raise LedgerError(
            "backup-itself",
            f"{shown_path(target.parent)} is the folder that the ledger itself is in.",
            "Choose a folder on another disk.",
        )
    with Ledger.open(target, read_only=True) as old:
        head = old.head()
    known = ledger.entry(head.count) if head.ledger == ledger.identity else None
    if known is None or known.hash != head.hash:
        raise LedgerError(
            "backup-other",
            f"{shown_path(target)} is the backup of another ledger, or has more than this one.",
            "Choose another folder.",
        )
    with closing(connect(target)) as connection:
        # Takes SQLite's log away, which would be played into the new backup.
        connection.execute("PRAGMA journal_mode = DELETE")
    return [head]


def copy_database(connection: sqlite3.Connection, part: Path) -> None:
    """A database as it is at one moment, as one new file that is on the disk."""
    with closing(sqlite3.connect(part, isolation_level=None)) as copy:
        connection.backup(copy)  # in one step: nobody's writing makes it begin anew
        copy.execute("PRAGMA journal_mode = DELETE")
    sync_file(part)


def _sound_head(part: Path, older: list[Head], progress: Progress) -> Head:
    """How far a copied database goes, which was looked at from end to end."""
    report = check_ledger(part, evidence=False, known_heads=older, progress=progress)
    if report.head is None or not report.intact:
        bad = report.first_bad
        raise LedgerError(
            "backup-unsound",
            f"The ledger is not backed up, as it was changed or damaged: {bad and bad.text}",
            "The older backup stays as it is. Copy the ledger's files by hand, then restore that "
            "backup over the ledger.",
        )
    return report.head


class _Copied:
    """Counts ``files`` and, of them, the ``new`` ones; collects ``problems``."""

    def __init__(self, source: EvidenceStore, target: EvidenceStore) -> None:
        self.files = self.new = 0
        self.problems: list[str] = []
        self._source = source
        self._target = target

    def all_named(self, database: Path, progress: Progress) -> None:
        """Every file that a copied database names."""
        with closing(connect_to_read(database)) as connection:
            for sha256, size_bytes in named_files(connection):
                self.files += 1
                self._one(sha256, size_bytes)
                if self.files % 100 == 0:
                    progress("evidence", self.files, None)

    def _one(self, sha256: str, size_bytes: int | None) -> None:
        if self._target.has(sha256, size_bytes):
            return
        try:
            content = self._source.read(sha256)
        except LedgerError as error:
            self.problems.append(error.text)
            return
        self._target.put(content, "", "")
        self.new += 1


def named_files(connection: sqlite3.Connection) -> Iterator[tuple[str, int | None]]:
    """Hash of each file that entries name and that is kept, with its size where that is noted."""
    yield from connection.execute(
        f"SELECT sha256, max(size_bytes) FROM file WHERE {KEPT} GROUP BY sha256"
    )
