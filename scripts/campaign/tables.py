"""Records into Markdown tables."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import chain, pairwise
from math import sqrt

import numpy as np

from .groups import CORNERS, Aim, Aims
from .record import Figure, Record
from .summary import Statistics, plain_statistics, statistics_of, verdicts_of

#: What each figure is called in a table, and its unit.
FIGURES = {
    "gap": ("gap, mean", "mm"),
    "station": ("gap at a station", "mm"),
    "taper": ("taper", "mm"),
    "lateral": ("lateral offset", "mm"),
    "tilt": ("tilt", "deg"),
    "seat": ("seat gap", "mm"),
    "clock": ("clock", "deg"),
    "turns": ("turns", "turn"),
}
BANDS = {
    "gap, mm": (0.0, 0.4, 0.7, 1.1, 2.0, 5.0),
    "tilt of the view, deg": (0.0, 10.0, 20.0, 30.0, 50.0),
    "distance, mm": (0.0, 200.0, 280.0, 360.0, 900.0),
}


def figures_table(records: Sequence[Record], aims: Aims) -> str:
    """Every figure of all pictures together, then the marks' corners."""
    rows = []
    for name, (title, unit) in FIGURES.items():
        figures = [f for r in records for f in r.relied_on if f.name == name]
        found = statistics_of(figures)
        if found:
            rows.append(_statistics_row(f"{title}, {unit}", found, aims.get(name, Aim())))
        elif figures:
            rows.append([f"{title}, {unit}", f"0 of {len(figures)}", *["-"] * 6])
    corners = np.array(list(chain.from_iterable(r.corners_px for r in records)))
    for title, errors in zip(CORNERS, corners.T, strict=False):
        found = plain_statistics(errors)
        rows.append(_statistics_row(f"{title}, px", found, aims.get(title, Aim()), digits=4))
    head = ["figure", "measured", "bias", "RMS", "worst", "inside U", "error / u", "aim"]
    return table(head, rows)


def _statistics_row(title: str, s: Statistics, aim: Aim, digits: int = 3) -> list[str]:
    measured = f"{s.measured}" if s.measured == s.wanted else f"{s.measured} of {s.wanted}"
    inside = "-" if s.inside is None else f"{s.inside:.1%}"
    over_u = "-" if s.over_u is None else f"{s.over_u:.2f}"
    numbers = [f"{s.bias:+.{digits}f}", f"{s.rms:.{digits}f}", f"{s.worst:+.{digits}f}"]
    return [title, measured, *numbers, inside, over_u, aim.against(s)]


def verdicts_table(records: Sequence[Record]) -> str:
    v = verdicts_of(records)
    head = ["pictures", "right", "wrong", "wrong passes", "needless adjusts"]
    head += ["needless retakes", "missed retakes"]
    numbers = (v.pictures, v.right, v.pictures - v.right, v.wrong_passes, v.needless_adjusts)
    row = [*map(str, numbers), str(v.needless_retakes), str(v.missed_retakes)]
    return table(head, [row])


def pictures_table(records: Sequence[Record]) -> str:
    """One line a picture: verdict, and the error of every figure."""
    shown = ["gap", "taper", "lateral", "tilt", "seat", "clock", "turns"]
    rows = []
    for r in records:
        errors = [_error(r, name) for name in shown]
        corners = np.array(r.corners_px)
        spread = f"{sqrt(float(np.mean(corners[:, :2] ** 2))):.3f}" if len(corners) else "-"
        verdict = r.verdict if r.verdict == r.true_verdict else f"**{r.verdict}**"
        rows.append([r.name, r.true_verdict, verdict, _true_gap(r), *errors, spread])
    head = ["picture", "truth", "said", "true gap, mm", *shown, "corners, px"]
    return table(head, rows)


def _true_gap(record: Record) -> str:
    gap = record.figure("gap")
    return f"{gap.true:.2f}" if gap else "-"


def _error(record: Record, name: str) -> str:
    """Error, with a star where it lies outside the uncertainty claimed."""
    figure = record.figure(name)
    if figure is None or figure.error is None:
        return "-"
    outside = figure.expanded is not None and abs(figure.error) > figure.expanded
    digits = 2 if name in ("tilt", "clock") else 3
    return f"{figure.error:+.{digits}f}{'*' if outside else ''}"


def bands_table(records: Sequence[Record]) -> str:
    """The mean gap's error against what it may depend on."""
    rows = []
    for title, edges in BANDS.items():
        for low, high in pairwise(edges):
            part = [g for r in records if low <= (_where(r, title) or -1.0) < high for g in _gap(r)]
            found = statistics_of(part)
            if found:
                numbers = [f"{found.bias:+.3f}", f"{found.rms:.3f}", f"{found.worst:+.3f}"]
                band = f"{title}: {low:g} to {high:g}"
                rows.append([band, str(found.measured), *numbers, f"{found.over_u:.2f}"])
    return table(["", "pictures", "bias, mm", "RMS, mm", "worst, mm", "error / u"], rows)


def _where(record: Record, band: str) -> float | None:
    if band.startswith("gap"):
        gap = record.figure("gap")
        return gap.true if gap else None
    return record.view.get("tilt_deg" if band.startswith("tilt") else "distance_mm")


def _gap(record: Record) -> list[Figure]:
    figure = record.figure("gap")
    return [figure] if figure else []


def budget_table(records: Sequence[Record]) -> str:
    """The mean gap's budget: each influence's standard uncertainty, RMS over the pictures."""
    budgets = [r.budget_mm for r in records if r.budget_mm]
    sources: dict[str, list[float]] = {}
    for source, value in chain.from_iterable(b.items() for b in budgets):
        sources.setdefault(source, []).append(value)
    rows = [
        [source, f"{_rms(values):.4f}", f"{max(values):.4f}"]
        for source, values in sorted(sources.items(), key=lambda item: -_rms(item[1]))
    ]
    return table(["influence on the gap", "RMS, mm", "largest, mm"], rows)


def _rms(values: Iterable[float]) -> float:
    return sqrt(float(np.mean(np.square(list(values)))))


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A Markdown table; the first column to the left, the others to the right."""
    rule = ["---", *["---:"] * (len(head) - 1)]
    return "\n".join(f"| {' | '.join(cells)} |" for cells in (head, rule, *rows))
