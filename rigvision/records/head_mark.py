"""The newest head, noted beside the ledger after every write.

A ledger that lost its last entries is a shorter chain in which every link holds. This note shows
the loss: an older copy put in the ledger's place, a write-ahead log that was damaged. Whoever
changes both is found out only by what left the house.
"""

from __future__ import annotations

import contextlib
import os
import tempfile
from dataclasses import asdict
from pathlib import Path

from rigvision.ground.ordinary_file import read_ordinary
from rigvision.records.canonical import canonical, parsed
from rigvision.records.entry import Head
from rigvision.records.ledger_error import LedgerError, shown_path
from rigvision.records.ledger_key import head_holds
from rigvision.records.safe_file import UNFINISHED

_MOST_BYTES = 2_000


def mark_path(ledger: Path) -> Path:
    """Where the note of a ledger's file lies: beside it."""
    return ledger.with_name(f"{ledger.name}.head")


def note_head(ledger: Path, head: Head) -> None:
    """Put a head in the place of the one noted before.

    The entry is on the disk by now, so nothing here may fail it, and the note is not forced to
    the disk: one that is behind claims less, no more.
    """
    content = canonical(asdict(head))
    with contextlib.suppress(OSError):
        descriptor, part = tempfile.mkstemp(UNFINISHED, ".", ledger.parent)
        try:
            with open(descriptor, "wb") as file:
                file.write(content)
            os.chmod(part, 0o644)  # whoever may read the ledger may read this
            os.replace(part, mark_path(ledger))
        finally:
            Path(part).unlink(missing_ok=True)


def noted_head(ledger: Path) -> Head | None:
    """What is noted, None where nothing is or the note is torn: neither says that something is
    wrong, as a power cut may leave both."""
    try:
        plain = parsed(read_ordinary(mark_path(ledger), _MOST_BYTES))
        head = Head(**plain)
    except (OSError, ValueError, TypeError):
        return None
    texts = (head.ledger, head.hash, head.signature, head.public_key)
    sound = isinstance(head.count, int) and all(isinstance(text, str) for text in texts)
    return head if sound else None


def is_of(noted: Head, identity: str, public_key: str) -> bool:
    """Whether a ledger itself noted this; anything else is as good as no note."""
    return (noted.ledger, noted.public_key) == (identity, public_key) and head_holds(noted)


def lost_entries(path: Path, noted: Head, count: int) -> LedgerError:
    """What is said of a ledger of ``count`` entries that had more of them."""
    return LedgerError(
        "ledger-behind",
        f"The ledger {shown_path(path)} has {count} entries and had {noted.count}: "
        f"{noted.count - count} are lost.",
        "Nothing was added to it. Put the newest copy or backup of it in its place; if there is "
        f"none, remove {shown_path(mark_path(path))} to go on without them.",
    )
