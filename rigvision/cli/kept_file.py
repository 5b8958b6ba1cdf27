"""A kept file written out again: whole, or not at all, and over nothing else."""

from __future__ import annotations

import os
from pathlib import Path

from rigvision.ground.errors import UsageError
from rigvision.ground.ordinary_file import read_ordinary
from rigvision.records.ledger_error import shown_path, spoken
from rigvision.records.safe_file import write_new, write_over


def write_kept(folder: Path, name: str, content: bytes) -> Path:
    """Write it into a folder, which is made if need be; the same content there already is left.

    Raises UsageError where another file has that name, LedgerError where it cannot be written.
    """
    path = folder / name
    with spoken(path):
        folder.mkdir(parents=True, exist_ok=True)
        if not _holds(path, content):
            _write(path, content)
    return path


def _write(path: Path, content: bytes) -> None:
    try:
        write_new(path, content, 0o644)
    except FileExistsError as error:
        raise UsageError(
            "name-taken",
            f"There is another file at {shown_path(path)}.",
            "Move it away, or choose another folder with --out.",
        ) from error
    except OSError:  # file systems of memory cards have no links
        if os.path.lexists(path):
            raise
        write_over(path, content, 0o644)


def _holds(path: Path, content: bytes) -> bool:
    try:
        return read_ordinary(path, len(content)) == content
    except OSError:
        return False
