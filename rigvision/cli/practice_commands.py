"""The command ``practice open``; ``practice`` itself is declared where all commands are."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from rigvision.cli.training_commands import JsonOption, KeyOption

practice = typer.Typer(
    help="Practice on drawn photos: make them, open their truth when answered.",
    no_args_is_help=True,
    rich_markup_mode=None,
)


@practice.callback()
def _practice() -> None:
    """A group, however few commands it has."""


@practice.command("open")
def open_(
    answers: Annotated[
        Path, typer.Argument(metavar="ANSWERS", help="The file that the page saved.")
    ],
    folder: Annotated[
        Path | None,
        typer.Option("--practice", metavar="FOLDER", help="Else the answers' own."),
    ] = None,
    key: KeyOption = None,
    json: JsonOption = False,
) -> None:
    """Open the truth of a practice, once all of it is answered, and score the answers.

    Exit code: 0, 1 it cannot be opened, 2 wrong usage.
    """
    from rigvision.cli.practising import open_answered

    open_answered(answers, folder or answers.parent, key, as_json=json)
