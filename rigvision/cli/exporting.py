"""The command ``record export``: a record into files that verify where the ledger is not."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from rigvision.cli.at_ledger import head_as_json, opened, shown_head
from rigvision.cli.page import Page, print_json
from rigvision.records.exporting import Form, export
from rigvision.records.record_view import view_record


def export_one(
    typed: str, forms: Sequence[Form], out: Path, ledger_file: Path | None, *, as_json: bool
) -> None:
    with opened(ledger_file) as ledger:
        record = view_record(ledger, typed).record
        written = {form: export(ledger, record, form, out) for form in dict.fromkeys(forms)}
        head = ledger.head()
    if as_json:
        files = [{"form": form, "path": str(path)} for form, path in written.items()]
        print_json(
            {
                "schema": "rigvision.export/1",
                "record": record,
                "files": files,
                "head": head_as_json(head),
            }
        )
        return
    page = Page()
    page.headline(f"Record {record} is exported", "prove it with: rigvision verify FILE")
    for path in written.values():
        page.exact(str(path))
    page.line(shown_head(head), "dim")
