"""The record that leaves the house: what is in it, that it verifies alone, that nothing in it can
be changed: not by damage, not by whoever has no key, and not by whoever has the ledger's."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import jcs
import nacl.signing
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rigvision.records import bodies
from rigvision.records.bodies import CheckCorrected, CheckSigned, Exported, Noted, PersonWithdrawn
from rigvision.records.canonical import canonical, parsed
from rigvision.records.enrolment import enrol
from rigvision.records.entry import entry_hash
from rigvision.records.examine_record import Examined, examine
from rigvision.records.ledger import Ledger
from rigvision.records.ledger_key import key_path, read_key
from rigvision.records.ledger_lookup import entries_about
from rigvision.records.person_key import OpenKey
from rigvision.records.record_export import MAX_BYTES, concerning, parse_record, record_json
from rigvision.records.statement import sign_statement, statement_on
from rigvision.records.strict_json import plain_of
from tests.signing import (
    INSPECTOR,
    MECHANIC,
    NOW,
    exported,
    key_of,
    ledger_with_keys,
    record_a_check,
    signed_record,
)

Plain = dict[str, Any]


@pytest.fixture
def ledger(tmp_path: Path) -> Iterator[Ledger]:
    with ledger_with_keys(tmp_path) as ledger:
        yield ledger


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    with ledger_with_keys(tmp_path_factory.mktemp("whole")) as ledger:
        return exported(ledger, signed_record(ledger))


def look(content: bytes) -> Examined:
    return examine(parse_record(content))


def kinds(content: bytes) -> list[str]:
    return [entry.kind for entry in parse_record(content).entries]


# What is in it


def test_it_holds_what_a_reader_of_one_record_needs_and_no_more(ledger: Ledger) -> None:
    enrol(ledger, key_of("Kim Park", "inspector").owner)
    other = record_a_check(ledger)
    record = signed_record(ledger)
    with ledger.writing() as writing:
        writing.append(Exported(record, "page", "0" * 64, 1))
        writing.append(Noted(record, "remark", "seen", "Ann Lee"))
        writing.append(CheckCorrected(other, "wrong door", "Jo Miller", record))
    assert kinds(exported(ledger, record)) == [
        "ledger-opened",
        "person-enrolled",
        "person-enrolled",
        "job-opened",
        "check-recorded",
        "check-signed",
        "check-signed",
        "noted",
    ]
    assert kinds(exported(ledger, other))[-1] == "check-corrected"
    assert "person-enrolled" not in kinds(exported(ledger, other))


def test_it_says_who_measured_and_who_decided(whole: bytes) -> None:
    found = look(whole)
    assert found.faults == []
    assert [(s.person, s.decision) for s in found.statements] == [
        ("Jo Miller", "measured"),
        ("Ann Lee", "accepted"),
    ]
    assert found.standing is not None
    assert found.standing.verdict == "pass"


def test_the_mechanics_signature_may_stand_in_the_check(ledger: Ledger) -> None:
    record = record_a_check(ledger, signed=True)
    found = look(exported(ledger, record))
    assert found.faults == []
    assert [s.decision for s in found.statements] == ["measured"]


def test_a_key_withdrawn_after_it_signed_does_not_spoil_the_signature(ledger: Ledger) -> None:
    record = signed_record(ledger)
    with ledger.writing() as writing:
        writing.append(PersonWithdrawn(INSPECTOR.owner.fingerprint, "left"))
    found = look(exported(ledger, record))
    assert found.faults == []
    assert found.persons.withdrawn == {INSPECTOR.owner.fingerprint: "left"}


def test_a_correction_travels_with_it(ledger: Ledger) -> None:
    record = signed_record(ledger)
    with ledger.writing() as writing:
        writing.append(CheckCorrected(record, "wrong door", "Jo Miller"))
    found = look(exported(ledger, record))
    assert found.faults == []
    assert found.standing is not None
    assert found.standing.corrected


def test_an_unknown_record_is_no_record(ledger: Ledger) -> None:
    with pytest.raises(ValueError, match="no check K7Q2-M9XA"):
        concerning("K7Q2-M9XA", ledger.entries())


def test_it_can_be_verified_by_hand_with_other_libraries(whole: bytes) -> None:
    """As the bundle's readme says: jcs, hashlib and libsodium, and nothing of ours."""
    import hashlib
    import json

    plain = json.loads(whole)
    key = nacl.signing.VerifyKey(bytes.fromhex(plain["entries"][0]["body"]["public_key"]))
    unsigned = {name: value for name, value in plain.items() if name != "signature"}
    message = b"rigvision.record-export/1\n" + jcs.canonicalize(unsigned)
    key.verify(message, bytes.fromhex(plain["signature"]))
    for entry in plain["entries"]:
        hashed = {k: v for k, v in entry.items() if k not in ("hash", "signature")}
        text = b"rigvision.entry/1\n" + jcs.canonicalize(hashed)
        assert hashlib.sha256(text).hexdigest() == entry["hash"]


# Damage


@given(at=st.integers(0, 10**9), flip=st.integers(1, 255))
@settings(max_examples=150)
def test_no_byte_can_be_changed(whole: bytes, at: int, flip: int) -> None:
    damaged = bytearray(whole)
    damaged[at % len(whole)] ^= flip
    assert refused(bytes(damaged))


@given(data=st.data())
def test_nothing_can_be_cut_off_or_added(whole: bytes, data: st.DataObject) -> None:
    at = data.draw(st.integers(0, len(whole) - 1))
    assert refused(whole[:at])
    assert refused(whole[:at] + whole[at + 1 :])
    assert refused(whole[:at] + data.draw(st.binary(min_size=1, max_size=4)) + whole[at:])


def refused(content: bytes) -> bool:
    try:
        return bool(look(content).faults)
    except ValueError:
        return True


@given(st.binary(max_size=100))
def test_other_bytes_are_no_record(content: bytes) -> None:
    with pytest.raises(ValueError, match=r"\w"):
        parse_record(content)


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"{}",
        b"[]",
        b"null",
        b'{"schema":"rigvision.record-export/1"}',
        b"\xff" * 9,
        b"9" * 9000,
        b"[" * 9000,
        b'{"a":1,"a":2}',
    ],
)
def test_hostile_json_is_refused_in_words(content: bytes) -> None:
    with pytest.raises(ValueError, match=r"\w"):
        parse_record(content)


def test_a_huge_file_is_refused_unread() -> None:
    with pytest.raises(ValueError, match="more than 16 MB"):
        parse_record(b" " * (MAX_BYTES + 1))


# Forgery without the ledger's key: everything is hashed anew, so that only signatures tell


def forged(whole: bytes, change: Callable[[Plain], None]) -> list[str]:
    """The faults of a record in which something was changed and every hash made to fit."""
    plain = parsed(whole)
    change(plain)
    for before, entry in zip([None, *plain["entries"]], plain["entries"], strict=False):
        if before and before["sequence"] + 1 == entry["sequence"]:
            entry["previous"] = before["hash"]
        parts = ("sequence", "kind", "recorded_at", "body", "previous")
        entry["hash"] = entry_hash(*(entry[part] for part in parts))
    last = plain["entries"][-1]
    if plain["head"]["count"] == last["sequence"]:
        plain["head"]["hash"] = last["hash"]
    return look(canonical(plain)).faults


def test_the_forgers_tool_itself_changes_nothing(whole: bytes) -> None:
    assert forged(whole, lambda plain: None) == []


def set_verdict(plain: Plain) -> None:
    plain["entries"][4]["body"]["result"]["verdict"] = "adjust"


def set_door(plain: Plain) -> None:
    plain["entries"][3]["body"]["door"] = 4


def set_decision(plain: Plain) -> None:
    plain["entries"][-1]["body"]["signed"]["statement"]["decision"] = "rejected"


def drop_rejection(plain: Plain) -> None:
    del plain["entries"][-1]
    plain["head"]["count"] -= 1


def drop_inspector(plain: Plain) -> None:
    del plain["entries"][2]


def set_time(plain: Plain) -> None:
    plain["entries"][4]["recorded_at"] = "2020-01-01T00:00:00.000000Z"


def set_ledger_key(plain: Plain) -> None:
    plain["head"]["public_key"] = MECHANIC.owner.public_key


def set_record(plain: Plain) -> None:
    plain["record"] = "K7Q2-M9XA"


def set_head(plain: Plain) -> None:
    plain["head"]["count"] += 1


@pytest.mark.parametrize(
    "change",
    [
        set_verdict,
        set_door,
        set_decision,
        drop_rejection,
        drop_inspector,
        set_time,
        set_ledger_key,
        set_record,
        set_head,
    ],
)
def test_a_forger_without_the_key_is_found_out(
    whole: bytes, change: Callable[[Plain], None]
) -> None:
    faults = forged(whole, change)
    assert any("signature" in fault for fault in faults)


# Forgery with the ledger's key: it can write any entry, but sign for no person


def rewritten(ledger: Ledger, record: str, change: Callable[[Plain], None]) -> list[str]:
    """The faults of a record that whoever has the ledger's key wrote anew, all hashes and all the
    ledger's signatures being right."""
    key = read_key(key_path(ledger.path))
    plain = [plain_of(entry) for entry in entries_about(ledger, record)]
    shell = {"entries": plain}
    change(shell)
    previous = None
    for entry in shell["entries"]:
        if previous and previous["sequence"] + 1 == entry["sequence"]:
            entry["previous"] = previous["hash"]
        body = entry["body"]
        if entry["kind"] == "check-recorded":
            body["core"]["follows_hash"] = entry["previous"]
            refit(body)
        parts = ("sequence", "kind", "recorded_at", "body", "previous")
        entry["hash"] = entry_hash(*(entry[part] for part in parts))
        head = key.signed_head(ledger.identity, entry["sequence"], entry["hash"])
        entry["signature"] = head.signature
        previous = entry
    wrapped = {"schema": "rigvision.record-export/1", "record": record, "head": plain_of(head)}
    unsigned = wrapped | {"entries": shell["entries"]}
    message = b"rigvision.record-export/1\n" + canonical(unsigned)
    signature = key.sign(message).hex()
    return look(canonical(unsigned | {"signature": signature})).faults


def refit(body: Plain) -> None:
    """The hashes inside a check that its writer would make to fit."""
    from rigvision.records.read_body import core_sha256, result_sha256

    body["core"]["result_sha256"] = result_sha256(body["result"])
    body["core_sha256"] = core_sha256(body["core"])


def test_the_rewriters_tool_itself_changes_nothing(ledger: Ledger) -> None:
    record = signed_record(ledger)
    assert rewritten(ledger, record, lambda plain: None) == []


def test_a_verdict_that_was_signed_cannot_be_rewritten(ledger: Ledger) -> None:
    record = signed_record(ledger)
    faults = rewritten(ledger, record, set_verdict)
    assert any("Jo Miller signed for another" in fault for fault in faults)
    assert any("Ann Lee signed for another" in fault for fault in faults)


def test_nor_can_a_persons_decision(ledger: Ledger) -> None:
    record = signed_record(ledger)
    faults = rewritten(ledger, record, set_decision)
    assert faults == ["entry 7: the signature of Ann Lee does not hold"]


def test_nor_can_another_key_be_put_in_a_persons_place(ledger: Ledger) -> None:
    record = signed_record(ledger)

    def swap(plain: Plain) -> None:
        other = key_of("Eve Stone", "inspector").owner
        plain["entries"][2]["body"] |= {
            "public_key": other.public_key,
            "fingerprint": other.fingerprint,
        }

    assert any("not enrolled" in fault for fault in rewritten(ledger, record, swap))


# Entries that a faulty or malicious program appended by the ledger's own means


def signing(ledger: Ledger, record: str, key: OpenKey, decision: bodies.Decision) -> None:
    """A signature that holds, entered without asking the rule."""
    entry = next(e for e in ledger.entries_of(record) if e.kind == "check-recorded")
    from rigvision.records.entry_body import entry_body

    check = entry_body(entry, bodies.CheckRecorded)
    statement = statement_on(check, key.owner, decision, "why", NOW)
    with ledger.writing() as writing:
        writing.append(CheckSigned(record, sign_statement(statement, key)))


def test_signatures_that_the_rule_forbids_are_faults(ledger: Ledger) -> None:
    second = key_of("JO MILLER", "inspector")
    enrol(ledger, second.owner)
    record = record_a_check(ledger, signed=True)
    signing(ledger, record, second, "accepted")
    assert any("cannot inspect it" in fault for fault in look(exported(ledger, record)).faults)


@pytest.mark.parametrize(
    ("key", "decision", "cause"),
    [
        (INSPECTOR, "accepted", "Nobody has signed yet"),
        (MECHANIC, "accepted", "enrolled as mechanic"),
        (key_of("Eve Stone", "mechanic"), "measured", "not enrolled"),
    ],
)
def test_and_so_are_those_of_the_wrong_person(
    ledger: Ledger, key: OpenKey, decision: bodies.Decision, cause: str
) -> None:
    record = record_a_check(ledger)
    signing(ledger, record, key, decision)
    assert any(cause in fault for fault in look(exported(ledger, record)).faults)


def test_a_second_decision_is_a_fault(ledger: Ledger) -> None:
    record = signed_record(ledger)
    signing(ledger, record, INSPECTOR, "rejected")
    faults = look(exported(ledger, record)).faults
    assert any("was accepted by Ann Lee already" in fault for fault in faults)


def test_a_check_whose_parts_do_not_fit_is_a_fault(ledger: Ledger) -> None:
    from tests.signing import check

    with ledger.writing() as writing:
        body = check(ledger=ledger.identity, follows_count=1)
        writing.append(replace(body, core_sha256="0" * 64))
    record = body.core.record
    faults = " ".join(look(exported(ledger, record)).faults)
    for cause in ("another core", "does not follow", "another id"):
        assert cause in faults


def test_a_record_of_another_ledgers_head_is_a_fault(ledger: Ledger, tmp_path: Path) -> None:
    record = signed_record(ledger)
    (tmp_path / "b").mkdir()
    with ledger_with_keys(tmp_path / "b") as other:
        content = record_json(record, other.head(), entries_about(ledger, record), other.signature)
    faults = " ".join(look(content).faults)
    assert "opens another ledger" in faults
    assert "its key is not the one that signs" in faults
