"""Invented checks, whole in all that the ledger looks at: hashes, signatures, files.

The photos are random bytes. Nobody of these names works anywhere.
"""

from __future__ import annotations

from base64 import b64encode
from dataclasses import dataclass
from hashlib import sha256
from random import Random
from typing import Any

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from rigvision.records.bodies import (
    CheckCore,
    CheckRecorded,
    CheckSigned,
    Decision,
    Definition,
    FileFacts,
    JobOpened,
    Likeness,
    PersonEnrolled,
    Role,
    Signed,
    Stage,
    Statement,
)
from rigvision.records.canonical import sha256_of
from rigvision.records.ledger import Ledger
from rigvision.records.read_body import core_sha256, plain_of, result_sha256
from rigvision.records.signature import fingerprint_of, private_key_of, public_key_of
from rigvision.records.signature import signed as signature_over
from rigvision.records.statement import statement_bytes
from rigvision.records.writing import Writing

GAUGE_FILE = b'id = "RG-10"\n'
VERDICTS = ("pass", "adjust", "retake")


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody with a key."""

    name: str
    role: Role
    key: Ed25519PrivateKey

    def enrolled(self) -> PersonEnrolled:
        public = public_key_of(self.key)
        return PersonEnrolled(self.name, self.role, public, fingerprint_of(public))

    def signs(self, check: CheckRecorded, decision: Decision, at: str, remark: str = "") -> Signed:
        core, public = check.core, public_key_of(self.key)
        statement = Statement(
            "rigvision.statement/1",
            core.ledger,
            core.record,
            check.core_sha256,
            core.photo.sha256,
            check.image.sha256,
            core.result_sha256,
            self.role,
            decision,
            remark,
            self.name,
            fingerprint_of(public),
            at,
        )
        return Signed(statement, public, signature_over(self.key, statement_bytes(statement)))


MECHANIC = Person("M. Ross", "mechanic", private_key_of(b"m" * 32))
INSPECTOR = Person("I. Vance", "inspector", private_key_of(b"i" * 32))


def job(name: str = "J-0001", engine: str = "ENG-7", door: int = 3) -> JobOpened:
    return JobOpened(name, f"WO-{name}", engine, "DF-10", door, "ordinary", MECHANIC.name)


def result(verdict: str = "pass", borderline: bool = False, **more: Any) -> dict[str, Any]:
    """As little of a result as the index looks at."""
    plain = {"schema": "rigvision.check/1", "gauge": "RG-10", "frame": "DF-10", "door": 3}
    return plain | {"verdict": verdict, "borderline": borderline, "gap_mm": 0.8125} | more


def long_result(random: Random, figures: int) -> dict[str, Any]:
    """A result with as many figures as it shall have, of which a real one has some 600."""
    table = [
        {
            "quantity": "gap",
            "source": f"source {index}",
            "type": "B",
            "standard_uncertainty_mm": random.uniform(1e-7, 0.02),
            "value": random.gauss(0.0, 30.0),
        }
        for index in range(figures // 2)
    ]
    verdict = random.choices(VERDICTS, (80, 15, 5))[0]
    more = {"uncertainty_budget": table, "gap_mm": random.uniform(0.3, 1.3)}
    return result(
        verdict,
        verdict == "adjust" and random.random() < 0.3,
        gauge=f"RG-{random.randrange(1, 21)}",
        door=random.randrange(1, 9),
        **more,
    )


def likeness(random: Random, gauge: str) -> Likeness:
    """One as long as a real one: 5.8 kB, mostly patches."""
    sizes = {"sill": 1036, "door": 2068, "barrel": 744}
    figures = {
        "gap_mm": (round(random.uniform(0.3, 1.3), 5), 0.03301),
        "lateral_mm": (round(random.gauss(0.0, 0.2), 5), 0.02406),
        "seat_mm": (round(random.gauss(9.4, 0.05), 5), 0.04333),
        "clock_deg": (round(random.uniform(-30.0, 30.0), 5), 0.22214),
    }
    return Likeness(
        "rigvision.likeness/1",
        gauge,
        (random.uniform(-90, 90), random.uniform(-90, 90), random.uniform(200, 500)),
        (0.1, 0.1, 0.5),
        {face: b64encode(random.randbytes(size)).decode() for face, size in sizes.items()},
        "DF-10",
        figures=figures,
        sketches={face: random.randbytes(32).hex() for face in ("sill", "barrel")},
    )


def check_body(
    ledger: Ledger,
    writing: Writing,
    photo: FileFacts,
    image: FileFacts,
    *,
    record: str | None = None,
    of: JobOpened | None = None,
    stage: Stage | None = None,
    figures: dict[str, Any] | None = None,
    measured_by: Person | None = None,
    seen: Likeness | None = None,
) -> CheckRecorded:
    """A whole body as recording makes it, of files that are in the store."""
    plain = result() if figures is None else figures
    core = CheckCore(
        "rigvision.record/1",
        ledger.identity,
        record or photo.sha256[:8].upper(),
        (of or job()).job,
        stage,
        writing.recorded_at,
        "2026-02-03T10:11:12",
        photo,
        result_sha256(plain),
        (Definition("gauge", "RG-10", sha256_of(GAUGE_FILE), "2027-01-31"),),
        {"door": plain["door"]},
        {"rigvision": "0"},
        writing.head.count,
        writing.head.hash,
    )
    seen = seen or Likeness(
        "rigvision.likeness/1", "RG-10", (1.5, -2.0, 400.0), (0.1, 0.1, 0.5), {}
    )
    body = CheckRecorded(core, core_sha256(plain_of(core)), image, plain, seen, ())
    if measured_by is None:
        return body
    signed = measured_by.signs(body, "measured", writing.recorded_at)
    return CheckRecorded(core, body.core_sha256, image, plain, seen, (), signed)


def record_check(
    ledger: Ledger, record: str | None = None, content: bytes = b"", **more: Any
) -> CheckRecorded:
    """Record one check with evidence of its own; when this returns it is on the disk."""
    content = content or (record or "").encode()
    ledger.evidence.put(GAUGE_FILE, "application/toml", "RG-10.toml")
    photo = ledger.evidence.put(content, "image/jpeg", "photo.jpg")
    image = ledger.evidence.put(sha256(content).digest() * 4, "image/jpeg", "photo.checked.jpg")
    with ledger.writing() as writing:
        body = check_body(ledger, writing, photo, image, record=record, **more)
        writing.append(body)
    return body


def sign_check(
    ledger: Ledger, check: CheckRecorded, person: Person, decision: Decision, remark: str = ""
) -> None:
    """One signature in a transaction of its own."""
    with ledger.writing() as writing:
        signed = person.signs(check, decision, writing.recorded_at, remark)
        writing.append(CheckSigned(check.core.record, signed))


def begun(ledger: Ledger, *more: JobOpened) -> None:
    """People enrolled and jobs opened: what comes first in any ledger."""
    with ledger.writing() as writing:
        writing.append(MECHANIC.enrolled())
        writing.append(INSPECTOR.enrolled())
        for opened in more or (job(),):
            writing.append(opened)
