"""A lost or damaged ledger put back from its backup, with all newer entries that are still whole.

Nothing is thrown away: what stood in the place is set aside, evidence is only added.
"""

from __future__ import annotations

import os
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from rigvision.records.backup import copy_database, named_files
from rigvision.records.connection import connect, connect_to_read, transaction
from rigvision.records.entry import Entry, Head, entry_text_hash
from rigvision.records.evidence_store import EvidenceStore, evidence_folder
from rigvision.records.head_mark import is_of, mark_path, note_head, noted_head
from rigvision.records.index_rows import index_rows
from rigvision.records.ledger import entry_of
from rigvision.records.ledger_check import Progress, check_ledger, untold
from rigvision.records.ledger_error import LedgerError, shown_path, spoken
from rigvision.records.ledger_key import head_holds, key_path
from rigvision.records.ledger_report import LedgerReport
from rigvision.records.safe_file import UNFINISHED, name_new, sync_file, sync_folder, write_new
from rigvision.records.writing import insert_row


@dataclass(frozen=True, slots=True)
class Restored:
    """``head`` is what the ledger has now. ``set_aside`` is where the damaged one went; None where
    the ledger was whole or gone. ``newer_entries`` were in that and not in the backup;
    ``lost_entries`` were known to be there and are in neither. ``problems`` are sentences about
    evidence that the backup does not have whole either.
    """

    path: Path
    head: Head
    set_aside: Path | None
    newer_entries: int
    lost_entries: int
    files_put_back: int
    problems: tuple[str, ...]


def restore(
    source: Path, path: Path, *, lose_newer: bool = False, progress: Progress = untold
) -> Restored:
    """Put back a ledger and its evidence from ``source``, the ledger's file in a backup.

    A ledger that is whole stays, and only gets the evidence that it lacks. Entries that are newer
    than the backup and can no longer be read are given up only where ``lose_newer`` allows it.
    Raises LedgerError; nothing is changed then.
    """
    with spoken(source):
        kept = check_ledger(source, evidence=False, progress=progress)
    if kept.head is None or not kept.intact:
        raise LedgerError(
            "backup-damaged", kept.sentence(), "Nothing was changed. Take another backup."
        )
    with spoken(path):
        found = _found(path, kept.head, progress)
        if found is not None and found.head is not None and found.intact:
            head, aside, newer, lost = found.head, None, 0, 0
        else:
            head, aside, newer, lost = _replaced(source, path, kept.head, lose_newer)
        files, problems = _evidence_put_back(source, path, progress)
    return Restored(path, head, aside, newer, lost, files, tuple(problems))


def _found(path: Path, backed_up: Head, progress: Progress) -> LedgerReport | None:
    """What is in the place; None where that cannot even be opened."""
    if not path.exists():
        return None
    try:
        found = check_ledger(path, evidence=False, known_heads=[backed_up], progress=progress)
    except LedgerError as error:
        if error.code in ("ledger-busy", "ledger-newer", "ledger-read-only"):
            raise
        return None
    if found.head is not None and found.head.ledger != backed_up.ledger:
        raise LedgerError(
            "restore-other",
            f"The ledger {shown_path(path)} is another than the one that was backed up.",
            "Nothing was changed. Restore to another place with --ledger.",
        )
    return found


def _replaced(
    source: Path, path: Path, backed_up: Head, lose_newer: bool
) -> tuple[Head, Path | None, int, int]:
    """The backup, with what is newer and whole, in the ledger's place."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(UNFINISHED, ".", path.parent) as room:
        part = Path(room) / path.name
        with closing(connect_to_read(source)) as connection:
            copy_database(connection, part)
        head = _with_newer(part, path, backed_up)
        lost = _known_count(path, head) - head.count
        if lost > 0 and not lose_newer:
            raise _would_lose(path, lost)
        _put_key_back(source, path)
        aside = _set_aside(path)
        name_new(part, path)
    sync_folder(path.parent)
    note_head(path, head)
    return head, aside, head.count - backed_up.count, max(0, lost)


def _with_newer(part: Path, damaged: Path, head: Head) -> Head:
    """Add to a copied database whatever follows its head and can still be read."""
    if not damaged.exists():
        return head
    with closing(connect(part)) as connection, transaction(connection):
        for entry, body in _following(damaged, head):
            connection.execute(
                "INSERT INTO entry VALUES (?, ?, ?, ?, ?, ?, ?)",
                (
                    *(entry.sequence, entry.kind, entry.recorded_at, body),
                    *(entry.previous, entry.hash, entry.signature),
                ),
            )
            for row in index_rows(entry):
                insert_row(connection, row)
            head = _head_of(entry, head)
    sync_file(part)
    return head


def _following(damaged: Path, head: Head) -> Iterator[tuple[Entry, str]]:
    """Entries of a damaged ledger that continue a chain, up to the first that does not."""
    try:
        with closing(connect_to_read(damaged)) as connection:
            for row in connection.execute(
                "SELECT sequence, kind, recorded_at, body, previous, hash, signature "
                "FROM entry WHERE sequence > ? ORDER BY sequence",
                (head.count,),
            ):
                entry = entry_of(row, damaged)
                if not _continues(entry, row[3], head):
                    return
                yield entry, row[3]
                head = _head_of(entry, head)
    except (sqlite3.Error, UnicodeDecodeError, LedgerError, AttributeError):
        return  # as far as it can be read


def _continues(entry: Entry, body: str, head: Head) -> bool:
    parts = (entry.sequence, entry.kind, entry.recorded_at)
    return (
        entry.sequence == head.count + 1
        and entry.previous == head.hash
        and entry_text_hash(*parts, body.encode(), entry.previous) == entry.hash
        and head_holds(_head_of(entry, head))
    )


def _head_of(entry: Entry, before: Head) -> Head:
    return Head(before.ledger, entry.sequence, entry.hash, entry.signature, before.public_key)


def _known_count(path: Path, head: Head) -> int:
    """How many entries the ledger is known to have had."""
    noted = noted_head(path)
    known = noted is not None and is_of(noted, head.ledger, head.public_key)
    return noted.count if noted is not None and known else head.count


def _would_lose(path: Path, lost: int) -> LedgerError:
    return LedgerError(
        "restore-loses",
        f"The last {lost} entries of the ledger {shown_path(path)} are not in the backup and can "
        "no longer be read.",
        "Nothing was changed. Look for a newer copy, or give them up with --lose-newer.",
    )


def _put_key_back(source: Path, path: Path) -> None:
    if not key_path(path).exists() and key_path(source).exists():
        write_new(key_path(path), key_path(source).read_bytes(), mode=0o600)


def _set_aside(path: Path) -> Path | None:
    """Move what is in the ledger's place into a folder beside it; None where there is nothing.

    SQLite's own files go along: a log that is left would be played into the new ledger.
    """
    names = (path.name, f"{path.name}-wal", f"{path.name}-shm", mark_path(path).name)
    there = [name for name in names if (path.parent / name).exists()]
    if not there:
        return None
    aside = Path(tempfile.mkdtemp("", f"{path.name}.set-aside-", path.parent))
    for name in there:
        os.rename(path.parent / name, aside / name)
    return aside


def _evidence_put_back(source: Path, path: Path, progress: Progress) -> tuple[int, list[str]]:
    """Read all that the ledger names; what is missing or torn comes from the backup."""
    kept, own = EvidenceStore(evidence_folder(source)), EvidenceStore(evidence_folder(path))
    put_back, problems = 0, []
    with closing(connect_to_read(path)) as connection:
        for count, (sha256, _) in enumerate(named_files(connection), 1):
            if not own.is_whole(sha256):
                try:
                    own.put(kept.read(sha256), "", "")
                    put_back += 1
                except LedgerError as error:
                    if not error.code.startswith("evidence-"):
                        raise
                    problems.append(error.text)
            if count % 100 == 0:
                progress("evidence", count, None)
    return put_back, problems
