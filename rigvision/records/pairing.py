"""Which two records are a door before and after."""

from __future__ import annotations

from rigvision.ground.errors import UsageError
from rigvision.records.jobs import job_named
from rigvision.records.ledger import Ledger
from rigvision.records.person import folded
from rigvision.records.record_view import RecordView, view_record
from rigvision.records.search import Found, records_of_job


def pair_of_job(ledger: Ledger, reference: str) -> tuple[RecordView, RecordView]:
    """The last *before* and the last *after* of a job that count: neither corrected nor rejected.

    Raises UsageError for an unknown job, and where one of the two is missing.
    """
    job = job_named(ledger, reference)
    counting = [
        r
        for r in records_of_job(ledger, job.reference)
        if r.status not in ("corrected", "rejected")
    ]
    before = _last(counting, "before", job.reference)
    after = _last(counting, "after", job.reference)
    return view_record(ledger, before.record), view_record(ledger, after.record)


def pair_named(ledger: Ledger, first: str, second: str) -> tuple[RecordView, RecordView]:
    """Two records of one door, in the order given, but *before* always first.

    Raises UsageError for unknown records, one record twice, or two doors.
    """
    pair = view_record(ledger, first), view_record(ledger, second)
    if pair[0].record == pair[1].record:
        raise UsageError(
            "one-record", f"Record {pair[0].record} was given twice.", "Name two records."
        )
    if _door(pair[0]) != _door(pair[1]):
        raise UsageError(
            "two-doors",
            f"{_described(pair[0])}, but {_described(pair[1])}.",
            "Compare two records of one door.",
        )
    turned = (pair[0].core.stage, pair[1].core.stage) == ("after", "before")
    return (pair[1], pair[0]) if turned else pair


def _last(records: list[Found], stage: str, job: str) -> Found:
    found = [r for r in records if r.stage == stage]
    if not found:
        raise UsageError(
            f"no-{stage}",
            f"Job {job} has no record of the door {stage} the work that counts.",
            f"Check a photo with --stage {stage}, or name two records.",
        )
    return found[-1]


def _door(view: RecordView) -> tuple[str, str, int]:
    return folded(view.job.engine), view.job.frame, view.job.door


def _described(view: RecordView) -> str:
    job = view.job
    return f"{view.record} is of door {job.door} of {job.frame}, engine {job.engine}"
