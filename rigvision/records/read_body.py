"""An entry's body as plain JSON, and plain JSON as a body again, strictly.

What is hashed and signed is the plain form as it was written: hashes are taken over that, never
over a body that was read and written again, which would gain the fields of later versions.
"""

from __future__ import annotations

from typing import Any

from rigvision.ground.shown import one_line
from rigvision.records.bodies import (
    Body,
    CheckCorrected,
    CheckRecorded,
    CheckSigned,
    Exported,
    JobClosed,
    JobOpened,
    LedgerOpened,
    Noted,
    PersonEnrolled,
    PersonWithdrawn,
    Signed,
)
from rigvision.records.canonical import canonical, sha256_of
from rigvision.records.entry import Kind
from rigvision.records.strict_json import plain_of as plain_of
from rigvision.records.strict_json import read_exactly, read_part

BODIES: dict[Kind, type[Any]] = {
    "ledger-opened": LedgerOpened,
    "person-enrolled": PersonEnrolled,
    "person-withdrawn": PersonWithdrawn,
    "job-opened": JobOpened,
    "check-recorded": CheckRecorded,
    "check-signed": CheckSigned,
    "check-corrected": CheckCorrected,
    "job-closed": JobClosed,
    "exported": Exported,
    "noted": Noted,
}
KINDS: dict[type[Any], Kind] = {body: kind for kind, body in BODIES.items()}


def read_body(kind: str, plain: Any) -> Body:
    """The body of an entry of this kind. Keys that are not known are passed over: later versions
    add some; but what a person signed has exactly the fields of its schema.

    Raises ValueError, in words, for anything else.
    """
    body_type = BODIES.get(kind)  # type: ignore[call-overload]
    if body_type is None:
        raise ValueError(f"there is no kind of entry called '{one_line(kind, 40)}'")
    body: Body = read_part(body_type, plain)
    if isinstance(body, CheckRecorded) and body.measured:
        read_signed(plain["measured"])
    elif isinstance(body, CheckSigned):
        read_signed(plain["signed"])
    return body


def read_signed(plain: Any) -> Signed:
    """A signed statement that stands by itself. Raises ValueError."""
    signed: Signed = read_exactly(Signed, plain)
    return signed


def core_sha256(core: dict[str, Any]) -> str:
    """The hash of a check's core in its plain form: SHA-256 over its canonical JSON."""
    return sha256_of(canonical(core))


def result_sha256(result: dict[str, Any]) -> str:
    """The hash of a check's result in its plain form: SHA-256 over its canonical JSON."""
    return sha256_of(canonical(result))
