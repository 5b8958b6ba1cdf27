"""Which ledger a command works on, and who is at the keyboard."""

from __future__ import annotations

import getpass
from pathlib import Path
from typing import Any

from rigvision.ground.errors import UsageError
from rigvision.records.entry import Head
from rigvision.records.ledger import Ledger
from rigvision.records.place import ledger_path


def chosen(path: Path | None) -> Path:
    """``--ledger`` where given, else the variable's, else the usual place."""
    return path if path is not None else ledger_path()


def opened(path: Path | None, *, read_only: bool = False) -> Ledger:
    """The ledger that is there. Raises LedgerError where there is none."""
    return Ledger.open(chosen(path), read_only=read_only)


def person_at_keyboard(name: str | None) -> str:
    """``--by`` where given, else the name that this machine knows its user by.

    Raises UsageError where it knows none.
    """
    from rigvision.records.person import checked_name

    if name is None:
        try:
            name = getpass.getuser()
        except (OSError, KeyError, ImportError) as error:
            raise UsageError(
                "who", "This machine does not say who you are.", "Give your name with --by."
            ) from error
    return checked_name(name)


def head_as_json(head: Head) -> dict[str, Any]:
    """What must be noted elsewhere, so that a ledger that was built anew shows."""
    return {"ledger": head.ledger, "count": head.count, "hash": head.hash}


def shown_head(head: Head) -> str:
    return f"ledger {head.ledger}, {head.count} entries, head {head.hash[:16]}"
