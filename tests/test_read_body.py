"""Bodies of entries: written, read again, and nothing else taken for one."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from typing import Any, get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigvision.records import bodies, entry
from rigvision.records.canonical import canonical, parsed
from rigvision.records.read_body import BODIES, KINDS, read_body
from rigvision.records.strict_json import plain_of

JOB = bodies.JobOpened("J-0001", "WO-7", "E-1", "DF", 3, "master", "Jo Miller", "cold")
STATEMENT = bodies.Statement(
    "rigvision.statement/1",
    ledger="0" * 16,
    record="K7Q2-M9XA",
    core_sha256="1" * 64,
    photo_sha256="2" * 64,
    image_sha256="3" * 64,
    result_sha256="4" * 64,
    role="inspector",
    decision="accepted",
    remark="",
    person="Ann Lee",
    fingerprint="5" * 32,
    signed_at="2026-11-26T14:00:00.000000Z",
)
SIGNED = bodies.CheckSigned("K7Q2-M9XA", bodies.Signed(STATEMENT, "6" * 64, "7" * 128))


def test_every_kind_of_entry_has_a_body() -> None:
    assert set(BODIES) == set(get_args(entry.Kind))
    assert set(BODIES.values()) == set(get_args(bodies.Body))
    assert all(BODIES[KINDS[body]] is body for body in BODIES.values())


@pytest.mark.parametrize("body", [JOB, SIGNED])
def test_what_was_written_is_what_is_read(body: Any) -> None:
    plain = parsed(canonical(plain_of(body)))
    assert read_body(KINDS[type(body)], plain) == body


def test_a_later_versions_fields_are_passed_over() -> None:
    assert read_body("job-opened", plain_of(JOB) | {"hangar": "2"}) == JOB


def test_an_earlier_versions_missing_fields_have_their_default() -> None:
    plain = plain_of(JOB)
    del plain["remark"]
    assert read_body("job-opened", plain) == replace(JOB, remark="")


def test_what_was_signed_has_no_room_for_more() -> None:
    """Else words could be put beside the signed ones that no signature covers."""
    plain = plain_of(SIGNED)
    plain["signed"]["statement"]["also"] = "released"
    with pytest.raises(ValueError, match="says more"):
        read_body("check-signed", plain)


@pytest.mark.parametrize(
    ("field", "value"),
    [("door", "3"), ("door", 3.5), ("door", True), ("position", "upper"), ("job", None)],
)
def test_a_wrong_value_is_named(field: str, value: object) -> None:
    with pytest.raises(ValueError, match=f"^{field}: "):
        read_body("job-opened", plain_of(JOB) | {field: value})


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=8,
)


@given(kind=st.sampled_from(sorted(BODIES)) | st.text(max_size=9), plain=json_values)
def test_anything_else_is_refused_in_words(kind: str, plain: object) -> None:
    with pytest.raises(ValueError, match=r"\w"):
        read_body(kind, plain)


@pytest.mark.parametrize("depth", [100, 300, 900, 100_000])
def test_nesting_without_end_is_refused_and_not_a_crash(depth: int) -> None:
    with suppress(ValueError):
        assert parsed(b"[" * depth + b"]" * depth)
