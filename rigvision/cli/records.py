"""What ``record list``, ``search``, ``show`` and ``correct`` do: a library call, then its words."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path
from typing import Any

from rigvision.cli.at_ledger import head_as_json, opened, person_at_keyboard, shown_head
from rigvision.cli.kept_file import write_kept
from rigvision.cli.page import Page, print_json, shown_time
from rigvision.cli.record_rows import STATUS_WORDS, as_rows
from rigvision.ground.shown import grouped
from rigvision.records.bodies import CheckCorrected, Definition, Signed
from rigvision.records.correction import correct_record
from rigvision.records.ledger import Ledger
from rigvision.records.record_view import RecordView, view_record
from rigvision.records.recorded_result import recorded_result
from rigvision.records.search import Finds, Wanted, search

SCHEMA = "rigvision.record-view/1"


def list_found(wanted: Wanted, ledger_file: Path | None, *, as_json: bool) -> None:
    with opened(ledger_file, read_only=True) as ledger:
        finds = search(ledger, wanted)
    if as_json:
        found = [asdict(f) for f in finds.found]
        print_json({"schema": "rigvision.records/1", "records": found, "more": finds.more})
        return
    _show_finds(finds, wanted.most)


def _show_finds(finds: Finds, most: int) -> None:
    page = Page()
    if not finds.found:
        page.line("No record fits.")
        return
    page.table(*as_rows(finds.found))
    if finds.more:
        page.line(f"There are more than these {most}: --most N shows more.", "dim")


def show_one(typed: str, out: Path | None, ledger_file: Path | None, *, as_json: bool) -> None:
    with opened(ledger_file, read_only=True) as ledger:
        view, head = view_record(ledger, typed), ledger.head()
        written = write_image(ledger, view, out) if out else None
        if as_json:
            plain = view_as_json(view) | {"head": head_as_json(head)}
            print_json(plain | ({"written": str(written)} if written else {}))
            return
        page = Page()
        show_view(page, ledger, view)
    if written:
        page.line("Analysed image:")
        page.exact(str(written))
    page.line(shown_head(head), "dim")


def write_image(ledger: Ledger, view: RecordView, folder: Path) -> Path:
    """The analysed image as it is kept, byte by byte, into a folder. Raises LedgerError."""
    content = ledger.evidence.read(view.image.sha256)
    return write_kept(folder, f"{view.record}.checked.jpg", content)


def show_view(page: Page, ledger: Ledger, view: RecordView) -> None:
    """What the check said, as it was printed then, and after it what the record adds."""
    from rigvision.report.text import show

    core, job = view.core, view.job
    page.headline(f"Record {view.record}", STATUS_WORDS[view.status])
    stage = f", {core.stage}" if core.stage else ""
    page.line(
        f"Job {core.job}, work order {job.work_order}, engine {job.engine}, {job.frame} "
        f"door {job.door}, {job.position}{stage}"
    )
    page.gap()
    show(recorded_result(ledger, view), page.console)
    show_concerns(page, view)
    page.line(f"recorded {shown_time(core.recorded_at)}, entry {view.entry.sequence}")
    page.line(f"photo sha256 {core.photo.sha256}")
    page.line(f"image sha256 {view.image.sha256}")
    page.line(f"measured with {'; '.join(_definition(d) for d in core.definitions)}")
    page.line(", ".join(f"{name} {v}" for name, v in core.versions.items()), "dim")


def show_concerns(page: Page, view: RecordView) -> None:
    """Flags, corrections, signatures: what must be seen before anybody signs."""
    for flag in view.flags:
        page.line(f"FLAG {flag.code}: {flag.text} {flag.remedy}", "bold")
    for correction in view.corrections:
        page.line(_correction(correction), "bold")
    for signed in (view.measured, view.decided):
        if signed:
            page.line(_signature(signed))
    if view.measured is None:
        page.line("Nobody has signed for having measured it.")
    page.gap()


def correct_one(
    typed: str,
    cause: str,
    replaced_by: str | None,
    by: str | None,
    ledger_file: Path | None,
    *,
    as_json: bool,
) -> None:
    name = person_at_keyboard(by)
    with opened(ledger_file) as ledger:
        entry = correct_record(ledger, typed, cause, name, replaced_by)
        head = ledger.head()
    if as_json:
        print_json({"schema": "rigvision.correction/1", **entry.body, "head": head_as_json(head)})
        return
    page = Page()
    page.headline(f"Record {entry.body['record']} is corrected", f"entry {entry.sequence}")
    page.line("It stays as it is, and can no longer be signed.")
    page.line(shown_head(head), "dim")


def view_as_json(view: RecordView) -> dict[str, Any]:
    """All of a record, its entries' words unchanged."""
    recorded = view.entry.body
    return {
        "schema": SCHEMA,
        "record": view.record,
        "status": view.status,
        "job": asdict(view.job),
        "entry": view.entry.sequence,
        "core": recorded["core"],
        "core_sha256": recorded["core_sha256"],
        "image": recorded["image"],
        "flags": recorded["flags"],
        "result": recorded["result"],
        "measured": _plain_signed(view.measured),
        "decided": _plain_signed(view.decided),
        "corrections": [asdict(c) for c in view.corrections],
        "later": list(_later(view)),
    }


def _later(view: RecordView) -> Iterator[dict[str, Any]]:
    for dated in view.later:
        kind = type(dated.body).__name__
        yield {"entry": dated.sequence, "recorded_at": dated.recorded_at, "kind": kind}


def _plain_signed(signed: Signed | None) -> dict[str, Any] | None:
    return asdict(signed) if signed else None


def _signature(signed: Signed) -> str:
    said = signed.statement
    remark = f": {said.remark}" if said.remark else ""
    return (
        f"{said.decision} by {said.person}, {said.role}, on {shown_time(said.signed_at)}{remark} "
        f"(key {grouped(said.fingerprint)})"
    )


def _correction(correction: CheckCorrected) -> str:
    instead = f" Use {correction.replaced_by}." if correction.replaced_by else ""
    return f"CORRECTED by {correction.corrected_by}: {correction.cause}.{instead}"


def _definition(definition: Definition) -> str:
    due = f", calibration due {definition.calibration_due}" if definition.calibration_due else ""
    return f"{definition.kind} {definition.name} ({definition.sha256[:12]}{due})"
