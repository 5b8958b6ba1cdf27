"""Jobs: work on one door, under which checks are recorded. Opened, listed, closed."""

from __future__ import annotations

import difflib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from rigvision.ground.errors import UsageError
from rigvision.ground.shown import one_line
from rigvision.records.bodies import JobClosed, JobOpened, Position
from rigvision.records.entry import Entry
from rigvision.records.entry_body import entry_body
from rigvision.records.given_text import LONGEST_REMARK, given_reference, given_text
from rigvision.records.ledger import Ledger
from rigvision.records.ledger_error import spoken
from rigvision.world.frame import Frame
from rigvision.world.recognise import check_door

#: References that are given where the user names none: J-0001 and up.
_FIRST = "J-"


@dataclass(frozen=True, slots=True)
class JobWanted:
    """What somebody wants to open. ``reference`` None: the next free number."""

    work_order: str
    engine: str
    door: int
    position: Position
    opened_by: str
    reference: str | None = None
    remark: str = ""


@dataclass(frozen=True, slots=True)
class Job:
    """A job as it stands. Times are UTC; ``closed`` is None while it is open."""

    opened: JobOpened
    opened_at: str
    closed: JobClosed | None
    closed_at: str | None
    checks: int

    @property
    def reference(self) -> str:
        return self.opened.job

    @property
    def is_open(self) -> bool:
        return self.closed is None


def open_job(ledger: Ledger, wanted: JobWanted, frame: Frame) -> Job:
    """A new job in the ledger. Raises UsageError: a taken reference, no such door, unfit words."""
    check_door(wanted.door, frame)
    facts = {
        "work_order": given_text(wanted.work_order, "the work order"),
        "engine": given_text(wanted.engine, "the engine"),
        "opened_by": given_text(wanted.opened_by, "the name"),
        "remark": given_text(wanted.remark, "the remark", LONGEST_REMARK, optional=True),
    }
    asked = None if wanted.reference is None else given_reference(wanted.reference)
    with ledger.writing() as writing:
        reference = asked or _next_free(ledger)
        _refuse_taken(ledger, reference)
        body = JobOpened(
            job=reference, frame=frame.name, door=wanted.door, position=wanted.position, **facts
        )
        entry = writing.append(body)
    return Job(body, entry.recorded_at, None, None, 0)


def close_job(ledger: Ledger, reference: str, closed_by: str, remark: str = "") -> Job:
    """No check goes into it from here on; what is in it can still be signed. Raises UsageError."""
    name = given_text(closed_by, "the name")
    kept = given_text(remark, "the remark", LONGEST_REMARK, optional=True)
    with ledger.writing() as writing:
        job = open_job_named(ledger, reference)
        writing.append(JobClosed(job.reference, name, kept))
    return job_named(ledger, job.reference)


def job_named(ledger: Ledger, reference: str) -> Job:
    """A job by its reference, small or capital letters alike.

    Raises UsageError where there is none, naming the nearest.
    """
    row = _row(ledger, "SELECT sequence FROM job WHERE job = ? COLLATE NOCASE", reference)
    if row is None:
        raise _unknown(ledger, reference)
    entry = ledger.entry(int(row[0]))
    assert entry is not None
    return _job(ledger, entry)


def open_job_named(ledger: Ledger, reference: str) -> Job:
    """A job that checks can be recorded into. Raises UsageError: unknown, closed."""
    job = job_named(ledger, reference)
    if job.closed is not None:
        raise UsageError(
            "job-closed",
            f"Job {job.reference} was closed by {job.closed.closed_by} on {_day(job.closed_at)}.",
            "Open another job for the work that goes on.",
        )
    return job


def all_jobs(ledger: Ledger, *, open_only: bool = False) -> Iterator[Job]:
    """The newest first."""
    sql = "SELECT sequence FROM job"
    if open_only:
        sql += " WHERE NOT EXISTS (SELECT 1 FROM job_closed WHERE job_closed.job = job.job)"
    with spoken(ledger.path):
        found = ledger.connection.execute(f"{sql} ORDER BY sequence DESC").fetchall()
    for (sequence,) in found:
        entry = ledger.entry(sequence)
        assert entry is not None
        yield _job(ledger, entry)


def _job(ledger: Ledger, entry: Entry) -> Job:
    opened = entry_body(entry, JobOpened)
    row = _row(ledger, "SELECT sequence FROM job_closed WHERE job = ?", opened.job)
    ending = ledger.entry(int(row[0])) if row else None
    closed = entry_body(ending, JobClosed) if ending else None
    count = _row(ledger, "SELECT count(*) FROM check_recorded WHERE job = ?", opened.job)
    assert count is not None
    return Job(
        opened, entry.recorded_at, closed, ending.recorded_at if ending else None, int(count[0])
    )


def _next_free(ledger: Ledger) -> str:
    """One more than the highest number given so far, inside the write transaction."""
    pattern = f"{_FIRST}[0-9]*"
    with spoken(ledger.path):
        rows = ledger.connection.execute("SELECT job FROM job WHERE job GLOB ?", (pattern,))
        numbers = [int(job[2:]) for (job,) in rows if job[2:].isdecimal() and len(job) <= 11]
    return f"{_FIRST}{max(numbers, default=0) + 1:04d}"


def _refuse_taken(ledger: Ledger, reference: str) -> None:
    taken = _row(ledger, "SELECT job FROM job WHERE job = ? COLLATE NOCASE", reference)
    if taken is not None:
        raise UsageError(
            "job-exists",
            f"There is a job {taken[0]} already.",
            "Choose another reference, or leave --ref out to have one given.",
        )


def _unknown(ledger: Ledger, reference: str) -> UsageError:
    with spoken(ledger.path):
        known = [job for (job,) in ledger.connection.execute("SELECT job FROM job")]
    capitals = {job.upper(): job for job in known}
    near = difflib.get_close_matches(reference.upper()[:64], list(capitals), n=3, cutoff=0.6)
    hint = f"Is {' or '.join(capitals[n] for n in near)} meant? " if near else ""
    return UsageError(
        "unknown-job",
        f"There is no job '{one_line(reference, 40)}' in this ledger.",
        f"{hint}'rigvision job list' shows all, 'rigvision job open' opens one.",
    )


def _row(ledger: Ledger, sql: str, value: str) -> tuple[Any, ...] | None:
    with spoken(ledger.path):
        row: tuple[Any, ...] | None = ledger.connection.execute(sql, (value,)).fetchone()
    return row


def _day(time: str | None) -> str:
    return (time or "")[:10]
