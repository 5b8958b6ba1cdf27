"""Every file of evidence read and hashed again, and files that no entry names."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable

from rigvision.ground.shown import one_line
from rigvision.records.evidence_store import EvidenceStore, hash_and_size
from rigvision.records.ledger_error import shown_path
from rigvision.records.ledger_report import Findings
from rigvision.records.safe_file import UNFINISHED

#: Files that entries name and that are kept; what was exported left the house.
KEPT = "part NOT LIKE 'exported %'"


class EvidenceCheck:
    """Counts ``files`` and ``size_bytes`` of what was read."""

    def __init__(self, store: EvidenceStore, findings: Findings) -> None:
        self.files = self.size_bytes = 0
        self._store = store
        self._findings = findings

    def all_named(self, connection: sqlite3.Connection, progress: Callable[[int], None]) -> None:
        """Each file that an entry names, once, in the order of their hashes."""
        named = connection.execute(
            "SELECT sha256, max(size_bytes), min(sequence), min(part) FROM file "
            f"WHERE {KEPT} GROUP BY sha256"
        )
        for sha256, size_bytes, sequence, part in named:
            # In a damaged file even a column of text may hold a number.
            self._one(str(sha256), size_bytes, sequence, str(part))
            progress(self.files)

    def unnamed(self, connection: sqlite3.Connection) -> None:
        """Files that no entry names: recordings that were broken off, or entries that are lost."""
        for path in self._store.names():
            sql = f"SELECT 1 FROM file WHERE sha256 = ? AND {KEPT} LIMIT 1"
            if not connection.execute(sql, (path.name,)).fetchone():
                self._findings.add(
                    "evidence-unfinished" if path.name.endswith(UNFINISHED) else "evidence-unnamed",
                    f"no entry names the evidence {shown_path(path)}: its recording was broken "
                    "off, or is lost.",
                    proves_change=False,
                )

    def _one(self, sha256: str, size_bytes: int | None, sequence: int, part: str) -> None:
        self.files += 1
        try:
            found, size = hash_and_size(self._store.path(sha256))
        except (OSError, ValueError) as error:
            missing = isinstance(error, FileNotFoundError)
            what = "is missing" if missing else f"cannot be read: {one_line(str(error), 200)}"
            self._add("evidence-missing" if missing else "evidence-unread", part, sha256, what)
            return
        self.size_bytes += size
        if found != sha256 or size_bytes not in (None, size):
            self._add("evidence-changed", part, sha256, f"(entry {sequence}) is not what it was")

    def _add(self, code: str, part: str, sha256: str, what: str) -> None:
        self._findings.add(code, f"the {part} {one_line(sha256, 64)} {what}.")
