"""The photos of a joint result as rows: what each says by itself, and how it fits the others."""

from __future__ import annotations

from collections.abc import Callable

from rich.table import Table
from rich.text import Text

from rigvision.decision.joint_result import JointResult, PhotoShare
from rigvision.report.figures import percent, with_uncertainty

#: In few words why a photo takes no part; the sentence stands among the reasons.
_LEFT_OUT = {
    "odd-photo": "left out: another set-up",
    "view-left-out": "left out: take it again",
    "same-photo": "left out: the same file",
}


def photo_table(joint: JointResult, text: Callable[[str, str], Text]) -> Table:
    """One row a photo: name, its gap, that minus the others', the chance of differing so."""
    table = Table.grid(padding=(0, 3, 0, 0))
    table.add_column(overflow="ellipsis", no_wrap=True)
    for _ in range(3):
        table.add_column()
    heads = ("photo", "its gap", "minus the others'", "agreement by chance")
    table.add_row(*(text(head, "dim") for head in heads))
    for share in joint.photos:
        style = "" if share.left_out is None else "dim"
        table.add_row(*(text(cell, style) for cell in _cells(share)))
    return table


def _cells(share: PhotoShare) -> tuple[str, str, str, str]:
    return (
        share.name,
        with_uncertainty(share.gap_mm, share.gap_expanded_uncertainty_mm, "mm"),
        with_uncertainty(share.deviation_mm, share.deviation_expanded_uncertainty_mm, "mm")
        if share.deviation_mm is not None
        else "",
        _standing(share),
    )


def _standing(share: PhotoShare) -> str:
    if share.left_out is None:
        return percent(share.probability) if share.probability is not None else ""
    return _LEFT_OUT.get(share.left_out.code, "left out: cannot be read")
