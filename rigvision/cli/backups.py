"""What ``record backup`` and ``record restore`` do: one library call each, then what came of it."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Any

from rigvision.cli.at_ledger import chosen, head_as_json, opened, shown_head
from rigvision.cli.page import Page, print_json
from rigvision.records.backup import Backup, backup
from rigvision.records.restore import Restored, restore

WHOLE, NOT_WHOLE = 0, 1


def back_up(folder: Path, ledger_file: Path | None, *, as_json: bool) -> int:
    """Exit code: 1 where evidence is missing from the ledger itself; all else is copied then."""
    with opened(ledger_file) as ledger:
        made = backup(ledger, folder)
    if as_json:
        print_json({"schema": "rigvision.backup/1"} | _plain(made))
        return NOT_WHOLE if made.problems else WHOLE
    page = Page()
    page.headline("The ledger is backed up", f"{made.files} files, {made.copied_files} of them new")
    page.exact(str(made.path))
    page.line(shown_head(made.head), "dim")
    return _problems(page, made.problems)


def put_back(source: Path, ledger_file: Path | None, *, lose_newer: bool, as_json: bool) -> int:
    """``source`` is a backup's folder, or the ledger's file in it. Exit code as of ``back_up``."""
    path = chosen(ledger_file)
    done = restore(source / path.name if source.is_dir() else source, path, lose_newer=lose_newer)
    if as_json:
        print_json({"schema": "rigvision.restore/1"} | _plain(done))
        return NOT_WHOLE if done.problems else WHOLE
    page = Page()
    page.headline("The ledger is whole", f"{done.files_put_back} files put back")
    page.exact(str(done.path))
    if done.set_aside:
        page.line("What stood there was set aside:")
        page.exact(str(done.set_aside))
    if done.newer_entries:
        page.line(f"{done.newer_entries} entries newer than the backup were kept.")
    if done.lost_entries:
        page.line(f"{done.lost_entries} entries newer than the backup are lost.", "bold")
    page.line(shown_head(done.head), "dim")
    return _problems(page, done.problems)


def _plain(done: Backup | Restored) -> dict[str, Any]:
    """Every field, paths as text."""
    plain = asdict(done) | {"head": head_as_json(done.head), "problems": list(done.problems)}
    return {name: str(value) if isinstance(value, Path) else value for name, value in plain.items()}


def _problems(page: Page, problems: tuple[str, ...]) -> int:
    for problem in problems:
        page.line(problem, "bold")
    return NOT_WHOLE if problems else WHOLE
