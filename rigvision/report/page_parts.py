"""What the parts of a record's page have in common: where they stand, headings, times."""

from __future__ import annotations

from dataclasses import dataclass, replace

from rigvision.report.canvas import Colour
from rigvision.report.sheet import Sheet, Style

LEFT_MM, RIGHT_MM = 11.0, 199.0
FAINT: Colour = (84, 84, 88)
TEXT = Style(7.4)
STRONG = Style(7.4, bold=True)
SMALL = Style(6.4, colour=FAINT)
HEADING = Style(8.2, bold=True)


@dataclass(frozen=True, slots=True)
class Area:
    """Where a part begins, and how wide it may be."""

    left_mm: float
    top_mm: float
    width_mm: float

    def below(self, top_mm: float) -> Area:
        return replace(self, top_mm=top_mm)


def heading(sheet: Sheet, area: Area, words: str) -> float:
    """A line over a part with its name; gives the top of what follows."""
    sheet.rule(area.left_mm, area.top_mm, area.left_mm + area.width_mm)
    return sheet.words(area.left_mm, area.top_mm + 0.5, words, HEADING, area.width_mm) + 0.5


def named(
    sheet: Sheet, area: Area, name: str, value: str, name_width_mm: float, style: Style = TEXT
) -> float:
    """A fact in one line, its name before it."""
    sheet.words(area.left_mm, area.top_mm, name, Style(TEXT.size_pt, colour=FAINT), name_width_mm)
    room_mm = area.width_mm - name_width_mm
    return sheet.words(area.left_mm + name_width_mm, area.top_mm, value, style, room_mm)


def shown_time(time: str) -> str:
    """``2026-01-31 23:59:59 UTC`` of a time as the ledger writes it; another as it is."""
    if time.endswith("Z") and "T" in time:
        return f"{time[:19].replace('T', ' ')} UTC"
    return time.replace("T", " ")
