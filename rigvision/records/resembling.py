"""The earlier records of a ledger that a photo resembles."""

from __future__ import annotations

from collections.abc import Iterator

from rigvision.records.bodies import CheckRecorded, JobOpened, Likeness
from rigvision.records.flags import Earlier, Place
from rigvision.records.ledger import Ledger
from rigvision.records.ledger_error import spoken
from rigvision.records.likeness_index import candidates
from rigvision.records.read_body import read_body
from rigvision.records.sameness import compare

#: Kinds of sameness that are worth a flag.
_TELLING = ("same-photo", "same-setup")


def resembling(ledger: Ledger, likeness: Likeness | None) -> tuple[Earlier, ...]:
    """Earlier records that show the same exposure or the same set-up, the oldest first.

    Corrected ones do not count. None without a likeness. Raises LedgerError, and ValueError for
    an entry that is not of its kind's form.
    """
    if likeness is None:
        return ()
    with spoken(ledger.path):
        found = candidates(ledger.connection, likeness)
        return tuple(_compared(ledger, likeness, found))


def _compared(ledger: Ledger, likeness: Likeness, sequences: list[int]) -> Iterator[Earlier]:
    for sequence in sequences:
        entry = ledger.entry(sequence)
        body = read_body(entry.kind, entry.body) if entry else None
        if not isinstance(body, CheckRecorded) or body.likeness is None:
            continue
        sameness = compare(likeness, body.likeness)
        record = body.core.record
        if sameness.kind in _TELLING and not _corrected(ledger, record):
            yield Earlier(record, _place(ledger, body), sameness)


def _place(ledger: Ledger, check: CheckRecorded) -> Place:
    sql = "SELECT sequence FROM job WHERE job = ?"
    (sequence,) = ledger.connection.execute(sql, (check.core.job,)).fetchone()
    entry = ledger.entry(sequence)
    job = read_body(entry.kind, entry.body) if entry else None
    if not isinstance(job, JobOpened):
        raise ValueError(f"entry {sequence} does not open job {check.core.job}")
    return Place(job.job, job.engine, job.frame, job.door, check.core.stage)


def _corrected(ledger: Ledger, record: str) -> bool:
    sql = "SELECT 1 FROM correction WHERE record = ?"
    return ledger.connection.execute(sql, (record,)).fetchone() is not None
