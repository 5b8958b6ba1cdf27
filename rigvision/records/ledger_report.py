"""What a check of a whole ledger found."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from rigvision.records.entry import Head
from rigvision.records.ledger_error import shown_path


@dataclass(frozen=True, slots=True)
class Finding:
    """``sequence`` is the entry that it was found at, where it was at one.

    ``proves_change`` is False for what is worth a look and may well be: a clock that was set back,
    a file that no entry names.
    """

    code: str
    text: str
    sequence: int | None = None
    proves_change: bool = True


@dataclass(frozen=True, slots=True)
class LedgerReport:
    """``head`` is what the last entry claims; None where there was not one to be read.

    ``findings`` has the first of each kind, ``more`` says how many were left out.
    ``evidence_files`` is None where the evidence was not looked at.
    """

    path: Path
    head: Head | None
    entries: int
    findings: tuple[Finding, ...]
    more: int
    evidence_files: int | None
    evidence_bytes: int

    @property
    def intact(self) -> bool:
        return not any(finding.proves_change for finding in self.findings)

    @property
    def first_bad(self) -> Finding | None:
        """The finding that comes first in the ledger; those at no entry come last."""
        bad = [finding for finding in self.findings if finding.proves_change]
        return min(bad, key=lambda f: (f.sequence is None, f.sequence or 0), default=None)

    def sentence(self) -> str:
        """What there is to say, in one sentence."""
        bad = self.first_bad
        where = shown_path(self.path)
        if bad is not None:
            return f"The ledger {where} was changed or damaged: {bad.text}"
        files = self.evidence_files
        seen = "evidence not looked at" if files is None else f"{files} files of evidence"
        return f"The ledger {where} is intact: {self.entries} entries, {seen}."


class Findings:
    """Collects them, the first few of each code, so that a ruined ledger fills no memory."""

    MOST_OF_A_CODE = 10

    def __init__(self) -> None:
        self._kept: list[Finding] = []
        self._counts: dict[str, int] = {}

    def add(
        self, code: str, text: str, sequence: int | None = None, *, proves_change: bool = True
    ) -> None:
        self._counts[code] = self._counts.get(code, 0) + 1
        if self._counts[code] <= self.MOST_OF_A_CODE:
            self._kept.append(Finding(code, text, sequence, proves_change))

    def kept(self) -> tuple[Finding, ...]:
        return tuple(self._kept)

    def more(self) -> int:
        return sum(self._counts.values()) - len(self._kept)
