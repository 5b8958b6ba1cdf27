"""A folder of static pages: templates, the files that all pages share, and who may write there.

Pages open from a file: styles and scripts lie beside them, and their policy lets a browser load
nothing from elsewhere. Whatever people typed goes through autoescape.
"""

from __future__ import annotations

import json
import os
import secrets
from contextlib import ExitStack
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rigvision import __version__
from rigvision.ground.errors import UsageError
from rigvision.ground.ordinary_file import read_ordinary
from rigvision.records.ledger_error import shown_path, spoken
from rigvision.report.wording import CAUTION, LOOKS

if TYPE_CHECKING:
    import jinja2

SCHEMA = "rigvision.pages/1"
#: Says of a folder that its pages are ours, and what they were made from.
MANIFEST = "rigvision-pages.json"
MAX_MANIFEST_BYTES = 20_000_000
#: A set's style and scripts lie here, beside its pages.
ASSETS = "assets"


@dataclass(frozen=True, slots=True)
class PageFolder:
    """A folder that pages of one kind are written to. ``made`` is what an earlier build noted of
    its files: by name, a word for all that went into it.
    """

    path: Path
    kind: str
    made: dict[str, str]

    def write(self, name: str, content: bytes | str) -> None:
        """Written beside, then named. Not forced to the disk: all of it can be made again.

        ``name`` is ours, never a user's. Raises LedgerError where it cannot be written.
        """
        path = self.path / name
        part = path.with_name(f".{secrets.token_hex(8)}.part")
        content = content.encode() if isinstance(content, str) else content
        with spoken(path), ExitStack() as undo:
            path.parent.mkdir(parents=True, exist_ok=True)
            undo.callback(part.unlink, missing_ok=True)
            part.write_bytes(content)
            os.replace(part, path)
            undo.pop_all()

    def write_assets(self, *names: str) -> None:
        """The style, and these scripts."""
        for name in ("style.css", *names):
            self.write(
                f"{ASSETS}/{name}", (files("rigvision.training") / "pages" / name).read_bytes()
            )

    def note(self, made: dict[str, str]) -> None:
        """Keep what the files were made from, for the next build."""
        plain = {"schema": SCHEMA, "kind": self.kind, "made": made}
        self.write(MANIFEST, json.dumps(plain, indent=1, sort_keys=True))


def page_folder(path: Path, kind: str) -> PageFolder:
    """The folder, made if need be; it is empty or holds pages of the same kind.

    Raises UsageError where it holds anything else, LedgerError where it cannot be used.
    """
    with spoken(path):
        path.mkdir(parents=True, exist_ok=True)
        if not any(path.iterdir()):
            return PageFolder(path, kind, {})
        manifest = _manifest(path)
    if manifest is None or manifest.get("kind") != kind:
        raise UsageError(
            "folder-taken",
            f"The folder {shown_path(path)} holds something else than {kind} pages.",
            "Name an empty or a new folder with --out.",
        )
    made = manifest.get("made")
    plain = made if isinstance(made, dict) else {}
    return PageFolder(path, kind, {str(k): str(v) for k, v in plain.items()})


def _manifest(path: Path) -> dict[str, Any] | None:
    try:
        plain = json.loads(read_ordinary(path / MANIFEST, MAX_MANIFEST_BYTES).decode())
    except (OSError, ValueError, RecursionError):
        return None
    return plain if isinstance(plain, dict) and plain.get("schema") == SCHEMA else None


def rendered(template: str, **facts: Any) -> str:
    """A page from its template. ``root`` is the way from the page to the set's own folder, "" or
    "../"."""
    return templates().get_template(template).render(**facts)


@lru_cache(maxsize=1)
def templates() -> jinja2.Environment:
    """All templates; a name that a template misspells is an error, not an empty place."""
    import jinja2

    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("rigvision.training", "pages"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals.update(looks=LOOKS, caution=CAUTION, version=__version__, assets=ASSETS)
    environment.filters.update(shown_time=_shown_time)
    return environment


def _shown_time(time: str | None) -> str:
    """``2026-01-31 23:59`` of an entry's or a camera's time."""
    return f"{time[:10]} {time[11:16]}" if time else "time not known"
