"""Entries looked at one after the other: form, chain, signatures of the ledger and of people."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rigvision.ground.shown import one_line
from rigvision.records.canonical import is_canonical, members
from rigvision.records.entry import NOTHING_BEFORE, Entry, Head, entry_text_hash
from rigvision.records.ledger_key import head_message
from rigvision.records.ledger_report import Findings
from rigvision.records.read_body import BODIES
from rigvision.records.signature_check import SignatureCheck
from rigvision.records.statement_check import Members, StatementCheck

#: Columns of ``entry`` as they are read from the table.
RawEntry = tuple[Any, ...]


class ChainCheck:
    """Feed it every row of ``entry`` in order. ``anchors`` are hashes, by count of entries, that
    are known from elsewhere: from what was exported, printed, or noted."""

    def __init__(
        self,
        findings: Findings,
        anchors: Mapping[int, str],
        statements: StatementCheck,
        signatures: SignatureCheck,
    ) -> None:
        self.count = 0
        self.head: Head | None = None
        self._findings = findings
        self._anchors = anchors
        self._previous = NOTHING_BEFORE
        self._latest = ""
        self._ledger = self._public_key = ""
        self._statements = statements
        self._signatures = signatures

    def entry(self, row: RawEntry) -> Entry | None:
        """The next entry; None where its row cannot be understood."""
        sequence, kind, recorded_at, body, previous, stored, signature = row
        self.count += 1
        if sequence != self.count:
            text = f"entry {self.count} is missing; entry {one_line(str(sequence))} comes next."
            self._findings.add("entry-missing", text, self.count)
            self.count = sequence if isinstance(sequence, int) else self.count
        parts = self._body(kind, body)
        if parts is None or not all(_is_text(part) for part in row[1:]):
            self._bad("entry-unreadable", "cannot be read.")
            self._previous = str(stored)
            return None
        plain = {name: value for name, (value, _) in parts.items()}
        entry = Entry(self.count, kind, recorded_at, plain, previous, stored, signature)
        self._link(entry, body.encode())
        self._time(entry)
        self._signature(entry)
        for code, what in self._statements.entry(entry, parts):
            self._bad(code, what)
        return entry

    def end(self) -> None:
        """After the last: what was known from elsewhere and has not come."""
        for count in sorted(c for c in self._anchors if c > self.count):
            text = f"the ledger had {count} entries once and has {self.count}."
            self._findings.add("entries-lost", text, self.count)

    def _body(self, kind: Any, body: Any) -> Members | None:
        """The members of a body; None for what is not in canonical form."""
        if kind not in BODIES or not _is_text(body):
            return None
        try:
            parts = members(body)
            # A result is long, and its text has a hash of its own in the core.
            sound = all(is_canonical(*parts[name]) for name in parts if name != "result")
        except ValueError:
            return None
        return parts if sound else None

    def _link(self, entry: Entry, body: bytes) -> None:
        if entry.previous != self._previous:
            self._bad("chain-broken", "does not follow the entry before it.")
        parts = (entry.sequence, entry.kind, entry.recorded_at)
        if entry_text_hash(*parts, body, entry.previous) != entry.hash:
            self._bad("entry-changed", f"({entry.kind}) is not what was recorded.")
        anchor = self._anchors.get(entry.sequence)
        if anchor is not None and anchor != entry.hash:
            self._bad("chain-rebuilt", "is another than the one that is known from elsewhere.")
        self._previous = entry.hash

    def _time(self, entry: Entry) -> None:
        if entry.recorded_at < self._latest:
            text = f"entry {entry.sequence} carries an earlier time than one before it."
            self._findings.add("clock-back", text, entry.sequence, proves_change=False)
        self._latest = max(self._latest, entry.recorded_at)

    def _signature(self, entry: Entry) -> None:
        if entry.sequence == 1:
            self._ledger = str(entry.body.get("ledger"))
            self._public_key = str(entry.body.get("public_key"))
        if (entry.kind == "ledger-opened") != (entry.sequence == 1):
            self._bad("entry-misplaced", f"is of the kind {entry.kind}.")
        sequence, key = entry.sequence, self._public_key
        self.head = Head(self._ledger, sequence, entry.hash, entry.signature, key)

        def broken() -> None:
            text = f"entry {sequence} is not signed by the ledger's key."
            self._findings.add("signature-broken", text, sequence)

        message = head_message(self._ledger, sequence, entry.hash)
        self._signatures.add(key, entry.signature, message, broken)

    def _bad(self, code: str, what: str) -> None:
        self._findings.add(code, f"entry {self.count} {what}", self.count)


def _is_text(part: Any) -> bool:
    """Text of whole characters: bytes that are none come as lone surrogates."""
    if not isinstance(part, str):
        return False
    try:
        part.encode()
    except UnicodeEncodeError:
        return False
    return True
