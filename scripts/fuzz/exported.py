"""One small record as it leaves the house in each form, to start fuzzing from."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path

from recorded.invented import INSPECTOR, MECHANIC, begun, check_body, result, sign_check

from rigvision.records.bodies import CheckRecorded
from rigvision.records.bundle import write_bundle
from rigvision.records.ledger import Ledger
from rigvision.records.ledger_lookup import entries_about
from rigvision.records.page_file import sign_page
from rigvision.records.record_export import record_json
from rigvision.records.record_id import record_id


def exported() -> dict[str, bytes]:
    """``record``, ``bundle`` and ``page`` of a check that was measured and accepted."""
    with (
        tempfile.TemporaryDirectory() as folder,
        Ledger.create(Path(folder) / "ledger.sqlite3") as ledger,
    ):
        begun(ledger)
        check = _recorded(ledger)
        sign_check(ledger, check, MECHANIC, "measured")
        sign_check(ledger, check, INSPECTOR, "accepted")
        record = check.core.record
        whole = record_json(record, ledger.head(), entries_about(ledger, record), ledger.signature)
        return {
            "record": whole,
            "bundle": write_bundle(whole, check, ledger.evidence.read, ledger.signature),
            "page": _page(whole, ledger.signature),
        }


def _recorded(ledger: Ledger) -> CheckRecorded:
    ledger.evidence.put(b'id = "RG-10"\n', "application/toml", "RG-10.toml")
    photo = ledger.evidence.put(b"a photo", "image/jpeg", "photo.jpg")
    image = ledger.evidence.put(b"an image", "image/jpeg", "checked.jpg")
    figures = result(photo={"sha256": photo.sha256})
    with ledger.writing() as writing:
        core = check_body(ledger, writing, photo, image, figures=figures).core
        named = record_id(core.ledger, core.job, photo.sha256, core.result_sha256, core.recorded_at)
        body = check_body(ledger, writing, photo, image, figures=figures, record=named)
        writing.append(body)
    return body


def _page(record: bytes, sign: Callable[[bytes], str]) -> bytes:
    """An empty page with the record: what is fuzzed is how it is found."""
    from fpdf import FPDF

    document = FPDF()
    document.add_page()
    document.embed_file(bytes=record, basename="record.json", compress=True)
    return sign_page(bytes(document.output()), sign)
