"""Everything about one record, read from its entries and checked on the way out."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from rigvision.ground.errors import RigvisionError
from rigvision.records.bodies import (
    CheckCore,
    CheckCorrected,
    CheckRecorded,
    CheckSigned,
    Exported,
    FileFacts,
    Flag,
    JobOpened,
    Noted,
    Signed,
)
from rigvision.records.entry import Entry
from rigvision.records.jobs import job_named
from rigvision.records.ledger import Ledger
from rigvision.records.ledger_error import LedgerError
from rigvision.records.read_body import core_sha256, read_body, result_sha256
from rigvision.records.search import Status, record_named
from rigvision.report.saved_result import SavedResult, parse_saved


@dataclass(frozen=True, slots=True)
class Dated:
    """What was added to a record later, and when."""

    sequence: int
    recorded_at: str
    body: CheckSigned | CheckCorrected | Exported | Noted


@dataclass(frozen=True, slots=True)
class RecordView:
    """One check with its job and all that was added to it.

    ``result`` is the result as it is read, ``plain`` as it stands in the entry. ``measured`` is
    the mechanic's signature, ``decided`` the inspector's.
    """

    entry: Entry
    job: JobOpened
    recorded: CheckRecorded
    result: SavedResult
    measured: Signed | None
    decided: Signed | None
    corrections: tuple[CheckCorrected, ...]
    later: tuple[Dated, ...]

    @property
    def core(self) -> CheckCore:
        return self.recorded.core

    @property
    def record(self) -> str:
        return self.core.record

    @property
    def image(self) -> FileFacts:
        return self.recorded.image

    @property
    def flags(self) -> tuple[Flag, ...]:
        return self.recorded.flags

    @property
    def plain(self) -> dict[str, Any]:
        return self.recorded.result

    @property
    def status(self) -> Status:
        if self.corrections:
            return "corrected"
        if self.decided:
            return "accepted" if self.decided.statement.decision == "accepted" else "rejected"
        return "measured" if self.measured else "recorded"


def view_record(ledger: Ledger, typed: str) -> RecordView:
    """The record that was named. Raises UsageError where there is none, LedgerError where it does
    not say what it said when it was recorded."""
    record = record_named(ledger, typed)
    entries = list(ledger.entries_of(record))
    try:
        return _view(ledger, record, entries)
    except (ValueError, RigvisionError) as error:
        if isinstance(error, LedgerError):
            raise
        raise LedgerError(
            "record-changed",
            f"Record {record} is not as it was recorded: {error}.",
            "Run 'rigvision verify' on the ledger and restore the newest backup.",
        ) from error


def _view(ledger: Ledger, record: str, entries: list[Entry]) -> RecordView:
    first, recorded = _recording(record, entries)
    later = tuple(_dated(e) for e in entries if e.sequence != first.sequence)
    bodies = [d.body for d in later]
    signatures = [b.signed for b in bodies if isinstance(b, CheckSigned)]
    measured = [s for s in signatures if s.statement.decision == "measured"]
    return RecordView(
        first,
        job_named(ledger, recorded.core.job).opened,
        recorded,
        _result(recorded.result),
        recorded.measured or next(iter(measured), None),
        next((s for s in signatures if s.statement.decision != "measured"), None),
        tuple(b for b in bodies if isinstance(b, CheckCorrected) and b.record == record),
        later,
    )


def _recording(record: str, entries: list[Entry]) -> tuple[Entry, CheckRecorded]:
    """The entry that the record began with. Raises ValueError where it contradicts itself."""
    for entry in entries:
        if entry.kind != "check-recorded":
            continue
        recorded = read_body(entry.kind, entry.body)
        assert isinstance(recorded, CheckRecorded)
        if recorded.core.record != record:
            raise ValueError("it stands under another id")
        if core_sha256(entry.body["core"]) != recorded.core_sha256:
            raise ValueError("its core has another hash")
        if result_sha256(entry.body["result"]) != recorded.core.result_sha256:
            raise ValueError("its result has another hash")
        return entry, recorded
    raise ValueError("its first entry is missing")


def _dated(entry: Entry) -> Dated:
    body = read_body(entry.kind, entry.body)
    if not isinstance(body, CheckSigned | CheckCorrected | Exported | Noted):
        raise ValueError(f"entry {entry.sequence} does not belong to it")
    return Dated(entry.sequence, entry.recorded_at, body)


def _result(plain: dict[str, Any]) -> SavedResult:
    """Read back as strictly as any saved result. Raises SavedResultError."""
    (saved,) = parse_saved(json.dumps(plain).encode(), "its result")
    assert isinstance(saved, SavedResult)
    return saved
