"""Statements that people sign about a check, and whether a signature under one holds.

No ledger is needed for that: a statement names the photo, the analysed image and the result by
their hashes, and the person by name, role and key.
"""

from __future__ import annotations

from typing import Final

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from rigvision.ground.errors import UsageError
from rigvision.ground.shown import one_line
from rigvision.records.bodies import CheckRecorded, Decision, Signed, Statement
from rigvision.records.canonical import canonical
from rigvision.records.person_key import OpenKey, PersonKey
from rigvision.records.signature import fingerprint_of, holds, public_key_of, signed
from rigvision.records.strict_json import plain_of

SCHEMA: Final = "rigvision.statement/1"
#: What stands before the statement under a signature, so that it serves for nothing else.
DOMAIN = SCHEMA.encode() + b"\n"
LONGEST_REMARK = 1000


def statement_on(
    check: CheckRecorded, owner: PersonKey, decision: Decision, remark: str, signed_at: str
) -> Statement:
    """What the owner of a key says about a check. Raises UsageError for an unfit remark."""
    return Statement(
        schema=SCHEMA,
        ledger=check.core.ledger,
        record=check.core.record,
        core_sha256=check.core_sha256,
        photo_sha256=check.core.photo.sha256,
        image_sha256=check.image.sha256,
        result_sha256=check.core.result_sha256,
        role=owner.role,
        decision=decision,
        remark=checked_remark(remark),
        person=owner.person,
        fingerprint=owner.fingerprint,
        signed_at=signed_at,
    )


def sign_statement(statement: Statement, key: OpenKey) -> Signed:
    """A statement with its signature. Raises ValueError for somebody else's key."""
    owner = key.owner
    if (statement.person, statement.role, statement.fingerprint) != (
        owner.person,
        owner.role,
        owner.fingerprint,
    ):
        raise ValueError("the statement is another person's")
    return _signed(statement, key.private_key)


def flaw_of(signed_statement: Signed) -> str | None:
    """Why a signed statement proves nothing, in words; None where its signature holds."""
    statement = signed_statement.statement
    if not holds(
        signed_statement.public_key, signed_statement.signature, statement_bytes(statement)
    ):
        return f"the signature of {one_line(statement.person, 80)} does not hold"
    if fingerprint_of(signed_statement.public_key) != statement.fingerprint:
        return f"the statement of {one_line(statement.person, 80)} names another key"
    return None


def mismatch_of(statement: Statement, check: CheckRecorded) -> str | None:
    """What a statement says otherwise than the check that it is about, in words; or None."""
    pairs = (
        ("ledger", statement.ledger, check.core.ledger),
        ("record", statement.record, check.core.record),
        ("core", statement.core_sha256, check.core_sha256),
        ("photo", statement.photo_sha256, check.core.photo.sha256),
        ("analysed image", statement.image_sha256, check.image.sha256),
        ("result", statement.result_sha256, check.core.result_sha256),
    )
    for what, signed_for, recorded in pairs:
        if signed_for != recorded:
            return f"{one_line(statement.person, 80)} signed for another {what}"
    return None


def statement_bytes(statement: Statement) -> bytes:
    """The bytes that are signed: the domain and the statement's canonical JSON."""
    return DOMAIN + canonical(plain_of(statement))


def checked_remark(text: str) -> str:
    """A remark as it is kept, in one line. Raises UsageError."""
    remark = " ".join(text.split())
    if len(remark) > LONGEST_REMARK or one_line(remark) != remark:
        raise UsageError(
            "unfit-remark",
            f"The remark '{one_line(remark, 40)}' has more than {LONGEST_REMARK} characters, or "
            "such as do not show.",
            "Say it in plain words, and shorter.",
        )
    return remark


def _signed(statement: Statement, private_key: Ed25519PrivateKey) -> Signed:
    signature = signed(private_key, statement_bytes(statement))
    return Signed(statement, public_key_of(private_key), signature)
