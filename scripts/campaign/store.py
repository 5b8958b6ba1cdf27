"""Records in files: a campaign may run in parts, elsewhere, and be put together later."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import asdict
from pathlib import Path
from typing import Any

from .record import Figure, Record

SCHEMA = "rigvision.campaign/1"
#: Decimals kept of each number: a tenth of a micrometre, a hundred-thousandth of a pixel.
DECIMALS = 5


def save(path: Path, command: str, records: Iterable[Record]) -> None:
    """Write records and the command that made them."""
    plain = [_rounded(asdict(record)) for record in records]
    found = {"schema": SCHEMA, "command": command, "records": plain}
    path.write_text(json.dumps(found, separators=(",", ":")) + "\n", encoding="utf-8")


def load(paths: Iterable[Path]) -> tuple[list[str], list[Record]]:
    """The parts' commands and all their records; a picture in two parts counts once.

    Raises SystemExit for a file that holds no records.
    """
    commands: dict[str, None] = {}
    records: dict[tuple[str, str], Record] = {}
    for path in paths:
        try:
            found = json.loads(path.read_text(encoding="utf-8"))
        except (OSError, UnicodeDecodeError, json.JSONDecodeError) as error:
            raise SystemExit(f"{path} cannot be read as records: {error}") from None
        if not isinstance(found, dict) or found.get("schema") != SCHEMA:
            raise SystemExit(f"{path} holds no records of a campaign; --json writes such files.")
        commands[found["command"]] = None
        for plain in found["records"]:
            try:
                record = _record(plain)
            except (KeyError, TypeError):
                raise SystemExit(f"{path} was saved by another version; measure again.") from None
            records[record.group, record.name] = record
    return list(commands), list(records.values())


def _record(plain: dict[str, Any]) -> Record:
    figures = tuple(Figure(**figure) for figure in plain.pop("figures"))
    corners = tuple((x, y, outward) for x, y, outward in plain.pop("corners_px"))
    texts = {name: tuple(plain.pop(name, ())) for name in ("codes", "accepted_codes")}
    return Record(**plain, **texts, figures=figures, corners_px=corners)


def _rounded(value: Any) -> Any:
    if isinstance(value, float):
        return round(value, DECIMALS)
    if isinstance(value, dict):
        return {key: _rounded(item) for key, item in value.items()}
    return [_rounded(item) for item in value] if isinstance(value, list | tuple) else value
