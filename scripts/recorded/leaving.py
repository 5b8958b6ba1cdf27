"""A real check of a sample photo, recorded, signed by two people, and exported in every form."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

import rigvision
from recorded.invented import INSPECTOR, MECHANIC, begun, check_body, job, sign_check
from rigvision.records.bodies import CheckRecorded
from rigvision.records.exporting import export, export_json
from rigvision.records.ledger import Ledger
from rigvision.records.record_id import record_id
from rigvision.report.analysed_image import as_jpeg
from rigvision.report.as_json import as_json
from rigvision.report.seal import Seal


@dataclass(frozen=True, slots=True)
class Leaving:
    """Where the ledger is, and the bytes of what left by form: record, image, page, bundle."""

    ledger: Path
    record: str
    files: dict[str, bytes]


def leaving(folder: Path, sample: Path) -> Leaving:
    path = folder / "ledger.sqlite3"
    with Ledger.create(path) as ledger:
        begun(ledger, job())
        check = _recorded(ledger, sample)
        sign_check(ledger, check, MECHANIC, "measured")
        sign_check(ledger, check, INSPECTOR, "accepted", "Edges clean.")
        record = check.core.record
        files = {"record": export_json(ledger, record)}
        for form in ("image", "page", "bundle"):
            files[form] = export(ledger, record, form, folder / "out").read_bytes()
    return Leaving(path, record, files)


def _recorded(ledger: Ledger, sample: Path) -> CheckRecorded:
    checked = rigvision.check(sample, door=3)
    figures = json.loads(json.dumps(as_json(checked)))
    ledger.evidence.put(b'id = "RG-10"\n', "application/toml", "RG-10.toml")
    photo = ledger.evidence.put(sample.read_bytes(), "image/jpeg", sample.name)
    with ledger.writing() as writing:
        unnamed = check_body(ledger, writing, photo, photo, figures=figures)
        core = unnamed.core
        named = record_id(core.ledger, core.job, photo.sha256, core.result_sha256, core.recorded_at)
        unseen = check_body(ledger, writing, photo, photo, figures=figures, record=named)
        head = writing.head
        seal = Seal(head.ledger, named, unseen.core_sha256, head.count, head.hash, core.job, 3)
        image = ledger.evidence.put(as_jpeg(checked, seal), "image/jpeg", "checked.jpg")
        body = check_body(ledger, writing, photo, image, figures=figures, record=named)
        writing.append(body)
    return body
