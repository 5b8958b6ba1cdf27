"""An entry's body as plain JSON, and plain JSON as a body again, strictly.

What is hashed and signed is the plain form as it was written: hashes are taken over that, never
over a body that was read and written again, which would gain the fields of later versions.
"""

from __future__ import annotations

import json
from dataclasses import asdict, fields
from functools import cache
from typing import Any

from pydantic import TypeAdapter, ValidationError

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
    Statement,
)
from rigvision.records.canonical import canonical, sha256_of
from rigvision.records.entry import Kind

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


def plain_of(part: Any) -> dict[str, Any]:
    """A body, or a part of one, as the JSON that is hashed: lists for tuples, nothing else new."""
    plain: dict[str, Any] = json.loads(json.dumps(asdict(part), allow_nan=False))
    return plain


def read_body(kind: str, plain: Any) -> Body:
    """The body of an entry of this kind. Keys that are not known are passed over: later versions
    add some; but what a person signed has exactly the fields of its schema.

    Raises ValueError, in words, for anything else.
    """
    body_type = BODIES.get(kind)  # type: ignore[call-overload]
    if body_type is None:
        raise ValueError(f"there is no kind of entry called '{one_line(kind, 40)}'")
    body: Body = _read(body_type, plain)
    if isinstance(body, CheckRecorded) and body.measured:
        _refuse_additions(plain["measured"])
    elif isinstance(body, CheckSigned):
        _refuse_additions(plain["signed"])
    return body


def read_signed(plain: Any) -> Signed:
    """A signed statement that stands by itself. Raises ValueError."""
    signed: Signed = _read(Signed, plain)
    _refuse_additions(plain)
    return signed


def core_sha256(core: dict[str, Any]) -> str:
    """The hash of a check's core in its plain form: SHA-256 over its canonical JSON."""
    return sha256_of(canonical(core))


def result_sha256(result: dict[str, Any]) -> str:
    """The hash of a check's result in its plain form: SHA-256 over its canonical JSON."""
    return sha256_of(canonical(result))


def _refuse_additions(signed: dict[str, Any]) -> None:
    for kind, part in ((Signed, signed), (Statement, signed["statement"])):
        if added := set(part) - {field.name for field in fields(kind)}:
            raise ValueError(
                f"a signed statement says more than it may: {one_line(min(added), 40)}"
            )


def _read(kind: type, plain: Any) -> Any:
    try:
        return _adapter(kind).validate_json(json.dumps(plain, allow_nan=False), strict=True)
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        where = ".".join(str(part) for part in first["loc"])
        raise ValueError(one_line(f"{where}: {first['msg']}", 200)) from error


@cache
def _adapter(kind: type) -> TypeAdapter[Any]:
    return TypeAdapter(kind)
