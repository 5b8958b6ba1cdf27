"""The commands ``key …``: people's keys, and which of them a ledger knows."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

keys = typer.Typer(
    help="Keys that people sign with: make, show, enrol in a ledger, withdraw.",
    no_args_is_help=True,
    rich_markup_mode=None,
)


class RoleName(StrEnum):
    mechanic = "mechanic"
    inspector = "inspector"


KeyFileArgument = Annotated[Path, typer.Argument(metavar="FILE", help="The key's file.")]
LedgerOption = Annotated[
    Path | None, typer.Option("--ledger", metavar="FILE", help="The ledger; else the usual one.")
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON for programs.")]


@keys.command("new")
def new(
    file: KeyFileArgument,
    person: Annotated[str, typer.Option(metavar="NAME", help="Whose key it is, as people write.")],
    role: Annotated[RoleName, typer.Option(help="What the key signs as.")],
    passphrase_file: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Its first line is the passphrase: for programs."),
    ] = None,
) -> None:
    """Make a key. The passphrase is asked twice, or taken from RIGVISION_PASSPHRASE."""
    from rigvision.cli.keys import make_key

    make_key(file, person, role.value, passphrase_file)


@keys.command("show")
def show(file: KeyFileArgument, json: JsonOption = False) -> None:
    """Show whose key a file holds. No passphrase is needed."""
    from rigvision.cli.keys import show_key

    show_key(file, as_json=json)


@keys.command("enrol")
def enrol(file: KeyFileArgument, ledger: LedgerOption = None) -> None:
    """Enter a key into the ledger: from then on it signs for its person."""
    from rigvision.cli.keys import enrol_key

    enrol_key(file, ledger)


@keys.command("withdraw")
def withdraw(
    key: Annotated[
        str, typer.Argument(metavar="FINGERPRINT-OR-FILE", help="Which key; 'key list' shows them.")
    ],
    cause: Annotated[str, typer.Option(metavar="TEXT", help="Why: lost, left the house.")],
    ledger: LedgerOption = None,
) -> None:
    """Take a key out of use. What it has signed stays signed."""
    from rigvision.cli.keys import withdraw_key

    withdraw_key(key, cause, ledger)


@keys.command("list")
def list_all(ledger: LedgerOption = None, json: JsonOption = False) -> None:
    """List the keys that the ledger knows, the withdrawn ones too."""
    from rigvision.cli.keys import list_keys

    list_keys(ledger, as_json=json)
