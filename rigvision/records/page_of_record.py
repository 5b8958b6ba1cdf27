"""The page of a record, made from what the record itself says once it was examined."""

from __future__ import annotations

import json

from rigvision.records.bodies import CheckRecorded, JobOpened, Statement
from rigvision.records.examine_record import Examined
from rigvision.report.page import page_pdf
from rigvision.report.page_facts import (
    PageCorrection,
    PageFacts,
    PageFlag,
    PageJob,
    PageModel,
    PageSignature,
)
from rigvision.report.saved_result import SavedResult, parse_saved
from rigvision.report.seal import Seal


def page_of_record(found: Examined, record_json: bytes, image_jpeg: bytes) -> bytes:
    """The page as PDF, with the record attached. ``found`` has no fault.

    Raises ValueError for an image that is no JPEG, SavedResultError for a result that is none.
    """
    check, job = found.check, found.job
    assert check is not None
    assert job is not None
    return page_pdf(
        PageFacts(
            seal=_seal(found, check, job),
            job=PageJob(job.work_order, job.engine, job.frame, job.position),
            recorded_at=check.core.recorded_at,
            result=_result(check),
            image_jpeg=image_jpeg,
            record_json=record_json,
            models=tuple(
                PageModel(d.kind, d.name, d.sha256, d.calibration_due)
                for d in check.core.definitions
            ),
            signatures=tuple(_signature(statement) for statement in found.statements),
            flags=tuple(PageFlag(flag.text, flag.record) for flag in check.flags),
            corrections=tuple(
                PageCorrection(c.body.cause, c.body.corrected_by, c.recorded_at, c.body.replaced_by)
                for c in found.corrections
            ),
        )
    )


def _seal(found: Examined, check: CheckRecorded, job: JobOpened) -> Seal:
    core, head = check.core, found.head
    return Seal(
        core.ledger,
        core.record,
        check.core_sha256,
        head.count,
        head.hash,
        core.job,
        job.door,
        core.stage,
    )


def _signature(statement: Statement) -> PageSignature:
    return PageSignature(
        statement.person,
        statement.role,
        statement.decision,
        statement.signed_at,
        statement.fingerprint,
        statement.remark,
    )


def _result(check: CheckRecorded) -> SavedResult:
    (saved,) = parse_saved(json.dumps(check.result).encode(), "the result")
    assert isinstance(saved, SavedResult)
    return saved
