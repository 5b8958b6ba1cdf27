"""The command ``doctor``: one line a check, then what mends what has failed."""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass

from rich.console import Console
from rich.table import Table
from rich.text import Text

from rigvision import __version__
from rigvision.doctor.examination import SCHEMA, examine, worst
from rigvision.doctor.finding import Finding, Status
from rigvision.report.terminal import Scribe, indented, is_ascii
from rigvision.report.wording import LOOKS, Look

FAILED = 1
#: Below so many columns a check's text stands under its name.
_NARROW = 64
_ROOM_FOR_TITLE = 15


@dataclass(frozen=True, slots=True)
class _Sign:
    """A word and a shape, as verdicts have; the colour only on top."""

    word: str
    look: Look | None

    def shown(self, ascii_only: bool) -> str:
        if self.look is None:
            return f"- {self.word}"
        return f"{self.look.ascii_sign if ascii_only else self.look.sign} {self.word}"

    @property
    def style(self) -> str:
        return self.look.terminal_style if self.look else "dim"


_SIGNS: dict[Status, _Sign] = {
    "ok": _Sign("ok", LOOKS["pass"]),
    "warning": _Sign("WARNING", LOOKS["adjust"]),
    "failure": _Sign("FAILURE", LOOKS["retake"]),
    "skipped": _Sign("skipped", None),
}


def run_doctor(*, as_json: bool) -> int:
    """Examine the installation, print, and give the exit code: 1 where something failed."""
    if as_json:
        findings = list(examine())
        print(json.dumps(_plain(findings), indent=2, allow_nan=False))
    else:
        findings = _show(Console(file=sys.stdout, highlight=False, emoji=False, markup=False))
    return FAILED if worst(findings) == "failure" else 0


def _plain(findings: list[Finding]) -> dict[str, object]:
    return {
        "schema": SCHEMA,
        "version": __version__,
        "status": worst(findings),
        "checks": [finding.as_json() for finding in findings],
    }


def _show(console: Console) -> list[Finding]:
    """Print each finding as soon as it is there, then all remedies."""
    text, narrow = Scribe(is_ascii(console)), console.width < _NARROW
    findings = []
    for finding in examine():
        findings.append(finding)
        sign = _SIGNS[finding.status]
        headline = text(sign.shown(text.ascii_only), sign.style)
        if narrow:
            console.print(Text.assemble(headline, "  ", text(finding.title, "bold")))
            console.print(indented(text(finding.text)))
        else:
            row = Table.grid(padding=(0, 2, 0, 0))
            row.add_column(width=max(len(s.shown(text.ascii_only)) for s in _SIGNS.values()))
            row.add_column(width=_ROOM_FOR_TITLE)
            row.add_column()
            row.add_row(headline, text(finding.title, "bold"), text(finding.text))
            console.print(row)
    _show_remedies(findings, console, text)
    return findings


def _show_remedies(findings: list[Finding], console: Console, text: Scribe) -> None:
    """What to do, in the report's order; commands stand alone so that they can be copied."""
    console.print()
    wanting = [f for f in findings if f.status in ("warning", "failure")]
    if not wanting:
        console.print(text("All is well.", "bold green"))
        return
    console.print(text("What to do", "bold"))
    said: set[tuple[str, tuple[str, ...]]] = set()
    for finding in wanting:
        if (finding.remedy, finding.commands) in said:
            continue
        said.add((finding.remedy, finding.commands))
        console.print(indented(text(f"{finding.title}: {finding.remedy}")))
        for command in finding.commands:
            # Not broken by us: a command copied from two lines would be two commands.
            console.print(Text("    ") + text(command), soft_wrap=True)
