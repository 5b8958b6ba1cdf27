"""A ledger with an open job, and half-size samples checked for it, for the tests of records."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import rigvision
from rigvision.decision.result import CheckResult
from rigvision.evidence import Evidence
from rigvision.records.canonical import sha256_of
from rigvision.records.jobs import Job, JobWanted, open_job
from rigvision.records.ledger import Ledger
from rigvision.records.recording import CheckToRecord, Recorded, check_to_record, record_check
from rigvision.records.sealed_image import UnsealedImage, unsealed_image
from rigvision.world.catalogue import load
from rigvision.world.frame import Frame
from tests.half_size import half_size_file

DOOR = 6
_drawn: dict[tuple[str, str], UnsealedImage] = {}


def drawn_once(result: CheckResult) -> UnsealedImage:
    """``unsealed_image``, its work done once for each photo as it lies on the disk."""
    seen = result.evidence
    assert isinstance(seen, Evidence)
    key = (result.photo.sha256, sha256_of(seen.photo_path.read_bytes()))
    if key not in _drawn:
        _drawn[key] = unsealed_image(result)
    return _drawn[key]


def open_job_in(ledger: Ledger, door: int = DOOR, **changes: Any) -> Job:
    wanted = {"work_order": "WO 4711", "engine": "ESN-7", "opened_by": "A. Fitter"} | changes
    return open_job(
        ledger, JobWanted(door=door, position="ordinary", **wanted), load(Frame, "DF-10")
    )


@cache
def checked_sample(name: str, folder: Path) -> CheckResult:
    """A half-size sample's result for the job's door; its file stays in the folder."""
    return rigvision.check(half_size_file(name, folder), frame="DF-10", door=DOOR)


def ready(name: str, folder: Path) -> CheckToRecord:
    return check_to_record(checked_sample(name, folder), {"door": DOOR, "guarded": False})


def recorded_sample(
    ledger: Ledger, name: str, folder: Path, job: str = "J-0001", **options: Any
) -> Recorded:
    return record_check(ledger, job, ready(name, folder), **options)
