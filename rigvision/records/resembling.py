"""The earlier records of a ledger that a photo resembles."""

from __future__ import annotations

from collections.abc import Iterator

from rigvision.records.bodies import Body, CheckRecorded, JobOpened, Likeness
from rigvision.records.flags import Earlier, Place
from rigvision.records.ledger import Ledger, unreadable_entry
from rigvision.records.ledger_error import spoken
from rigvision.records.likeness_index import candidates
from rigvision.records.read_body import read_body
from rigvision.records.sameness import compare

#: Kinds of sameness that are worth a flag.
_TELLING = ("same-photo", "same-setup")


def resembling(ledger: Ledger, likeness: Likeness | None) -> tuple[Earlier, ...]:
    """Earlier records that show the same exposure or the same set-up, the oldest first.

    Corrected ones do not count. None without a likeness. Raises LedgerError.
    """
    if likeness is None:
        return ()
    with spoken(ledger.path):
        found = candidates(ledger.connection, likeness)
        return tuple(_compared(ledger, likeness, found))


def _compared(ledger: Ledger, likeness: Likeness, sequences: list[int]) -> Iterator[Earlier]:
    for sequence in sequences:
        body = _body(ledger, sequence)
        if not isinstance(body, CheckRecorded) or body.likeness is None:
            raise unreadable_entry(sequence, ledger.path)  # the index says that it is one
        sameness = compare(likeness, body.likeness)
        record = body.core.record
        if sameness.kind in _TELLING and not _corrected(ledger, record):
            yield Earlier(record, _place(ledger, body), sameness)


def _place(ledger: Ledger, check: CheckRecorded) -> Place:
    sql = "SELECT sequence FROM job WHERE job = ?"
    found = ledger.connection.execute(sql, (check.core.job,)).fetchone()
    sequence = found[0] if found else 0
    job = _body(ledger, sequence)
    if not isinstance(job, JobOpened):
        raise unreadable_entry(sequence, ledger.path)
    return Place(job.job, job.engine, job.frame, job.door, check.core.stage)


def _body(ledger: Ledger, sequence: int) -> Body | None:
    entry = ledger.entry(sequence)
    try:
        return read_body(entry.kind, entry.body) if entry else None
    except ValueError as error:
        raise unreadable_entry(sequence, ledger.path) from error


def _corrected(ledger: Ledger, record: str) -> bool:
    sql = "SELECT 1 FROM correction WHERE record = ?"
    return ledger.connection.execute(sql, (record,)).fetchone() is not None
