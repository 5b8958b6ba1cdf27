"""The commands ``job …``: work on one door, under which checks are recorded."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

jobs = typer.Typer(
    help="Jobs that checks are recorded under: open, list, show, close.",
    no_args_is_help=True,
    rich_markup_mode=None,
)


class PositionName(StrEnum):
    ordinary = "ordinary"
    master = "master"


ReferenceArgument = Annotated[str, typer.Argument(metavar="REF", help="The job's reference.")]
ByOption = Annotated[
    str | None, typer.Option("--by", metavar="NAME", help="Who does it; else who is logged in.")
]
RemarkOption = Annotated[str, typer.Option("--remark", metavar="TEXT", help="A line to keep.")]
LedgerOption = Annotated[
    Path | None, typer.Option("--ledger", metavar="FILE", help="The ledger; else the usual one.")
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON for programs.")]


@jobs.command("open")
def open_(
    work_order: Annotated[str, typer.Option(metavar="TEXT", help="Work order.")],
    engine: Annotated[str, typer.Option(metavar="TEXT", help="Engine, by serial number.")],
    door: Annotated[int, typer.Option(metavar="NUMBER", help="Door in the frame, from 1.")],
    frame: Annotated[
        str | None,
        typer.Option(metavar="NAME-OR-FILE", help="Frame; may be left out where there is one."),
    ] = None,
    position: Annotated[
        PositionName, typer.Option(help="The actuator's position.")
    ] = PositionName.ordinary,
    ref: Annotated[
        str | None, typer.Option(metavar="REF", help="Reference; else J-0001 and up.")
    ] = None,
    by: ByOption = None,
    remark: RemarkOption = "",
    ledger: LedgerOption = None,
    json: JsonOption = False,
) -> None:
    """Open a job. The first one makes the ledger.

    Exit code: 0 opened, 1 failed, 2 wrong usage.
    """
    from rigvision.cli.jobs import open_one
    from rigvision.records.jobs import JobWanted

    wanted = JobWanted(work_order, engine, door, position.value, by or "", ref, remark)
    open_one(wanted, frame, ledger, as_json=json)


@jobs.command("list")
def list_(
    every: Annotated[bool, typer.Option("--all", help="Closed ones too.")] = False,
    most: Annotated[int, typer.Option(metavar="N", min=1, help="At most so many.")] = 100,
    ledger: LedgerOption = None,
    json: JsonOption = False,
) -> None:
    """List open jobs, the newest first.

    Exit code: 0, 1 failed, 2 wrong usage.
    """
    from rigvision.cli.jobs import list_all

    list_all(ledger, every=every, most=most, as_json=json)


@jobs.command("show")
def show(ref: ReferenceArgument, ledger: LedgerOption = None, json: JsonOption = False) -> None:
    """Show a job with its checks.

    Exit code: 0, 1 failed, 2 wrong usage, such as a job that is not there.
    """
    from rigvision.cli.jobs import show_one

    show_one(ref, ledger, as_json=json)


@jobs.command("close")
def close(
    ref: ReferenceArgument,
    by: ByOption = None,
    remark: RemarkOption = "",
    ledger: LedgerOption = None,
    json: JsonOption = False,
) -> None:
    """Close a job: no check goes into it any more. What is in it can still be signed.

    Exit code: 0 closed, 1 failed, 2 wrong usage, such as a job that is closed already.
    """
    from rigvision.cli.jobs import close_one

    close_one(ref, by, remark, ledger, as_json=json)
