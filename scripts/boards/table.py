"""Tables of what was found on photographs of boards by other people, in Markdown."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from boards.detection import DETECTORS, RIGVISION, Sighted
from boards.layout import BOARDS
from boards.picture_set import SETS, PictureSet
from boards.pitch import Pitches

#: Of a normal distribution, for 95 %.
COVERAGE_FACTOR = 1.96


def tags(sighted: list[Sighted]) -> str:
    """True tags found by each detector, set by set; false ones behind a plus."""
    head = ["set", "pictures", "tags", *DETECTORS]
    lines = [_row(head), _rule(len(head), 1)]
    names = list(dict.fromkeys(s.set_name for s in sighted))
    for name in [*names, None]:
        of_set = [s for s in sighted if name in (None, s.set_name)]
        any_of_them = sum(t.true for s in of_set for t in s.tags)
        found = [_found(of_set, d) for d in DETECTORS]
        lines.append(_row([name or "**all**", len(of_set), any_of_them, *found]))
    return "\n".join(lines)


def _found(sighted: list[Sighted], detector: str) -> str:
    false = sum(s.false(detector) for s in sighted)
    return f"{sum(s.found(detector) for s in sighted)}" + (f" (+{false} false)" if false else "")


def missed(sighted: list[Sighted]) -> str:
    """Pictures in which some other detector found more true tags than rigvision."""
    head = ["picture", "tags", *DETECTORS, "side of those missed, px"]
    lines = [_row(head), _rule(len(head), 1)]
    for s in sighted:
        counts = [s.found(d) for d in DETECTORS]
        if s.found(RIGVISION) >= max(counts):
            continue
        sides = [t.side_px for t in s.tags if t.true and RIGVISION not in t.by]
        span = f"{min(sides):.0f} to {max(sides):.0f}"
        lines.append(
            _row([f"{s.set_name}/{s.picture}", sum(t.true for t in s.tags), *counts, span])
        )
    return "\n".join(lines)


def pitches(measured: list[Pitches]) -> str:
    """Error and stated uncertainty of places on each board, one row a set and kind of point."""
    head = [
        "set", "points", "pictures", "places", "px a unit", "bias x, y", "RMS", "worst",
        "stated U, median", "inside U", "error / u", "RMS, px",
    ]  # fmt: skip
    lines = [_row(head), _rule(len(head), 2)]
    for board in BOARDS:
        for kind in ("marks", "corners"):
            rows = [
                (p, place)
                for p in measured
                if p.set_name == board.set_name
                for place in p.places
                if place.point.startswith("corner") == (kind == "corners")
            ]
            if rows:
                lines.append(_pitch_row(board.set_name, kind, rows))
    return "\n".join(lines)


def _pitch_row(name: str, kind: str, rows: list) -> str:
    error = np.array([place.error for _, place in rows])
    u = np.array([place.uncertainty for _, place in rows])
    scale = np.array([place.px_per_unit for _, place in rows])
    inside = np.mean(np.abs(error) <= COVERAGE_FACTOR * u)
    bias = ", ".join(f"{b:+.4f}" for b in error.mean(axis=0))
    return _row(
        [
            name,
            kind,
            len({p.picture for p, _ in rows}),
            len(rows),
            f"{np.median(scale):.0f}",
            bias,
            f"{np.sqrt(np.mean(error**2)):.4f}",
            f"{np.abs(error).max():.4f}",
            f"{COVERAGE_FACTOR * np.median(u):.4f}",
            f"{inside:.1%}",
            f"{np.sqrt(np.mean((error / u) ** 2)):.2f}",
            f"{np.sqrt(np.mean((error * scale[:, None]) ** 2)):.2f}",
        ]
    )


def stopped(measured: list[Pitches]) -> str:
    """Pictures of known boards that gave no place, and why."""
    head = ["set", "pictures", "without a place", "why"]
    lines = [_row(head), _rule(len(head), 1)]
    for board in BOARDS:
        of_set = [p for p in measured if p.set_name == board.set_name]
        none = [p for p in of_set if not p.places]
        why = "; ".join(
            f"{reason}: {', '.join(p.picture for p in none if p.reason == reason)}"
            for reason in dict.fromkeys(p.reason for p in none)
        )
        lines.append(_row([board.set_name, len(of_set), len(none), why]))
    return "\n".join(lines)


def sources() -> str:
    """Where every set comes from."""
    head = ["set", "shows", "package and pictures", "had by", "licence, as the package states it"]
    lines = [_row(head), _rule(len(head), len(head))]
    lines += [_row(_source(s)) for s in SETS]
    known = [f"- *{b.set_name}*: {b.known}; unit: {b.unit}." for b in BOARDS]
    return "\n".join([*lines, "", "Known of the boards:", "", *known])


def _source(s: PictureSet) -> list[str]:
    members = ", ".join(f"`{m}`" for m in s.members)
    return [s.name, s.shows, f"{s.package}: {members}", f"`{' '.join(s.command)}`", s.licence]


def _row(cells: Iterable[object]) -> str:
    return "| " + " | ".join(str(c) for c in cells) + " |"


def _rule(cells: int, left: int) -> str:
    return _row(["---"] * left + ["---:"] * (cells - left))
