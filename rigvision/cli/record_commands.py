"""The commands ``record …``: recorded checks found, looked at, signed, exported, backed up."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from rigvision.cli.choices import StageName

records = typer.Typer(
    help="Recorded checks: list, search, show, compare, sign, correct, run again, export.",
    no_args_is_help=True,
    rich_markup_mode=None,
)


class VerdictName(StrEnum):
    passed = "pass"
    adjust = "adjust"
    retake = "retake"


class StatusName(StrEnum):
    recorded = "recorded"
    measured = "measured"
    accepted = "accepted"
    rejected = "rejected"
    corrected = "corrected"


class FormName(StrEnum):
    image = "image"
    page = "page"
    bundle = "bundle"


class DecisionName(StrEnum):
    measured = "measured"
    accepted = "accepted"
    rejected = "rejected"


RecordArgument = Annotated[str, typer.Argument(metavar="ID", help="Record, such as K7Q2-M9XA.")]
LedgerOption = Annotated[
    Path | None, typer.Option("--ledger", metavar="FILE", help="The ledger; else the usual one.")
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON for programs.")]
MostOption = Annotated[int, typer.Option(metavar="N", help="At most so many.")]
OutOption = Annotated[
    Path | None, typer.Option("--out", metavar="FOLDER", help="Write the analysed image here.")
]


@records.command("list")
def list_(
    job: Annotated[str | None, typer.Option(metavar="REF", help="Of this job only.")] = None,
    most: MostOption = 50,
    ledger: LedgerOption = None,
    json: JsonOption = False,
) -> None:
    """List records, the newest first.

    Exit code: 0, 1 failed, 2 wrong usage.
    """
    from rigvision.cli.records import list_found
    from rigvision.records.search import Wanted

    list_found(Wanted(job=job, most=most), ledger, as_json=json)


@records.command("search")
def search(
    job: Annotated[str | None, typer.Option(metavar="REF")] = None,
    work_order: Annotated[str | None, typer.Option(metavar="TEXT")] = None,
    engine: Annotated[str | None, typer.Option(metavar="TEXT")] = None,
    frame: Annotated[str | None, typer.Option(metavar="NAME")] = None,
    door: Annotated[int | None, typer.Option(metavar="NUMBER")] = None,
    gauge: Annotated[str | None, typer.Option(metavar="NAME")] = None,
    stage: Annotated[StageName | None, typer.Option()] = None,
    verdict: Annotated[VerdictName | None, typer.Option()] = None,
    borderline: Annotated[
        bool | None, typer.Option("--borderline/--not-borderline", help="Where opinions differ.")
    ] = None,
    status: Annotated[
        StatusName | None, typer.Option(help="What became of it; recorded: not signed.")
    ] = None,
    since: Annotated[
        str | None, typer.Option(metavar="YYYY-MM-DD", help="Recorded on that day or later, UTC.")
    ] = None,
    until: Annotated[
        str | None, typer.Option(metavar="YYYY-MM-DD", help="Recorded by that day, UTC.")
    ] = None,
    most: MostOption = 50,
    ledger: LedgerOption = None,
    json: JsonOption = False,
) -> None:
    """Find records; all that is given must fit. The newest first.

    Exit code: 0 also where nothing is found, 1 failed, 2 wrong usage.
    """
    from rigvision.cli.records import list_found
    from rigvision.records.search import Wanted

    wanted = Wanted(
        job=job,
        work_order=work_order,
        engine=engine,
        frame=frame,
        door=door,
        gauge=gauge,
        stage=stage.value if stage else None,
        verdict=verdict.value if verdict else None,
        borderline=borderline,
        status=status.value if status else None,
        since=since,
        until=until,
        most=most,
    )
    list_found(wanted, ledger, as_json=json)


@records.command("show")
def show(
    record: RecordArgument,
    out: OutOption = None,
    ledger: LedgerOption = None,
    json: JsonOption = False,
) -> None:
    """Show all of a record: figures, flags, signatures, what it was measured with.

    Exit code: 0, 1 failed, such as a record that was changed, 2 wrong usage.
    """
    from rigvision.cli.records import show_one

    show_one(record, out, ledger, as_json=json)


@records.command("compare")
def compare(
    first: Annotated[
        str, typer.Argument(metavar="JOB-OR-ID", help="A job with a before and an after, or one.")
    ],
    second: Annotated[
        str | None, typer.Argument(metavar="ID", help="The record to compare with.")
    ] = None,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FOLDER", help="Write both images as one here.")
    ] = None,
    ledger: LedgerOption = None,
    json: JsonOption = False,
) -> None:
    """Compare a door before and after: each figure, its change, the change's uncertainty.

    Exit code: 0 whatever has changed, 1 failed, 2 wrong usage, such as two doors.
    """
    from rigvision.cli.comparing import compare_two

    compare_two(first, second, out, ledger, as_json=json)


@records.command("sign")
def sign(
    record: RecordArgument,
    key: Annotated[Path, typer.Option(metavar="FILE", help="Your key's file.")],
    decision: Annotated[
        DecisionName | None,
        typer.Option(help="For inspectors: accepted or rejected. A mechanic signs measured."),
    ] = None,
    remark: Annotated[
        str, typer.Option(metavar="TEXT", help="Signed with it; a rejection needs one.")
    ] = "",
    out: OutOption = None,
    passphrase_file: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Its first line is the passphrase: for programs."),
    ] = None,
    ledger: LedgerOption = None,
    json: JsonOption = False,
) -> None:
    """Sign a record: see what is signed, then give the passphrase.

    Exit code: 0 signed, 1 refused or failed, 2 wrong usage.
    """
    from rigvision.cli.signing import sign_one

    sign_one(
        record,
        key,
        decision.value if decision else None,
        remark,
        out,
        passphrase_file,
        ledger,
        as_json=json,
    )


@records.command("correct")
def correct(
    record: RecordArgument,
    cause: Annotated[str, typer.Option(metavar="TEXT", help="What is wrong with it.")],
    replaced_by: Annotated[
        str | None, typer.Option(metavar="ID", help="The record that holds instead.")
    ] = None,
    by: Annotated[
        str | None, typer.Option(metavar="NAME", help="Who says so; else who is logged in.")
    ] = None,
    ledger: LedgerOption = None,
    json: JsonOption = False,
) -> None:
    """Say that a record is wrong. It stays, but can no longer be signed.

    Exit code: 0 corrected, 1 failed, 2 wrong usage.
    """
    from rigvision.cli.records import correct_one

    correct_one(record, cause, replaced_by, by, ledger, as_json=json)


@records.command("replay")
def replay(record: RecordArgument, ledger: LedgerOption = None, json: JsonOption = False) -> None:
    """Run a recorded check again, and say what comes out differently. Nothing is written.

    Exit code: 0 same verdict, reasons and figures within their uncertainty, 1 not, or failed,
    2 wrong usage.
    """
    from rigvision.cli.replaying import replay_one

    raise typer.Exit(replay_one(record, ledger, as_json=json))


@records.command("export")
def export(
    record: RecordArgument,
    form: Annotated[
        list[FormName] | None,
        typer.Option(help="The analysed image, the page as PDF, or (default) all as a zip."),
    ] = None,
    out: Annotated[Path, typer.Option("--out", metavar="FOLDER", help="Where to.")] = Path("."),
    ledger: LedgerOption = None,
    json: JsonOption = False,
) -> None:
    """Write a record into files that 'rigvision verify' proves, also without the ledger.

    Exit code: 0 written, 1 failed, such as a record that is not whole, 2 wrong usage.
    """
    from rigvision.cli.exporting import export_one

    forms = form or [FormName.bundle]
    export_one(record, [f.value for f in forms], out, ledger, as_json=json)


@records.command("backup")
def backup(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="On another disk, if you can.")],
    ledger: LedgerOption = None,
    json: JsonOption = False,
) -> None:
    """Copy the ledger with all its evidence into a folder, while it is in use.

    Exit code: 0 copied, 1 failed, or evidence is missing already, 2 wrong usage.
    """
    from rigvision.cli.backups import back_up

    raise typer.Exit(back_up(folder, ledger, as_json=json))


@records.command("restore")
def restore(
    source: Annotated[Path, typer.Argument(metavar="FOLDER", help="The backup's folder.")],
    lose_newer: Annotated[
        bool, typer.Option("--lose-newer", help="Give up newer entries that cannot be read.")
    ] = False,
    ledger: LedgerOption = None,
    json: JsonOption = False,
) -> None:
    """Put a lost or damaged ledger back from a backup, with what is newer and still whole.

    Exit code: 0 all is whole, 1 failed, or evidence is missing in the backup too, 2 wrong usage.
    """
    from rigvision.cli.backups import put_back

    raise typer.Exit(put_back(source, ledger, lose_newer=lose_newer, as_json=json))
