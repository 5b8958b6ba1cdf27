"""Statements: what is signed, that it verifies alone, that nothing in it can be changed."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any

import jcs
import nacl.signing
import pytest

from rigvision.ground.errors import UsageError
from rigvision.records.bodies import Statement
from rigvision.records.statement import (
    checked_remark,
    flaw_of,
    mismatch_of,
    sign_statement,
    statement_bytes,
    statement_on,
)
from rigvision.records.strict_json import plain_of
from tests.signing import INSPECTOR, MECHANIC, NOW, check

CHECK = check()
STATEMENT = statement_on(CHECK, INSPECTOR.owner, "accepted", "looked  at", NOW)
SIGNED = sign_statement(STATEMENT, INSPECTOR)


def test_a_signed_statement_holds_by_itself() -> None:
    assert flaw_of(SIGNED) is None
    assert STATEMENT.remark == "looked at"


def test_another_canonicaliser_and_another_ed25519_find_it_right() -> None:
    """By hand, as an auditor would: jcs and libsodium instead of rfc8785 and OpenSSL."""
    message = b"rigvision.statement/1\n" + jcs.canonicalize(plain_of(STATEMENT))
    assert message == statement_bytes(STATEMENT)
    key = nacl.signing.VerifyKey(bytes.fromhex(SIGNED.public_key))
    key.verify(message, bytes.fromhex(SIGNED.signature))


@pytest.mark.parametrize("field", [f.name for f in fields(Statement)])
def test_no_field_of_it_can_be_changed(field: str) -> None:
    changed: Any = {field: f"{getattr(STATEMENT, field)}."}
    flaw = flaw_of(replace(SIGNED, statement=replace(STATEMENT, **changed)))
    assert flaw is not None
    assert "does not hold" in flaw


def test_another_keys_signature_under_it_is_noticed() -> None:
    """Signed rightly, by a key that is not the one it names."""
    other = replace(STATEMENT, fingerprint=MECHANIC.owner.fingerprint)
    forged = sign_statement(
        other,
        replace(INSPECTOR, owner=replace(INSPECTOR.owner, fingerprint=other.fingerprint)),
    )
    flaw = flaw_of(forged)
    assert flaw is not None
    assert "names another key" in flaw


def test_nobody_signs_a_statement_of_somebody_else() -> None:
    with pytest.raises(ValueError, match="another person's"):
        sign_statement(STATEMENT, MECHANIC)


def test_it_is_about_this_check_and_no_other() -> None:
    assert mismatch_of(STATEMENT, CHECK) is None
    for other, what in (
        (check(ledger="f" * 16), "ledger"),
        (check(record="K7Q2-M9XA"), "record"),
        (check(stage="before"), "core"),
        (check("adjust"), "record"),
        (replace(CHECK, image=replace(CHECK.image, sha256="0" * 64)), "analysed image"),
    ):
        assert mismatch_of(STATEMENT, other) == f"Ann Lee signed for another {what}"


@pytest.mark.parametrize("remark", ["x" * 1001, "a\u202eb", "\x1b[2J", "\ud800"])
def test_a_remark_that_does_not_show_is_refused(remark: str) -> None:
    with pytest.raises(UsageError):
        checked_remark(remark)
