"""The command ``record replay``: a recorded check run again, and what comes out differently."""

from __future__ import annotations

from pathlib import Path

from rigvision.cli.at_ledger import opened
from rigvision.cli.page import Page, print_json
from rigvision.records.record_view import view_record
from rigvision.records.replay import Difference, FigureDifference, Replay, replay

SAME, OTHERWISE = 0, 1


def replay_one(typed: str, ledger_file: Path | None, *, as_json: bool) -> int:
    """Exit code: 0 where verdict, reasons and figures come out as they were recorded."""
    with opened(ledger_file, read_only=True) as ledger:
        found = replay(ledger, view_record(ledger, typed))
    if as_json:
        print_json(found.as_json())
    else:
        _show(found)
    return SAME if found.same_outcome else OTHERWISE


def _show(found: Replay) -> None:
    page = Page()
    page.headline(f"Record {found.record}", _summary(found))
    for title, differences in (
        ("Versions", found.versions),
        ("Measured with", found.definitions),
        ("Outcome", found.outcome),
    ):
        if differences:
            page.line(f"{title}, then and now:", "bold")
            for difference in differences:
                page.line(_difference(difference))
    if found.figures:
        page.line("Figures that are not the same in every digit:", "bold")
        for figure in found.figures:
            page.line(_figure(figure))


def _summary(found: Replay) -> str:
    if found.exact:
        return "comes out exactly the same, in every digit"
    if not found.same_outcome:
        return "COMES OUT DIFFERENTLY"
    most = found.largest_of_uncertainty
    if most is None:
        return "comes out the same"
    return f"comes out the same; no figure moved by more than {most:.1%} of its uncertainty"


def _difference(difference: Difference) -> str:
    then, now = (d or "none" for d in (difference.recorded, difference.now))
    return f"{difference.what}: {then}, now {now}"


def _figure(figure: FigureDifference) -> str:
    then = "not measured" if figure.recorded is None else f"{figure.recorded:.5f}"
    now = "not measured" if figure.now is None else f"{figure.now:.5f}"
    part = ""
    if figure.of_uncertainty is not None:
        part = f", {abs(figure.of_uncertainty):.1%} of its uncertainty"
    return f"{figure.name}: {then}, now {now} {figure.unit}{part}"
