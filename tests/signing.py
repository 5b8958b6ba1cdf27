"""People with keys, and a check to sign, for the tests of records. Invented throughout."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from rigvision.records.bodies import (
    CheckCore,
    CheckRecorded,
    Definition,
    FileFacts,
    PersonEnrolled,
    Role,
)
from rigvision.records.person_key import OpenKey, PersonKey
from rigvision.records.persons import Persons
from rigvision.records.read_body import core_sha256, result_sha256
from rigvision.records.record_id import record_id
from rigvision.records.signature import fingerprint_of, private_key_of, public_key_of
from rigvision.records.strict_json import plain_of

LEDGER = "0123456789abcdef"
NOW = "2026-11-26T14:00:00.000000Z"
PHOTO, IMAGE = b"the photo", b"the analysed image"


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
    from rigvision.records.canonical import sha256_of

    return FileFacts(sha256_of(content), len(content), media_type, name)


def check(verdict: str = "pass", **changed: Any) -> CheckRecorded:
    """A recorded check; ``changed`` are fields of its core."""
    photo = facts(PHOTO, "IMG_0001.jpg")
    result: dict[str, Any] = {"schema": "rigvision.check/1", "verdict": verdict}
    result |= {"borderline": False, "photo": {"sha256": photo.sha256}}
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
        definitions=(Definition("gauge", "G-1", "ab" * 32, "2027-01-31"),),
        settings={"door": 3},
        versions={"rigvision": "0"},
        follows_count=3,
        follows_hash="cd" * 32,
    )
    core = replace(core, **changed)
    return CheckRecorded(
        core, core_sha256(plain_of(core)), facts(IMAGE, "checked.jpg"), result, None, ()
    )
