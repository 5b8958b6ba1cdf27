"""A result as one screen of terminal text: verdict, what to do, then the figures.

Reads the same without colour (the verdict is a word and a sign), and on terminals that
know only ASCII.
"""

from __future__ import annotations

from collections.abc import Iterator

from rich.console import Console, RenderableType
from rich.table import Table
from rich.text import Text

from rigvision.decision.result import CheckResult, GapResult
from rigvision.report.figure_rows import after_turn_row, figure_rows, risk_line
from rigvision.report.figures import NOT_MEASURED, percent, signed_zero
from rigvision.report.terminal import Scribe, indented, is_ascii
from rigvision.report.wording import CAUTION, LOOKS, place, what_to_do

#: Below so many columns, as on a phone held upright, everything is said in short.
_NARROW = 64


def show(result: CheckResult, console: Console) -> None:
    """Print one result; ends with an empty line, so that several stand apart."""
    for part in _parts(result, is_ascii(console), console.width < _NARROW):
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


def _parts(result: CheckResult, ascii_only: bool, narrow: bool) -> Iterator[RenderableType]:
    text = Scribe(ascii_only)
    look = LOOKS[result.verdict]
    headline = text(verdict_line(result, ascii_only=ascii_only), look.terminal_style)
    yield Text.assemble(headline, "   ", text(result.photo.name, "dim"))
    yield indented(text(what_to_do(result), "bold"))
    yield ""
    for reason in result.reasons:
        # What to do stands above already; the reasons need not repeat it.
        remedy = reason.remedy.replace(what_to_do(result), "").strip()
        yield indented(text(f"{reason.text} {remedy}".strip()))
    if result.reasons:
        yield ""
    if any(row.value != NOT_MEASURED for row in figure_rows(result)):
        yield indented(_figures(result, text, narrow))
        if risk := risk_line(result):
            yield indented(text(risk))
    else:
        yield indented(text("No figure could be measured."))
    yield ""
    if result.gap and any(s.gap_mm is not None for s in result.gap.stations):
        yield indented(_stations(result.gap, text, narrow))
        yield ""
    yield indented(text(_view_line(result), "dim"))
    yield indented(text(_origin_line(result), "dim"))
    yield indented(text(CAUTION, "italic"))


def _figures(result: CheckResult, text: Scribe, narrow: bool) -> Table:
    """Name, value with uncertainty, limit: one row a figure, in short where there is no room."""
    table = Table.grid(padding=(0, 3, 0, 0))
    table.add_column(no_wrap=True)
    table.add_column(no_wrap=True)
    table.add_column()
    then = after_turn_row(result)
    for row in [*figure_rows(result), *([then] if then else [])]:
        style = "bold" if row.out else "dim" if row.value == NOT_MEASURED else ""
        name, limit = (row.short_name, row.short_limit) if narrow else (row.name, row.limit)
        table.add_row(text(name, style), text(row.value, style), text(limit, "dim"))
    return table


def _stations(gap: GapResult, text: Scribe, narrow: bool) -> Table:
    """Gap along the sill, left to right as in the picture; downwards where there is no room."""
    table = Table.grid(padding=(0, 2, 0, 0))
    places = [signed_zero(s.x_mm, 0) for s in gap.stations]
    gaps = ["-" if s.gap_mm is None else f"{s.gap_mm:.2f}" for s in gap.stations]
    spread = [
        "-" if s.expanded_uncertainty_mm is None else f"{s.expanded_uncertainty_mm:.2f}"
        for s in gap.stations
    ]
    named = (("at x, mm", places), ("gap, mm", gaps), ("±, mm", spread))
    rows = [
        [text(name, "dim"), *(Text(cell, justify="right") for cell in cells)]
        for name, cells in named
    ]
    for row in zip(*rows, strict=True) if narrow else rows:
        table.add_row(*row)
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
