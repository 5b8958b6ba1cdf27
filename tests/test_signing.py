"""Signing in a ledger: one more entry, the rule asked, what is signed looked at."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from rigvision.ground.errors import RigvisionError, SignOffError
from rigvision.records.bodies import CheckCorrected, CheckRecorded, PersonWithdrawn
from rigvision.records.enrolment import enrol, persons_in, withdraw
from rigvision.records.ledger import Ledger
from rigvision.records.read_body import core_sha256, read_body
from rigvision.records.signing import measuring, sign_record
from rigvision.records.standing import standing_of
from rigvision.records.statement import flaw_of
from rigvision.records.strict_json import plain_of
from tests.signing import (
    INSPECTOR,
    MECHANIC,
    check,
    key_of,
    ledger_with_keys,
    record_a_check,
)


@pytest.fixture
def ledger(tmp_path: Path) -> Iterator[Ledger]:
    with ledger_with_keys(tmp_path) as ledger:
        yield ledger


def standing(ledger: Ledger, record: str) -> tuple[bool, bool]:
    bodies = (read_body(e.kind, e.body) for e in ledger.entries_of(record))
    found = standing_of(record, bodies)
    return found.measured is not None, found.decided is not None


def test_mechanic_then_inspector(ledger: Ledger) -> None:
    record = record_a_check(ledger)
    assert standing(ledger, record) == (False, False)
    sign_record(ledger, record, MECHANIC, "measured")
    entry = sign_record(ledger, record, INSPECTOR, "accepted", "looked at on site")
    assert standing(ledger, record) == (True, True)
    body = read_body(entry.kind, entry.body)
    assert flaw_of(body.signed) is None  # type: ignore[union-attr]


def test_the_mechanics_signature_may_come_with_the_check(ledger: Ledger) -> None:
    record = record_a_check(ledger, signed=True)
    body = read_body("check-recorded", next(ledger.entries_of(record)).body)
    assert isinstance(body, CheckRecorded)
    assert body.measured is not None
    assert flaw_of(body.measured) is None
    sign_record(ledger, record, INSPECTOR, "accepted")
    assert standing(ledger, record) == (True, True)


def test_what_the_rule_forbids_adds_nothing(ledger: Ledger) -> None:
    record = record_a_check(ledger)
    count = ledger.head().count
    with pytest.raises(SignOffError, match="Nobody has signed yet"):
        sign_record(ledger, record, INSPECTOR, "accepted")
    with pytest.raises(SignOffError, match="not enrolled"):
        sign_record(ledger, record, key_of("Eve Stone", "mechanic"), "measured")
    assert ledger.head().count == count


def test_a_withdrawn_key_or_a_corrected_check(ledger: Ledger) -> None:
    record = record_a_check(ledger, signed=True)
    withdraw(ledger, INSPECTOR.owner.fingerprint, "lost")
    with pytest.raises(SignOffError, match="withdrawn: lost"):
        sign_record(ledger, record, INSPECTOR, "accepted")
    other = key_of("Kim Park", "inspector")
    enrol(ledger, other.owner)
    with ledger.writing() as writing:
        writing.append(CheckCorrected(record, "wrong door", "Jo Miller"))
    with pytest.raises(SignOffError, match="was corrected"):
        sign_record(ledger, record, other, "accepted")


def test_an_inspectors_key_cannot_sign_while_recording(ledger: Ledger) -> None:
    sign = measuring(INSPECTOR, persons_in(ledger))
    body = check()
    with pytest.raises(SignOffError, match="enrolled as inspector"):
        sign(body.core, body.core_sha256, body.image)


@pytest.mark.parametrize("part", ["photo", "image"])
def test_nobody_signs_for_evidence_that_was_changed(ledger: Ledger, part: str) -> None:
    record = record_a_check(ledger)
    body = next(ledger.entries_of(record)).body
    path = ledger.evidence.path((body | body["core"])[part]["sha256"])
    path.chmod(0o600)
    path.write_bytes(b"another")
    with pytest.raises(RigvisionError, match="was changed or is torn"):
        sign_record(ledger, record, MECHANIC, "measured")


def test_nobody_signs_for_a_core_that_is_not_its_hash(ledger: Ledger) -> None:
    body = check(ledger=ledger.identity)
    with ledger.writing() as writing:
        writing.append(replace(body, core_sha256=core_sha256({"core": plain_of(body.core)})))
    with pytest.raises(SignOffError, match="its core has another hash"):
        sign_record(ledger, body.core.record, MECHANIC, "measured")


def test_an_unknown_record_is_said(ledger: Ledger) -> None:
    with pytest.raises(SignOffError, match="no record K7Q2-M9XA"):
        sign_record(ledger, "K7Q2-M9XA", MECHANIC, "measured")


def test_a_ledger_with_a_wrong_enrolment_is_not_signed_in(ledger: Ledger) -> None:
    record = record_a_check(ledger)
    with ledger.writing() as writing:
        writing.append(PersonWithdrawn("00" * 16, "never was"))
    with pytest.raises(RigvisionError, match=r"Entry 6 of .* not enrolled"):
        sign_record(ledger, record, MECHANIC, "measured")
