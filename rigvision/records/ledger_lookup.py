"""What a ledger says about one record, and about a file by its hash."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from rigvision.records.bodies import CheckRecorded
from rigvision.records.entry import Entry
from rigvision.records.ledger import Ledger
from rigvision.records.ledger_error import LedgerError, shown_path, spoken
from rigvision.records.read_body import read_body
from rigvision.records.record_export import concerning


@dataclass(frozen=True, slots=True)
class KnownFile:
    """An entry that names a file; ``part`` is what the file is: photo, image, gauge, exported …"""

    record: str
    part: str
    entry: Entry


def entries_about(ledger: Ledger, record: str) -> tuple[Entry, ...]:
    """All entries that a reader of one record needs, in order (``concerning``).

    Raises LedgerError where the ledger has no such record, or not as it was written.
    """
    try:
        return concerning(record, _candidates(ledger, record))
    except ValueError as error:
        raise LedgerError(
            "no-such-record",
            f"The ledger {shown_path(ledger.path)} cannot say what {record} is: {error}.",
            "'rigvision record list' shows the records there are; 'rigvision verify' whether the "
            "ledger is intact.",
        ) from error


def files_known_as(ledger: Ledger, sha256: str) -> list[KnownFile]:
    """Every entry that names a file of this hash, in the ledger's order."""
    sql = "SELECT sequence, part FROM file WHERE sha256 = ? ORDER BY sequence, part"
    with spoken(ledger.path):
        rows = ledger.connection.execute(sql, (sha256,)).fetchall()
    known = []
    for sequence, part in rows:
        entry = ledger.entry(sequence)
        if entry is not None and sha256 in str(entry.body):  # not the index alone says so
            known.append(KnownFile(_record_of(entry), part, entry))
    return known


def differing(ledger: Ledger, entries: Sequence[Entry]) -> list[int]:
    """The numbers of those entries that the ledger has otherwise, or not at all."""
    return [entry.sequence for entry in entries if ledger.entry(entry.sequence) != entry]


def _record_of(entry: Entry) -> str:
    plain = entry.body["core"] if entry.kind == "check-recorded" else entry.body
    return str(plain["record"])


def _candidates(ledger: Ledger, record: str) -> list[Entry]:
    """More than enough entries: how the ledger began, all keys, the job, all that name it."""
    about = list(ledger.entries_of(record))
    found = [*ledger.entries(1, 1), *about]
    found += ledger.entries_of_kind("person-enrolled")
    found += ledger.entries_of_kind("person-withdrawn")
    found += _job_entries(ledger, record, about)
    return sorted({entry.sequence: entry for entry in found}.values(), key=lambda e: e.sequence)


def _job_entries(ledger: Ledger, record: str, about: Sequence[Entry]) -> Iterator[Entry]:
    bodies = [read_body(entry.kind, entry.body) for entry in about]
    jobs = {b.core.job for b in bodies if isinstance(b, CheckRecorded) and b.core.record == record}
    sql = (
        "SELECT sequence FROM job WHERE job = ? UNION "
        "SELECT sequence FROM job_closed WHERE job = ? ORDER BY 1"
    )
    for job in jobs:
        with spoken(ledger.path):
            rows = ledger.connection.execute(sql, (job, job)).fetchall()
        for (sequence,) in rows:
            yield from ledger.entries(sequence, sequence)
