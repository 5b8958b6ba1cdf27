"""Words onto whatever terminal there is: plain ASCII where it knows no more."""

from __future__ import annotations

from dataclasses import dataclass

from rich.console import Console, RenderableType
from rich.padding import Padding
from rich.text import Text

from rigvision.ground.shown import one_line

#: Characters beyond ASCII in our own words, and what stands for them.
ASCII_INSTEAD = str.maketrans({"±": "+/-", "°": " deg", "…": "...", "→": "->", "²": "2", "≤": "<="})


@dataclass(frozen=True, slots=True)
class Scribe:
    """Turns words into text that this terminal can show."""

    ascii_only: bool

    def __call__(self, words: str, style: str = "") -> Text:
        shown = one_line(words)
        if self.ascii_only:
            shown = shown.translate(ASCII_INSTEAD).encode("ascii", "replace").decode("ascii")
        return Text(shown, style)


def is_ascii(console: Console) -> bool:
    """Whether this terminal knows only ASCII, as far as it says."""
    return not console.encoding.lower().replace("-", "").startswith("utf")


def indented(part: RenderableType) -> Padding:
    """Two columns in, as everything below a headline."""
    return Padding(part, (0, 0, 0, 2), expand=False)
