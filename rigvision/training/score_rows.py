"""A tally's figures as people read them, the same on the terminal and on the printed sheet."""

from __future__ import annotations

from rigvision.training.agreement import Kappa, Proportion
from rigvision.training.score import Agreement, Dated, Estimates, Tally

NONE = "-"

Row = tuple[str, str, str]  # what, figure, 95 % interval

HEAD: Row = ("figure", "found", "95 % interval")
PROGRESS_HEAD = ("sitting", "quiz", "right", "wrong passes", "gap, bias", "gap, spread")


def rows(tally: Tally) -> list[Row]:
    """Those that there is something to say of."""
    found = [
        share_row("Right calls", tally.right),
        share_row("Wrong passes", tally.wrong_passes),
        share_row("Needless retakes", tally.needless_retakes),
        share_row("Retakes not seen", tally.unseen_retakes),
        *agreement_rows("the tool", tally.tool),
        *agreement_rows("the trainer", tally.trainer),
        kappa_row("Trainee, tool, trainer (Fleiss)", tally.three),
        *estimate_rows("Gap", tally.gap_mm, "mm"),
        *estimate_rows("Turns", tally.turns, "turns"),
    ]
    return [row for row in found if row[1] != NONE]


def progress_row(dated: Dated) -> tuple[str, str, str, str, str, str]:
    tally = dated.tally
    return (
        dated.finished_at[:16].replace("T", " "),
        dated.title,
        share(tally.right),
        share(tally.wrong_passes),
        signed(tally.gap_mm.bias, "mm"),
        NONE if tally.gap_mm.spread is None else f"{tally.gap_mm.spread:.2f} mm",
    )


def share_row(what: str, found: Proportion) -> Row:
    return (what, share(found), _percents(found.interval))


def share(found: Proportion) -> str:
    return f"{found.count} of {found.total}" if found.total else NONE


def agreement_rows(who: str, found: Agreement) -> list[Row]:
    return [
        share_row(f"Same call as {who}", found.same),
        kappa_row(f"Cohen's kappa with {who}", found.kappa),
    ]


def kappa_row(what: str, found: Kappa) -> Row:
    if found.value is None:
        return (what, NONE, "")
    ends = found.interval
    return (what, f"{found.value:.2f}", f"{ends[0]:.2f} to {ends[1]:.2f}" if ends else "")


def estimate_rows(what: str, found: Estimates, unit: str) -> list[Row]:
    ends = found.bias_interval
    bias = f"{ends[0]:+.2f} to {ends[1]:+.2f} {unit}" if ends else ""
    scatter = found.spread_interval
    spread = f"{scatter[0]:.2f} to {scatter[1]:.2f} {unit}" if scatter else ""
    return [
        (f"{what}: bias, of {found.count}", signed(found.bias, unit), bias),
        (
            f"{what}: spread",
            NONE if found.spread is None else f"{found.spread:.2f} {unit}",
            spread,
        ),
    ]


def signed(value: float | None, unit: str) -> str:
    return NONE if value is None else f"{value:+.2f} {unit}"


def _percents(ends: tuple[float, float] | None) -> str:
    return f"{100 * ends[0]:.0f} to {100 * ends[1]:.0f} %" if ends else ""
