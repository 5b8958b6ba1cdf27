"""A result as one screen of terminal text: verdict, what to do, then the figures.

Reads the same without colour (the verdict is a word and a sign), and on terminals that
know only ASCII.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from rich.console import Console, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from rigvision.decision.result import CheckResult, GapResult
from rigvision.report.figure_rows import figure_rows
from rigvision.report.figures import NOT_MEASURED, percent, signed_zero
from rigvision.report.joint_text import photo_table
from rigvision.report.wording import CAUTION, LOOKS, one_line, place, title, what_to_do

_ASCII = str.maketrans({"±": "+/-", "°": " deg", "…": "...", "→": "->", "²": "2"})


@dataclass(frozen=True, slots=True)
class _Scribe:
    """Turns words into text that this terminal can show."""

    ascii_only: bool

    def __call__(self, words: str, style: str = "") -> Text:
        shown = one_line(words)
        if self.ascii_only:
            shown = shown.translate(_ASCII).encode("ascii", "replace").decode("ascii")
        return Text(shown, style)


def show(result: CheckResult, console: Console) -> None:
    """Print one result; ends with an empty line, so that several stand apart."""
    for part in _parts(result, _is_ascii(console)):
        console.print(part)
    console.print()


def verdict_line(result: CheckResult, *, ascii_only: bool = False) -> str:
    """``✔ PASS``, with what makes it borderline."""
    look = LOOKS[result.verdict]
    line = f"{look.ascii_sign if ascii_only else look.sign} {look.word}"
    if result.borderline and result.gap:
        inside = percent(result.gap.conformance_probability)
        return f"{line}, borderline (probability that the gap is inside: {inside})"
    return f"{line}, borderline" if result.borderline else line


def _parts(result: CheckResult, ascii_only: bool) -> Iterator[RenderableType]:
    text = _Scribe(ascii_only)
    look = LOOKS[result.verdict]
    headline = text(verdict_line(result, ascii_only=ascii_only), look.terminal_style)
    yield Text.assemble(headline, "   ", text(title(result), "dim"))
    yield _indented(text(what_to_do(result), "bold"))
    yield ""
    for reason in result.reasons:
        # What to do stands above already; the reasons need not repeat it.
        remedy = reason.remedy.replace(what_to_do(result), "").strip()
        yield _indented(text(f"{reason.text} {remedy}".strip()))
    if result.reasons:
        yield ""
    if any(row.value != NOT_MEASURED for row in figure_rows(result)):
        yield _indented(_figures(result, text))
    else:
        yield _indented(text("No figure could be measured."))
    yield ""
    if result.gap and any(s.gap_mm is not None for s in result.gap.stations):
        yield _indented(_stations(result.gap, text))
        yield ""
    if result.joint:
        yield _indented(photo_table(result.joint, text))
        yield ""
    yield _indented(text(_view_line(result), "dim"))
    yield _indented(text(_origin_line(result), "dim"))
    yield _indented(text(CAUTION, "italic"))


def _indented(part: RenderableType) -> Padding:
    return Padding(part, (0, 0, 0, 2), expand=False)


def _figures(result: CheckResult, text: _Scribe) -> Table:
    """Name, value with uncertainty, limit: one row a figure."""
    table = Table.grid(padding=(0, 3, 0, 0))
    table.add_column(no_wrap=True)
    table.add_column(no_wrap=True)
    table.add_column()
    for row in figure_rows(result):
        style = "bold" if row.out else "dim" if row.value == NOT_MEASURED else ""
        table.add_row(text(row.name, style), text(row.value, style), text(row.limit, "dim"))
    return table


def _stations(gap: GapResult, text: _Scribe) -> Table:
    """Gap along the sill, left to right as in the picture."""
    table = Table.grid(padding=(0, 2, 0, 0))
    places = [signed_zero(s.x_mm, 0) for s in gap.stations]
    gaps = ["-" if s.gap_mm is None else f"{s.gap_mm:.2f}" for s in gap.stations]
    spread = [
        "-" if s.expanded_uncertainty_mm is None else f"{s.expanded_uncertainty_mm:.2f}"
        for s in gap.stations
    ]
    for name, cells in (("at x, mm", places), ("gap, mm", gaps), ("±, mm", spread)):
        table.add_row(text(name, "dim"), *(Text(cell, justify="right") for cell in cells))
    return table


def _view_line(result: CheckResult) -> str:
    """How the photo was taken, as far as the view could be solved."""
    view = result.view
    parts = [f"{place(result)}, camera {result.camera}"]
    if view.distance_mm is not None:
        parts.append(f"{view.distance_mm / 10.0:.0f} cm away")
    if view.tilt_deg is not None:
        parts.append(f"{view.tilt_deg:.0f} deg off square")
    if view.px_per_mm is not None:
        parts.append(f"{view.px_per_mm:.1f} px per mm")
    refused = f" ({len(view.marks_refused)} refused)" if view.marks_refused else ""
    parts.append(f"{len(view.marks_found)} marks{refused}")
    return ", ".join(parts)


def _origin_line(result: CheckResult) -> str:
    photo = result.photo
    taken = f"taken {photo.taken_at}" if photo.taken_at else "time taken unknown"
    size = f"{photo.width_px} x {photo.height_px} px"
    return f"{taken}, {size}, sha256 {photo.sha256[:12]}, rigvision {result.version}"


def _is_ascii(console: Console) -> bool:
    return not console.encoding.lower().replace("-", "").startswith("utf")
