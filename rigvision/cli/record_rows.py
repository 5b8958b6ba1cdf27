"""Records as rows of a list."""

from __future__ import annotations

from collections.abc import Sequence

from rigvision.cli.page import shown_time
from rigvision.records.search import Found, Status

#: What became of a record, as people say it.
STATUS_WORDS: dict[Status, str] = {
    "recorded": "not signed",
    "measured": "signed as measured",
    "accepted": "ACCEPTED",
    "rejected": "REJECTED",
    "corrected": "corrected: do not use",
}


def as_rows(records: Sequence[Found]) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """Head and rows for ``Page.table``."""
    head = ("record", "verdict", "signed", "door", "recorded", "job")
    return head, [
        (
            found.record,
            found.verdict + (" (borderline)" if found.borderline else ""),
            STATUS_WORDS[found.status],
            f"{found.engine}, {found.frame} door {found.door}"
            + (f", {found.stage}" if found.stage else ""),
            shown_time(found.recorded_at),
            found.job,
        )
        for found in records
    ]
