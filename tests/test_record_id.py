"""Record ids: what they hang on, how they are typed."""

from __future__ import annotations

import hashlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigvision.ground.errors import UsageError
from rigvision.records.record_id import ALPHABET, is_record_id, parse_record_id, record_id

FACTS = ("0123456789abcdef", "J-0001", "a" * 64, "b" * 64, "2026-11-26T14:00:00.000000Z")


def test_it_is_the_first_forty_bits_of_a_hash_that_can_be_worked_out_by_hand() -> None:
    text = (
        b'rigvision.record-id/1\n{"job":"J-0001","ledger":"0123456789abcdef","photo_sha256":"'
        + b"a" * 64
        + b'","recorded_at":"2026-11-26T14:00:00.000000Z","result_sha256":"'
        + b"b" * 64
        + b'"}'
    )
    bits = "".join(f"{byte:08b}" for byte in hashlib.sha256(text).digest()[:5])
    digits = "".join(ALPHABET[int(bits[at : at + 5], 2)] for at in range(0, 40, 5))
    assert record_id(*FACTS) == f"{digits[:4]}-{digits[4:]}"


@pytest.mark.parametrize("at", range(5))
def test_everything_in_it_counts(at: int) -> None:
    changed = [*FACTS]
    changed[at] += "0"
    assert record_id(*changed) != record_id(*FACTS)


def test_crockfords_alphabet_leaves_out_what_is_misread() -> None:
    assert len(set(ALPHABET)) == 32
    assert not set("ILOU") & set(ALPHABET)


@given(st.text(ALPHABET, min_size=8, max_size=8))
def test_an_id_is_understood_however_it_is_typed(digits: str) -> None:
    shown = f"{digits[:4]}-{digits[4:]}"
    assert is_record_id(shown)
    for typed in (shown, digits, shown.lower(), f" {digits[:4]} {digits[4:]} "):
        assert parse_record_id(typed) == shown
    assert parse_record_id(shown.replace("0", "o").replace("1", "l")) == shown


@pytest.mark.parametrize("text", ["", "K7Q2-M9X", "K7Q2-M9XAA", "K7Q2-M9XU", "K7Q2/M9XA", "É" * 8])
def test_what_is_no_id_is_refused(text: str) -> None:
    assert not is_record_id(text)
    with pytest.raises(UsageError, match="eight letters and digits"):
        parse_record_id(text)


def test_what_is_stored_has_one_form() -> None:
    assert is_record_id("K7Q2-M9XA")
    assert not any(map(is_record_id, ("K7Q2M9XA", "k7q2-m9xa", "K7Q2-M9XA ", "K7Q2-M9X-")))
