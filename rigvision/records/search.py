"""Records found again: by job, engine, door, gauge, frame, time, verdict, what became of them."""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, Literal

from rigvision.decision.result import Verdict
from rigvision.ground.errors import UsageError
from rigvision.ground.shown import one_line
from rigvision.records.bodies import Stage
from rigvision.records.ledger import Ledger
from rigvision.records.ledger_error import spoken
from rigvision.records.record_id import parse_record_id

#: ``recorded``: nobody has signed; ``measured``: the mechanic has, no inspector yet.
Status = Literal["recorded", "measured", "accepted", "rejected", "corrected"]
MOST = 10_000
_DATE = re.compile(r"\d{4}-\d\d-\d\d")

_COLUMNS = """
SELECT c.record, c.job, j.work_order, j.engine, j.frame, j.door, c.stage, c.gauge, c.verdict,
       c.borderline, c.recorded_at, c.taken_at,
       CASE
         WHEN EXISTS (SELECT 1 FROM correction x WHERE x.record = c.record) THEN 'corrected'
         ELSE coalesce(
           (SELECT s.decision FROM signing s WHERE s.record = c.record
            ORDER BY s.decision = 'measured', s.sequence LIMIT 1), 'recorded')
       END AS status
FROM check_recorded c JOIN job j ON j.job = c.job
"""


_CORRECTED = "EXISTS (SELECT 1 FROM correction x WHERE x.record = c.record)"
_SAID = "EXISTS (SELECT 1 FROM signing s WHERE s.record = c.record AND s.decision {})"
#: Each status as conditions that an index answers for one check. What is rare is found from there;
#: else the checks are gone through from the newest, until there are enough.
_WITH_STATUS: dict[str | None, tuple[str, ...]] = {
    "recorded": (f"NOT {_SAID.format('IS NOT NULL')}", f"NOT {_CORRECTED}"),
    "measured": (
        "NOT " + _SAID.format("IN ('accepted', 'rejected')"),
        _SAID.format("= 'measured'"),
        f"NOT {_CORRECTED}",
    ),
    "accepted": (_SAID.format("= 'accepted'"), f"NOT {_CORRECTED}"),
    "rejected": (
        "c.record IN (SELECT record FROM signing WHERE decision = 'rejected')",
        f"NOT {_CORRECTED}",
    ),
    "corrected": ("c.record IN (SELECT record FROM correction)",),
}


@dataclass(frozen=True, slots=True)
class Wanted:
    """What to look for; None stands for any. Days are UTC, both included.

    Names are compared without regard to small and capital ASCII letters.
    """

    job: str | None = None
    work_order: str | None = None
    engine: str | None = None
    frame: str | None = None
    door: int | None = None
    gauge: str | None = None
    stage: Stage | None = None
    verdict: Verdict | None = None
    borderline: bool | None = None
    status: Status | None = None
    since: str | None = None
    until: str | None = None
    most: int = 100


@dataclass(frozen=True, slots=True)
class Found:
    """One record in a list. Frame and door are the job's."""

    record: str
    job: str
    work_order: str
    engine: str
    frame: str
    door: int
    stage: Stage | None
    gauge: str | None
    verdict: Verdict
    borderline: bool
    recorded_at: str
    taken_at: str | None
    status: Status


@dataclass(frozen=True, slots=True)
class Finds:
    """The newest first; ``more`` where there are others than those given."""

    found: tuple[Found, ...]
    more: bool


def search(ledger: Ledger, wanted: Wanted) -> Finds:
    """All records that are wanted. Raises UsageError for a day that is none."""
    if not 1 <= wanted.most <= MOST:
        raise UsageError(
            "most-records", f"{wanted.most} records cannot be listed.", f"Ask for 1 to {MOST}."
        )
    conditions, values = _conditions(wanted)
    where = f"WHERE {' AND '.join(conditions)}" if conditions else ""
    sql = f"{_COLUMNS} {where} ORDER BY c.sequence DESC LIMIT ?"
    with spoken(ledger.path):
        rows = ledger.connection.execute(sql, (*values, wanted.most + 1)).fetchall()
    found = tuple(_found(row) for row in rows[: wanted.most])
    return Finds(found, len(rows) > wanted.most)


def records_of_job(ledger: Ledger, job: str) -> tuple[Found, ...]:
    """All of a job, the oldest first."""
    sql = f"{_COLUMNS} WHERE c.job = ? ORDER BY c.sequence"
    with spoken(ledger.path):
        return tuple(_found(row) for row in ledger.connection.execute(sql, (job,)))


def record_named(ledger: Ledger, typed: str) -> str:
    """The id of a record that is there, as it was typed.

    Raises UsageError for what is no id, and for one that is not there, naming the nearest.
    """
    record = parse_record_id(typed)
    with spoken(ledger.path):
        sql = "SELECT 1 FROM check_recorded WHERE record = ?"
        if ledger.connection.execute(sql, (record,)).fetchone():
            return record
        known = [r for (r,) in ledger.connection.execute("SELECT record FROM check_recorded")]
    near = difflib.get_close_matches(record, known, n=3, cutoff=0.7)
    hint = f"Is {' or '.join(near)} meant? " if near else ""
    raise UsageError(
        "unknown-record",
        f"There is no record {record} in this ledger.",
        f"{hint}'rigvision record list' shows what there is.",
    )


def _conditions(wanted: Wanted) -> tuple[list[str], list[Any]]:
    jobs = (
        ("job = ? COLLATE NOCASE", wanted.job),
        ("work_order = ? COLLATE NOCASE", wanted.work_order),
        ("engine = ? COLLATE NOCASE", wanted.engine),
        ("frame = ? COLLATE NOCASE", wanted.frame),
        ("door = ?", wanted.door),
    )
    of_jobs = [(condition, value) for condition, value in jobs if value is not None]
    conditions: list[str] = []
    values: list[Any] = [value for _, value in of_jobs]
    if of_jobs:
        # There are far fewer jobs than checks: they are looked through first.
        which = " AND ".join(condition for condition, _ in of_jobs)
        conditions.append(f"c.job IN (SELECT job FROM job WHERE {which})")
    checks = (
        ("c.gauge = ? COLLATE NOCASE", wanted.gauge),
        ("c.stage = ?", wanted.stage),
        ("c.verdict = ?", wanted.verdict),
        ("c.borderline = ?", None if wanted.borderline is None else int(wanted.borderline)),
    )
    conditions += [condition for condition, value in checks if value is not None]
    conditions += _WITH_STATUS.get(wanted.status, ())
    values += [value for _, value in checks if value is not None]
    if wanted.since is not None:
        conditions.append("c.recorded_at >= ?")
        values.append(_day(wanted.since).isoformat())
    if wanted.until is not None:
        conditions.append("c.recorded_at < ?")
        values.append((_day(wanted.until) + timedelta(days=1)).isoformat())
    return conditions, values


def _day(text: str) -> date:
    try:
        if not _DATE.fullmatch(text):
            raise ValueError
        day = date.fromisoformat(text)
        day + timedelta(days=1)
    except (ValueError, OverflowError) as error:
        raise UsageError(
            "not-a-day",
            f"'{one_line(text, 40)}' is no day.",
            "Write it as year, month and day: 2026-01-31.",
        ) from error
    return day


def _found(row: tuple[Any, ...]) -> Found:
    record, job, work_order, engine, frame, door, stage, gauge, verdict, borderline, *rest = row
    recorded_at, taken_at, status = rest
    return Found(
        record,
        job,
        work_order,
        engine,
        frame,
        door,
        stage,
        gauge,
        verdict,
        bool(borderline),
        recorded_at,
        taken_at,
        status,
    )
