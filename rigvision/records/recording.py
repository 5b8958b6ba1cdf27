"""A check into a job: photo, definitions, result and image, one entry, all of it or nothing."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING, Any

from rigvision.decision.result import CheckResult
from rigvision.evidence import Evidence
from rigvision.ground.errors import RecordingError, RigvisionError
from rigvision.photo.file_bytes import file_bytes
from rigvision.records.bodies import (
    CheckCore,
    CheckRecorded,
    FileFacts,
    Flag,
    Likeness,
    Signed,
    Stage,
)
from rigvision.records.canonical import canonical, sha256_of
from rigvision.records.definitions import KeptDefinition, definitions_of, versions
from rigvision.records.entry import Entry, Head
from rigvision.records.flags import Checked, Place, Relied, flags_of
from rigvision.records.jobs import Job, open_job_named
from rigvision.records.ledger import Ledger
from rigvision.records.ledger_error import spoken
from rigvision.records.likeness import likeness_of
from rigvision.records.photo_type import photo_type
from rigvision.records.read_body import core_sha256, plain_of, result_sha256
from rigvision.records.record_id import record_id
from rigvision.records.relied_on import relied_on
from rigvision.records.resembling import resembling
from rigvision.records.sealed_image import UnsealedImage, unsealed_image
from rigvision.records.writing import Writing
from rigvision.report.as_json import as_json
from rigvision.report.saved_result import parse_saved

if TYPE_CHECKING:
    from rigvision.metrology.monte_carlo import MonteCarlo

#: Signs *measured* for a core, its hash and its image.
Sign = Callable[[CheckCore, str, FileFacts], Signed]
#: An id is taken by chance once in so many million records; three times in a row, never.
_ATTEMPTS = 3


@dataclass(frozen=True, slots=True)
class CheckToRecord:
    """A check with all that is kept of it, read and found whole before the ledger is touched."""

    result: CheckResult
    plain: dict[str, Any]
    photo: bytes
    definitions: tuple[KeptDefinition, ...]
    settings: dict[str, Any]
    versions: dict[str, str]
    likeness: Likeness | None = None


@dataclass(frozen=True, slots=True)
class Recorded:
    """What came of it: the entry, the head after it, what an inspector must look at."""

    record: str
    job: Job
    body: CheckRecorded
    entry: Entry
    head: Head
    clock_jumped_back: bool

    @property
    def flags(self) -> tuple[Flag, ...]:
        return self.body.flags


def check_to_record(
    result: CheckResult,
    settings: dict[str, Any],
    monte_carlo: MonteCarlo | None = None,
) -> CheckToRecord:
    """Gather what is kept of a check of one photo.

    Raises RecordingError where the photo or a model is not what it was while it was measured.
    """
    seen = result.evidence
    if not isinstance(seen, Evidence) or result.joint is not None:
        raise RecordingError(
            "not-one-photo",
            f"The check of {result.photo.name} is not that of one photo with its evidence.",
            "Check each photo by itself, and record it then.",
        )
    photo = file_bytes(seen.photo_path, result.photo.name)
    if sha256_of(photo) != result.photo.sha256:
        raise RecordingError(
            "photo-changed",
            f"The file of {result.photo.name} was changed while it was checked.",
            "Check it again once nothing else writes to it.",
        )
    try:
        plain = json.loads(json.dumps(as_json(result, monte_carlo), allow_nan=False))
        canonical(plain)
        parse_saved(json.dumps(plain).encode(), "the result")
        definitions = definitions_of(seen)
    except (ValueError, RigvisionError) as error:
        raise RecordingError(
            "not-recordable",
            f"The check of {result.photo.name} cannot be recorded: {error}.",
            "Check it again; if it stays so, report it with the photo.",
        ) from error
    return CheckToRecord(
        result, plain, photo, definitions, settings, versions(), likeness_of(result)
    )


def record_check(
    ledger: Ledger,
    job: str,
    check: CheckToRecord,
    *,
    stage: Stage | None = None,
    sign: Sign | None = None,
) -> Recorded:
    """Record a check into an open job. When this returns, it is on the disk.

    Raises UsageError for a job that is unknown or closed, RecordingError for a photo that is
    recorded already, LedgerError where the ledger cannot be written. Nothing is half recorded: at
    worst a file that no entry names stays in the evidence.
    """
    open_job_named(ledger, job)
    _refuse_recorded(ledger, check)
    photo = _put_files(ledger, check)
    # Before the transaction, as other programs wait while that is open.
    image = unsealed_image(_from_evidence(ledger, check.result, photo))
    relied = relied_on(ledger, [kept.definition for kept in check.definitions])
    for _ in range(_ATTEMPTS):
        with ledger.writing() as writing:
            opened = open_job_named(ledger, job)
            _refuse_recorded(ledger, check)
            core = _core(writing, opened, check, photo, stage)
            if _is_taken(ledger, core.record):
                continue  # the clock ticks on, and with it the id
            body = _body(ledger, core, opened, check, image, relied, sign)
            entry = writing.append(body)
            return Recorded(
                core.record, opened, body, entry, writing.head, writing.clock_jumped_back
            )
    raise RecordingError(
        "no-free-id", "No free id was found for the record.", "Record the photo once more."
    )


def _put_files(ledger: Ledger, check: CheckToRecord) -> FileFacts:
    """Photo and definitions into the evidence, before any entry names them."""
    for kept in check.definitions:
        ledger.evidence.put(kept.content, kept.media_type, kept.file_name)
    return ledger.evidence.put(check.photo, photo_type(check.photo), check.result.photo.name)


def _core(
    writing: Writing, job: Job, check: CheckToRecord, photo: FileFacts, stage: Stage | None
) -> CheckCore:
    ledger, result_hash = writing.head.ledger, result_sha256(check.plain)
    record = record_id(ledger, job.reference, photo.sha256, result_hash, writing.recorded_at)
    return CheckCore(
        schema="rigvision.record/1",
        ledger=ledger,
        record=record,
        job=job.reference,
        stage=stage,
        recorded_at=writing.recorded_at,
        taken_at=check.result.photo.taken_at,
        photo=photo,
        result_sha256=result_hash,
        definitions=tuple(kept.definition for kept in check.definitions),
        settings=check.settings,
        versions=check.versions,
        follows_count=writing.head.count,
        follows_hash=writing.head.hash,
    )


def _body(
    ledger: Ledger,
    core: CheckCore,
    job: Job,
    check: CheckToRecord,
    unsealed: UnsealedImage,
    relied: tuple[Relied, ...],
    sign: Sign | None,
) -> CheckRecorded:
    """Seal and keep the image, look for flags, sign. Inside the write transaction: the image
    shows the head that the entry follows."""
    core_hash = core_sha256(plain_of(core))
    sealed = unsealed.sealed(core, core_hash, job.opened)
    image = ledger.evidence.put(sealed, "image/jpeg", f"{core.record}.checked.jpg")
    flags = flags_of(_checked(core, job), resembling(ledger, check.likeness), relied)
    measured = sign(core, core_hash, image) if sign else None
    return CheckRecorded(core, core_hash, image, check.plain, check.likeness, flags, measured)


def _from_evidence(ledger: Ledger, result: CheckResult, photo: FileFacts) -> CheckResult:
    """The result with its photo where it is kept: what is drawn on is what was measured."""
    seen = result.evidence
    assert isinstance(seen, Evidence)
    kept = replace(seen, photo_path=ledger.evidence.path(photo.sha256))
    return replace(result, evidence=kept)


def _checked(core: CheckCore, job: Job) -> Checked:
    offset = datetime.fromisoformat(core.recorded_at).astimezone().utcoffset()
    opened = job.opened
    return Checked(
        Place(opened.job, opened.engine, opened.frame, opened.door, core.stage),
        core.taken_at,
        core.recorded_at,
        job.opened_at,
        core.definitions,
        round(offset.total_seconds() / 60) if offset else 0,
    )


def _refuse_recorded(ledger: Ledger, check: CheckToRecord) -> None:
    """A photo counts once. Where its record was corrected, it may be recorded as it should be."""
    earlier = recorded_already(ledger, check.result.photo.sha256)
    if earlier is not None:
        record, job = earlier
        raise RecordingError(
            "photo-recorded",
            f"{check.result.photo.name} is recorded already: {record} in job {job}.",
            "A photo counts once. Take another, or correct that record first if it is wrong.",
        )


def recorded_already(ledger: Ledger, photo_sha256: str) -> tuple[str, str] | None:
    """Record and job of a photo that counts already; None for one that does not."""
    sql = (
        "SELECT record, job FROM check_recorded c WHERE photo_sha256 = ? "
        "AND NOT EXISTS (SELECT 1 FROM correction x WHERE x.record = c.record) LIMIT 1"
    )
    with spoken(ledger.path):
        found: tuple[str, str] | None = ledger.connection.execute(sql, (photo_sha256,)).fetchone()
    return found


def _is_taken(ledger: Ledger, record: str) -> bool:
    with spoken(ledger.path):
        sql = "SELECT 1 FROM check_recorded WHERE record = ?"
        return ledger.connection.execute(sql, (record,)).fetchone() is not None
