"""The photos of a joint result as rows: what each says by itself, and how it fits the others."""

from __future__ import annotations

from collections.abc import Callable

from rich.table import Table
from rich.text import Text

from rigvision.decision.joint_result import JointResult, PhotoShare
from rigvision.report.figures import percent, with_uncertainty

_HEADS = ("photo", "its gap", "minus the others'", "differs so by chance")

#: In few words why a photo takes no part; the sentence stands among the reasons.
_LEFT_OUT = {
    "odd-photo": "left out: another set-up",
    "view-left-out": "left out: take it again",
    "same-photo": "left out: the same file",
}


def photo_table(joint: JointResult, text: Callable[[str, str], Text], narrow: bool) -> Table:
    """One row a photo: name, its gap, that minus the others', the chance of differing so.

    Without its own gap where there is no room.
    """
    table = Table.grid(padding=(0, 2 if narrow else 3, 0, 0))
    rows = [_HEADS, *(_cells(share) for share in joint.photos)]
    styles = ["dim", *("dim" if share.left_out else "" for share in joint.photos)]
    for row, style in zip(rows, styles, strict=True):
        cells = (row[0], *row[2:]) if narrow else row
        table.add_row(*(text(cell, style) for cell in cells))
    return table


def _cells(share: PhotoShare) -> tuple[str, ...]:
    own = with_uncertainty(share.gap_mm, share.gap_expanded_uncertainty_mm, "mm")
    apart = ""
    if share.deviation_mm is not None:
        apart = with_uncertainty(share.deviation_mm, share.deviation_expanded_uncertainty_mm, "mm")
    return share.name, own, apart, _standing(share)


def _standing(share: PhotoShare) -> str:
    if share.left_out is None:
        return percent(share.probability) if share.probability is not None else ""
    return _LEFT_OUT.get(share.left_out.code, "left out: cannot be read")
