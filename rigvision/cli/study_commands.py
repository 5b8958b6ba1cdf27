"""The commands ``study …``: how good are gauge, photos and people?"""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

studies = typer.Typer(
    help="Studies of gauge, photos and people: plan, take, report.",
    no_args_is_help=True,
    rich_markup_mode=None,
)


class QuantityChoice(StrEnum):
    gap = "gap"
    taper = "taper"
    lateral = "lateral"
    tilt = "tilt"
    seat_gap = "seat-gap"
    clock = "clock"


FolderArgument = Annotated[Path, typer.Argument(metavar="FOLDER", help="The study's folder.")]
FrameOption = Annotated[
    str | None,
    typer.Option("--frame", metavar="NAME-OR-FILE", help="Frame, where its file is your own."),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON for programs.")]


@studies.command("plan")
def plan(
    folder: FolderArgument,
    file: Annotated[
        Path | None,
        typer.Option("--from", metavar="FILE.toml", help="What is wanted; else the options below."),
    ] = None,
    name: Annotated[
        str | None, typer.Option(metavar="TEXT", help="What the study is called.")
    ] = None,
    frame: Annotated[
        str | None, typer.Option(metavar="NAME-OR-FILE", help="Frame whose limits count.")
    ] = None,
    door: Annotated[
        list[int] | None, typer.Option(metavar="NUMBER", help="A door as a setting; repeat.")
    ] = None,
    setting: Annotated[
        list[str] | None, typer.Option(metavar="TEXT", help="A setting by a name; repeat.")
    ] = None,
    person: Annotated[
        list[str] | None, typer.Option(metavar="NAME", help="Who shoots; repeat.")
    ] = None,
    shots: Annotated[
        int | None, typer.Option(metavar="N", help="Shots of a setting by a person; else 3.")
    ] = None,
    seed: Annotated[
        int | None, typer.Option(metavar="N", help="For the order; else drawn and stated.")
    ] = None,
    nested: Annotated[
        bool, typer.Option("--nested", help="Settings cannot be repeated: each is one person's.")
    ] = False,
    quantity: Annotated[
        QuantityChoice | None, typer.Option(help="What is studied; else gap.")
    ] = None,
    json: JsonOption = False,
) -> None:
    """Plan a study: FOLDER gets plan.json and, to be printed, plan.html.

    Exit code: 0 planned, 1 failed, 2 wrong usage.
    """
    from rigvision.cli.study import Asked, plan_one

    asked = Asked(
        name,
        frame,
        tuple(door or ()),
        tuple(setting or ()),
        tuple(person or ()),
        shots,
        seed,
        nested,
        quantity.value if quantity else None,
    )
    plan_one(folder, file, asked, as_json=json)


@studies.command("take")
def take(
    folder: FolderArgument,
    photos: Annotated[
        list[Path] | None,
        typer.Argument(metavar="PHOTO", help="Photos, in the plan's order."),
    ] = None,
    record: Annotated[
        list[str] | None,
        typer.Option(metavar="ID", help="A record of the ledger instead of a photo; repeat."),
    ] = None,
    shot: Annotated[
        int | None, typer.Option(metavar="N", help="Take a single photo into this shot.")
    ] = None,
    gauge: Annotated[str | None, typer.Option(metavar="NAME-OR-FILE", help="As in check.")] = None,
    frame: FrameOption = None,
    camera: Annotated[str | None, typer.Option(metavar="NAME-OR-FILE", help="As in check.")] = None,
    guarded: Annotated[bool, typer.Option("--guarded", help="As in check.")] = False,
    ledger: Annotated[
        Path | None, typer.Option(metavar="FILE", help="For --record; else the usual one.")
    ] = None,
    json: JsonOption = False,
) -> None:
    """Check photos into a study. Can be broken off and given again: what is taken stays.

    Exit code: 0 all taken, 4 some must be taken again or do not belong, 1 a photo could not be
    read, or something failed, 2 wrong usage.
    """
    from rigvision.cli.study import Taking, take_into

    taking = Taking(
        tuple(photos or ()), tuple(record or ()), shot, gauge, frame, camera, guarded, ledger
    )
    raise typer.Exit(take_into(folder, taking, as_json=json))


@studies.command("report")
def report(
    folder: FolderArgument,
    out: Annotated[
        Path | None, typer.Option(metavar="FILE", help="The page; else report.html in FOLDER.")
    ] = None,
    frame: FrameOption = None,
    json: JsonOption = False,
) -> None:
    """Work a study out, however far it has come: a page, and its gist here.

    Exit code: 0 whatever it finds, 1 failed, 2 wrong usage.
    """
    from rigvision.cli.study import report_on

    report_on(folder, out, frame, as_json=json)
