"""What the commands ``job …`` do: one library call each, then what came of it."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import asdict, replace
from itertools import islice
from pathlib import Path
from typing import Any

from rigvision.cli.at_ledger import chosen, head_as_json, opened, person_at_keyboard, shown_head
from rigvision.cli.page import Page, print_json, shown_time
from rigvision.cli.record_rows import as_rows
from rigvision.ground.errors import UsageError
from rigvision.records.file_system import network_doubt
from rigvision.records.jobs import Job, JobWanted, all_jobs, close_job, job_named, open_job
from rigvision.records.ledger import Ledger
from rigvision.records.search import Found, records_of_job
from rigvision.world.catalogue import load, load_all
from rigvision.world.frame import Frame

SCHEMA = "rigvision.job/1"


def open_one(
    wanted: JobWanted, frame_name: str | None, ledger_file: Path | None, *, as_json: bool
) -> None:
    """Open a job; ``opened_by`` empty stands for whoever is at the keyboard."""
    wanted = replace(wanted, opened_by=person_at_keyboard(wanted.opened_by or None))
    frame = load(Frame, frame_name) if frame_name else _only_frame()
    with Ledger.open_or_create(chosen(ledger_file)) as ledger:
        job, head = open_job(ledger, wanted, frame), ledger.head()
        doubt = network_doubt(ledger.path)
    if doubt:
        print(doubt, file=sys.stderr)
    if as_json:
        print_json(_plain(job) | {"head": head_as_json(head)})
        return
    page = Page()
    page.headline(f"Job {job.reference} is open", _place(job))
    page.line(f"Work order {job.opened.work_order}, opened by {job.opened.opened_by}")
    page.line("Check photos into it:")
    page.exact(f"rigvision check PHOTO --job {job.reference}")
    page.line(shown_head(head), "dim")


def list_all(ledger_file: Path | None, *, every: bool, most: int, as_json: bool) -> None:
    with opened(ledger_file, read_only=True) as ledger:
        found = list(islice(all_jobs(ledger, open_only=not every), most + 1))
    jobs, more = found[:most], len(found) > most
    if as_json:
        print_json({"schema": "rigvision.jobs/1", "jobs": [_plain(j) for j in jobs], "more": more})
        return
    page = Page()
    if not jobs:
        page.line("There is no open job." if not every else "There is no job.")
        return
    rows = [
        (
            j.reference,
            j.opened.work_order,
            _place(j),
            _checks(j),
            shown_time(j.opened_at),
            _state(j),
        )
        for j in jobs
    ]
    page.table(("job", "work order", "engine and door", "checks", "opened", ""), rows)
    if more:
        page.line(f"There are more than these {most}: --most N shows more.", "dim")


def show_one(reference: str, ledger_file: Path | None, *, as_json: bool) -> None:
    with opened(ledger_file, read_only=True) as ledger:
        job = job_named(ledger, reference)
        records, head = records_of_job(ledger, job.reference), ledger.head()
    if as_json:
        plain = _plain(job) | {"records": [asdict(r) for r in records]}
        print_json(plain | {"head": head_as_json(head)})
        return
    page = Page()
    page.headline(f"Job {job.reference}", _place(job))
    page.line(
        f"Work order {job.opened.work_order}, opened by {job.opened.opened_by} on "
        f"{shown_time(job.opened_at)}"
    )
    if job.opened.remark:
        page.line(job.opened.remark)
    if job.closed:
        page.line(f"Closed by {job.closed.closed_by} on {shown_time(job.closed_at)}")
        if job.closed.remark:
            page.line(job.closed.remark)
    page.gap()
    show_records(page, records)
    page.line(shown_head(head), "dim")


def close_one(
    reference: str, by: str | None, remark: str, ledger_file: Path | None, *, as_json: bool
) -> None:
    name = person_at_keyboard(by)
    with opened(ledger_file) as ledger:
        job = close_job(ledger, reference, name, remark)
        records, head = records_of_job(ledger, job.reference), ledger.head()
    waiting = [r.record for r in records if r.status in ("recorded", "measured")]
    if as_json:
        print_json(_plain(job) | {"unsigned": waiting, "head": head_as_json(head)})
        return
    page = Page()
    page.headline(f"Job {job.reference} is closed", _place(job))
    if waiting:
        page.line(f"Not decided by an inspector yet: {', '.join(waiting)}. They can still be.")
    page.line(shown_head(head), "dim")


def show_records(page: Page, records: Sequence[Found]) -> None:
    if not records:
        page.line("No check is recorded in it.")
        return
    page.table(*as_rows(records))


def _only_frame() -> Frame:
    frames = load_all(Frame)
    if len(frames) != 1:
        names = ", ".join(f.name for f in frames) or "none"
        raise UsageError(
            "frame-needed", f"The frame was not named ({names} known).", "Name it with --frame."
        )
    return frames[0]


def _plain(job: Job) -> dict[str, Any]:
    closed = job.closed
    return {
        "schema": SCHEMA,
        **asdict(job.opened),
        "opened_at": job.opened_at,
        "closed": None
        if closed is None
        else {"closed_by": closed.closed_by, "closed_at": job.closed_at, "remark": closed.remark},
        "checks": job.checks,
    }


def _place(job: Job) -> str:
    where = f"engine {job.opened.engine}, {job.opened.frame} door {job.opened.door}"
    return where if job.opened.position == "ordinary" else f"{where}, {job.opened.position}"


def _checks(job: Job) -> str:
    return "1 check" if job.checks == 1 else f"{job.checks} checks"


def _state(job: Job) -> str:
    return "open" if job.is_open else f"closed {(job.closed_at or '')[:10]}"
