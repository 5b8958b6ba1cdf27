"""People with keys, and a check to sign, for the tests of records. Invented throughout."""

from __future__ import annotations

import io
import json
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

from PIL import ExifTags, Image

from rigvision.decision.reasons import Reason
from rigvision.decision.result import (
    CheckResult,
    PhotoFacts,
    TurnsResult,
    Verdict,
    ViewResult,
    YokeResult,
)
from rigvision.records.bodies import (
    CheckCore,
    CheckRecorded,
    Definition,
    FileFacts,
    JobOpened,
    PersonEnrolled,
    Role,
)
from rigvision.records.canonical import sha256_of
from rigvision.records.enrolment import enrol, persons_in
from rigvision.records.ledger import Ledger
from rigvision.records.ledger_lookup import entries_about
from rigvision.records.person_key import OpenKey, PersonKey
from rigvision.records.persons import Persons
from rigvision.records.read_body import core_sha256, result_sha256
from rigvision.records.record_export import record_json
from rigvision.records.record_id import record_id
from rigvision.records.signature import fingerprint_of, private_key_of, public_key_of
from rigvision.records.signing import measuring, sign_record
from rigvision.records.strict_json import plain_of
from rigvision.report.as_json import as_json
from rigvision.report.seal import Seal, seal_code

LEDGER = "0123456789abcdef"
NOW = "2026-11-26T14:00:00.000000Z"
PHOTO, GAUGE = b"\xff\xd8 the photo", b'name = "G-1"'


def key_of(person: str, role: Role) -> OpenKey:
    """The same key for the same name, made without a file."""
    private_key = private_key_of(f"{person}/{role}".encode().ljust(32, b".")[:32])
    public_key = public_key_of(private_key)
    owner = PersonKey(person, role, public_key, fingerprint_of(public_key), NOW)
    return OpenKey(owner, private_key)


def enrolment(key: OpenKey) -> PersonEnrolled:
    owner = key.owner
    return PersonEnrolled(owner.person, owner.role, owner.public_key, owner.fingerprint)


MECHANIC = key_of("Jo Miller", "mechanic")
INSPECTOR = key_of("Ann Lee", "inspector")


def persons(*keys: OpenKey) -> Persons:
    found = Persons()
    for key in keys or (MECHANIC, INSPECTOR):
        found.take(enrolment(key))
    return found


def facts(content: bytes, name: str, media_type: str = "image/jpeg") -> FileFacts:
    return FileFacts(sha256_of(content), len(content), media_type, name)


@cache
def jpeg(label: str) -> bytes:
    """A small picture with what an analysed image says of itself in its EXIF."""
    exif = Image.Exif()
    exif[ExifTags.Base.ImageDescription] = label
    out = io.BytesIO()
    Image.new("RGB", (60, 80), (30, 120, 90)).save(out, "JPEG", exif=exif)
    return out.getvalue()


IMAGE = jpeg("no record")


def result_of(verdict: Verdict) -> dict[str, Any]:
    """A result without a figure, as ``--json`` prints it."""
    result = CheckResult(
        photo=PhotoFacts("IMG_0001.jpg", sha256_of(PHOTO), 900, 660, None),
        gauge="G-1",
        frame="F-1",
        door=3,
        camera="generic-phone",
        verdict=verdict,
        borderline=False,
        reasons=(Reason("glare", "Glare covers the gap.", "Tilt the torch."),),
        gap=None,
        yoke=YokeResult(),
        turns=TurnsResult(0.0, 0.01, "none", "gap", "No turn is needed."),
        uncertainty_budget=(),
        view=ViewResult(None, None, None, ()),
        version="0.0.0",
    )
    return as_json(result)


def check(verdict: Verdict = "pass", image: bytes = IMAGE, **changed: Any) -> CheckRecorded:
    """A recorded check; ``changed`` are fields of its core."""
    photo, result = facts(PHOTO, "IMG_0001.jpg"), plain_copy(result_of(verdict))
    result_hash = result_sha256(result)
    core = CheckCore(
        schema="rigvision.record/1",
        ledger=LEDGER,
        record=record_id(LEDGER, "J-0001", photo.sha256, result_hash, NOW),
        job="J-0001",
        stage="after",
        recorded_at=NOW,
        taken_at="2026-11-26T13:58:00",
        photo=photo,
        result_sha256=result_hash,
        definitions=(Definition("gauge", "G-1", sha256_of(GAUGE), "2027-01-31"),),
        settings={"door": 3},
        versions={"rigvision": "0"},
        follows_count=3,
        follows_hash="cd" * 32,
    )
    core = replace(core, **changed)
    return CheckRecorded(
        core, core_sha256(plain_of(core)), facts(image, "checked.jpg"), result, None, ()
    )


def plain_copy(plain: dict[str, Any]) -> dict[str, Any]:
    copy: dict[str, Any] = json.loads(json.dumps(plain))
    return copy


JOB = JobOpened("J-0001", "WO-7", "E-1", "DF", 3, "ordinary", "Jo Miller")


def ledger_with_keys(folder: Path, *keys: OpenKey) -> Ledger:
    """A new ledger with its people, one job, and the files that checks in it name."""
    ledger = Ledger.create(folder / "ledger.sqlite3")
    for content, name in ((PHOTO, "IMG_0001.jpg"), (IMAGE, "checked.jpg"), (GAUGE, "G-1.toml")):
        ledger.evidence.put(content, "image/jpeg", name)
    for key in keys or (MECHANIC, INSPECTOR):
        enrol(ledger, key.owner)
    with ledger.writing() as writing:
        writing.append(JOB)
    return ledger


def record_a_check(ledger: Ledger, *, signed: bool = False, verdict: Verdict = "pass") -> str:
    """A check in the ledger; with the mechanic's signature in the same entry, where ``signed``."""
    base = check(verdict).core
    with ledger.writing() as writing:
        head, at = writing.head, writing.recorded_at
        record = record_id(head.ledger, "J-0001", base.photo.sha256, base.result_sha256, at)
        facts_of_it = {"ledger": head.ledger, "record": record, "recorded_at": at}
        follows = {"follows_count": head.count, "follows_hash": head.hash}
        unseen = check(verdict, **facts_of_it, **follows)
        seal = Seal(head.ledger, record, unseen.core_sha256, head.count, head.hash, "J-0001", 3)
        image = jpeg(f"photo sha256 {base.photo.sha256}, record {seal_code(seal)}")
        ledger.evidence.put(image, "image/jpeg", "checked.jpg")
        body = check(verdict, image, **facts_of_it, **follows)
        if signed:
            sign = measuring(MECHANIC, persons_in(ledger))
            body = replace(body, measured=sign(body.core, body.core_sha256, body.image))
        writing.append(body)
    return record


def signed_record(ledger: Ledger) -> str:
    """A check that was measured and accepted."""
    record = record_a_check(ledger)
    sign_record(ledger, record, MECHANIC, "measured")
    sign_record(ledger, record, INSPECTOR, "accepted", "looked at on site")
    return record


def exported(ledger: Ledger, record: str) -> bytes:
    """The record's JSON, as it leaves the house."""
    return record_json(record, ledger.head(), entries_about(ledger, record), ledger.signature)
