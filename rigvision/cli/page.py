"""What a command prints for people: a headline, lines and tables that fit a phone."""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from typing import Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

from rigvision.report.terminal import Scribe, indented, is_ascii

#: Below so many columns, as on a phone held upright, a table's rows stand one under the other.
NARROW = 64


class Page:
    """Standard output. Nothing in it is markup, whatever people typed."""

    def __init__(self) -> None:
        self.console = Console(file=sys.stdout, highlight=False, emoji=False, markup=False)
        self.text = Scribe(is_ascii(self.console))
        self.narrow = self.console.width < NARROW

    def headline(self, words: str, more: str = "", style: str = "bold") -> None:
        self.console.print(Text.assemble(self.text(words, style), "   ", self.text(more, "dim")))

    def line(self, words: str, style: str = "") -> None:
        self.console.print(indented(self.text(words, style)))

    def gap(self) -> None:
        self.console.print()

    def exact(self, words: str) -> None:
        """A command or path to be copied: not broken by us."""
        self.console.print(Text("  ") + self.text(words), soft_wrap=True)

    def table(
        self, head: Sequence[str], rows: Sequence[Sequence[str]], *, named: bool = False
    ) -> None:
        """A row a line; where there is no room, first cell first and the others under it, each
        ``named`` by its column's head where it does not speak for itself."""
        if self.narrow:
            for row in rows:
                self.line(row[0], "bold")
                pairs = [(n, cell) for n, cell in zip(head[1:], row[1:], strict=True) if cell]
                rest = ", ".join(f"{n} {cell}" if named else cell for n, cell in pairs)
                self.console.print(indented(indented(self.text(rest))))
            return
        table = Table.grid(padding=(0, 3, 0, 0))
        for index in range(len(head)):
            table.add_column(no_wrap=index == 0)
        table.add_row(*(self.text(cell, "dim") for cell in head))
        for row in rows:
            table.add_row(*(self.text(cell) for cell in row))
        self.console.print(indented(table))


def print_json(plain: Any) -> None:
    """Nothing but JSON; what JSON cannot say is a mistake of ours."""
    print(json.dumps(plain, indent=2, allow_nan=False))


def shown_time(time: str | None) -> str:
    """``2026-01-31 23:59 UTC`` of an entry's time."""
    return f"{time[:10]} {time[11:16]} UTC" if time else ""
