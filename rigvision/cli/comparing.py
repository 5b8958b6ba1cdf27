"""The command ``record compare``: a door before and after, in figures and as one image."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from rigvision.cli.at_ledger import head_as_json, opened, shown_head
from rigvision.cli.kept_file import write_kept
from rigvision.cli.page import Page, print_json
from rigvision.records.comparison import SCHEMA, Change, changes, expected_after
from rigvision.records.comparison_image import INDEPENDENT, cells, comparison_image, expectation
from rigvision.records.ledger import Ledger
from rigvision.records.pairing import pair_named, pair_of_job
from rigvision.records.record_view import RecordView
from rigvision.records.recorded_result import recorded_model
from rigvision.report.wording import LOOKS
from rigvision.world.frame import Frame


def compare_two(
    first: str, second: str | None, out: Path | None, ledger_file: Path | None, *, as_json: bool
) -> None:
    with opened(ledger_file, read_only=True) as ledger:
        before, after = (
            pair_of_job(ledger, first) if second is None else pair_named(ledger, first, second)
        )
        found = changes(before.result, after.result, _flats(ledger, after))
        expected = expected_after(before.result, after.result)
        written = None
        if out is not None:
            jpeg = comparison_image(ledger, before, after, found, expected)
            written = write_kept(out, f"{before.record}-{after.record}.compared.jpg", jpeg)
        head = ledger.head()
    if as_json:
        plain = _plain(before, after, found, expected)
        more = {"written": str(written) if written else None, "head": head_as_json(head)}
        print_json(plain | more)
        return
    page = Page()
    _show(page, before, after, found, expected)
    if written:
        page.line("Both images as one:")
        page.exact(str(written))
    page.line(shown_head(head), "dim")


def _plain(
    before: RecordView, after: RecordView, found: list[Change], expected: Change | None
) -> dict[str, Any]:
    return {
        "schema": SCHEMA,
        "before": _side(before),
        "after": _side(after),
        "changes": [c.as_json() for c in found],
        "expected": expected.as_json() if expected else None,
    }


def _show(
    page: Page,
    before: RecordView,
    after: RecordView,
    found: list[Change],
    expected: Change | None,
) -> None:
    job = after.job
    page.headline(f"Engine {job.engine}, {job.frame} door {job.door}", "before and after")
    for word, view in (("before", before), ("after", after)):
        look = LOOKS[view.result.verdict]
        page.line(f"{word}: {look.word}, record {view.record}, {view.status}", look.terminal_style)
    page.gap()
    rows = []
    for change in found:
        name, *rest = cells(change)
        rows.append((f"{'* ' if change.beyond_doubt else ''}{name}", *rest))
    page.table(("figure", "before", "after", "change"), rows, named=True)
    page.gap()
    if expected:
        page.line(expectation(expected))
    page.line(INDEPENDENT.replace("◆", "*"), "dim")


def _flats(ledger: Ledger, view: RecordView) -> int | None:
    frame = recorded_model(ledger, view, Frame)
    return frame.socket.flats if frame and frame.socket else None


def _side(view: RecordView) -> dict[str, object]:
    return {
        "record": view.record,
        "job": view.core.job,
        "stage": view.core.stage,
        "verdict": view.result.verdict,
        "status": view.status,
        "recorded_at": view.core.recorded_at,
        "image_sha256": view.image.sha256,
    }
