"""The commands ``review …``: pages for the trainer, and rulings into the ledger."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

reviews = typer.Typer(
    help="Pages for the trainer: borderline shots first. 'note' puts a ruling into the ledger.",
    no_args_is_help=True,
    rich_markup_mode=None,
)


class RulingName(StrEnum):
    passed = "pass"
    adjust = "adjust"
    retake = "retake"


LedgerOption = Annotated[
    Path | None, typer.Option("--ledger", metavar="FILE", help="The ledger; else the usual one.")
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON for programs.")]


@reviews.command("pages")
def pages(
    out: Annotated[
        Path, typer.Option("--out", metavar="FOLDER", help="Where to: empty, or a review's own.")
    ],
    results: Annotated[
        Path | None,
        typer.Argument(metavar="[FOLDER-OF-RESULTS]", help="Saved results instead of a ledger."),
    ] = None,
    ledger: LedgerOption = None,
    job: Annotated[str | None, typer.Option(metavar="REF", help="Of this job only.")] = None,
    since: Annotated[
        str | None, typer.Option(metavar="YYYY-MM-DD", help="Recorded on that day or later, UTC.")
    ] = None,
    most: Annotated[int, typer.Option(metavar="N", help="At most so many, the newest.")] = 500,
    json: JsonOption = False,
) -> None:
    """Build the pages; the word 'pages' may be left out. They open from a file, without a network.

    Exit code: 0 built, 1 failed, 2 wrong usage.
    """
    from rigvision.cli.reviewing import ReviewRequest, build_pages

    build_pages(ReviewRequest(results, ledger, out, job, since, most), as_json=json)


@reviews.command("note")
def note(
    record: Annotated[str, typer.Argument(metavar="RECORD", help="Such as K7Q2-M9XA.")],
    ruling: Annotated[RulingName, typer.Option(help="What it should have been called.")],
    text: Annotated[str, typer.Option(metavar="TEXT", help="Why.")],
    by: Annotated[
        str | None, typer.Option(metavar="NAME", help="Who says so; else who is logged in.")
    ] = None,
    ledger: LedgerOption = None,
    json: JsonOption = False,
) -> None:
    """Put a trainer's ruling beside a record. It teaches; the record stays as it is.

    Exit code: 0 noted, 1 failed, 2 wrong usage.
    """
    from rigvision.cli.reviewing import note_one

    note_one(record, ruling.value, text, by, ledger, as_json=json)
