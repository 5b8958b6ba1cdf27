"""Invented bodies for the ledger's tests: small, and of the form that real ones have."""

from __future__ import annotations

from typing import Any

from rigvision.records.bodies import (
    CheckCore,
    CheckRecorded,
    Definition,
    FileFacts,
    JobOpened,
    Likeness,
    PersonEnrolled,
    Signed,
    Statement,
)
from rigvision.records.canonical import digest, sha256_of
from rigvision.records.ledger import Ledger
from rigvision.records.writing import Writing

GAUGE_FILE = b'id = "RG-10"\n'


def job(name: str = "J-0001", engine: str = "ENG-7", door: int = 3) -> JobOpened:
    return JobOpened(name, "WO-1", engine, "DF-10", door, "ordinary", "M. Ross")


def result(verdict: str = "pass", borderline: bool = False, **more: Any) -> dict[str, Any]:
    plain = {"schema": "rigvision.check/1", "gauge": "RG-10", "frame": "DF-10", "door": 3}
    return plain | {"verdict": verdict, "borderline": borderline, "gap_mm": 0.8125} | more


def put_check(
    ledger: Ledger,
    writing: Writing,
    record: str,
    photo: FileFacts,
    image: FileFacts,
    *,
    of: JobOpened | None = None,
    stage: Any = None,
    figures: dict[str, Any] | None = None,
    measured: Signed | None = None,
) -> CheckRecorded:
    """A whole body as recording makes it, from files that are in the store."""
    gauge = Definition("gauge", "RG-10", sha256_of(GAUGE_FILE), "2027-01-31")
    plain = figures or result()
    core = CheckCore(
        "rigvision.record/1",
        ledger.identity,
        record,
        (of or job()).job,
        stage,
        writing.recorded_at,
        "2026-02-03T10:11:12",
        photo,
        digest("result", plain),
        (gauge,),
        {"door": plain["door"]},
        {"rigvision": "0"},
        writing.head.count,
        writing.head.hash,
    )
    seen = Likeness("rigvision.likeness/1", "RG-10", (1.5, -2.0, 400.0), (0.1, 0.1, 0.5), {})
    return CheckRecorded(core, "c0" * 32, image, plain, seen, (), measured)


def record_check(ledger: Ledger, record: str, content: bytes = b"", **more: Any) -> CheckRecorded:
    """One check with its own evidence, in a transaction of its own."""
    ledger.evidence.put(GAUGE_FILE, "application/toml", "RG-10.toml")
    photo = ledger.evidence.put(content or record.encode(), "image/jpeg", "photo.jpg")
    image = ledger.evidence.put(b"drawn " + record.encode(), "image/jpeg", "photo.checked.jpg")
    with ledger.writing() as writing:
        body = put_check(ledger, writing, record, photo, image, **more)
        writing.append(body)
    return body


def person(name: str = "I. Vance", role: Any = "inspector", key: str = "ab" * 32) -> PersonEnrolled:
    return PersonEnrolled(name, role, key, sha256_of(key.encode())[:16])


def signed(record: str, decision: Any, name: str = "I. Vance", role: Any = "inspector") -> Signed:
    """A statement whose signature nobody looks at here."""
    hashes = ("c0" * 32, "d0" * 32, "e0" * 32, "f0" * 32)
    statement = Statement(
        "rigvision.statement/1",
        "00" * 8,
        record,
        *hashes,
        role,
        decision,
        "",
        name,
        "1234",
        "2026-02-03T10:11:12.000000Z",
    )
    return Signed(statement, "ab" * 32, "00" * 64)
