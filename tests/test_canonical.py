"""Hashes and the canonical form of JSON against published values and a second program."""

from __future__ import annotations

import json
import struct
from typing import Any

import jcs
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rigvision.records.canonical import canonical, digest, parsed, read, sha256_of


@pytest.mark.parametrize(
    ("content", "hashed"),
    [
        # FIPS 180-4, the examples of SHA-256.
        (b"", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"),
        (b"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
        (
            b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
            "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
        ),
        (b"a" * 1_000_000, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"),
    ],
)
def test_sha_256_gives_the_published_values(content: bytes, hashed: str) -> None:
    assert sha256_of(content) == hashed


def test_the_worked_example_of_rfc_8785() -> None:
    """Sections 3.2.2 to 3.2.4; also values.json of the RFC author's test data."""
    written = (
        r'{"numbers":[333333333.33333329,1E30,4.50,2e-3,0.000000000000000000000000001],'
        r'"string":"\u20ac$\u000F\u000aA'
        r"'"
        r'\u0042\u0022\u005c\\\"\/","literals":[null,true,false]}'
    )
    expected = (
        '{"literals":[null,true,false],'
        '"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
        '"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'
    )
    assert canonical(json.loads(written)) == expected.encode()
    # Computed from the bytes that section 3.2.4 prints.
    assert (
        sha256_of(expected.encode())
        == "2d5e01a318d0f0879ab568c4be289c8b1f64ef8921a53c6277d5e069978baacb"
    )


def test_names_are_sorted_by_utf_16_units() -> None:
    """RFC 8785, 3.2.3: by code points the last two would change places."""
    order = ["\r", "1", "\x80", "ö", "€", "\U0001f600", "\ufb33"]
    keys = [key for key, _ in json.loads(canonical(dict.fromkeys(order[::-1], 0))).items()]
    assert keys == order


@pytest.mark.parametrize(
    ("bits", "text"),
    [
        # RFC 8785, appendix B.
        ("8000000000000000", "0"),
        ("0000000000000001", "5e-324"),
        ("7fefffffffffffff", "1.7976931348623157e+308"),
        ("4340000000000000", "9007199254740992"),
        ("4430000000000000", "295147905179352830000"),
        ("44b52d02c7e14af5", "9.999999999999997e+22"),
        ("44b52d02c7e14af6", "1e+23"),
        ("44b52d02c7e14af7", "1.0000000000000001e+23"),
        ("444b1ae4d6e2ef4e", "999999999999999700000"),
        ("444b1ae4d6e2ef50", "1e+21"),
        ("3eb0c6f7a0b5ed8c", "9.999999999999997e-7"),
        ("3eb0c6f7a0b5ed8d", "0.000001"),
        ("41b3de4355555553", "333333333.3333332"),
        ("41b3de4355555555", "333333333.3333333"),
        ("becbf647612f3696", "-0.0000033333333333333333"),
        ("43143ff3c1cb0959", "1424953923781206.2"),
    ],
)
def test_numbers_are_written_as_rfc_8785_has_them(bits: str, text: str) -> None:
    (number,) = struct.unpack(">d", bytes.fromhex(bits))
    assert canonical(number) == text.encode()


@pytest.mark.parametrize(
    "plain",
    [
        float("nan"),
        float("inf"),
        -float("inf"),
        2**53 + 1,
        "\ud800",
        {1: 2},
        {"a": b""},
        {"\udc00"},
    ],
    ids=repr,
)
def test_what_has_no_canonical_form_is_refused(plain: object) -> None:
    with pytest.raises(ValueError, match="canonical"):
        canonical(plain)


_TEXT = st.text(st.characters(exclude_categories=("Cs",)), max_size=12)
_JSON = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**53) + 1, 2**53 - 1)
    | st.floats(allow_nan=False, allow_infinity=False)
    | _TEXT,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(_TEXT, inner, max_size=4),
    max_leaves=20,
)


@settings(max_examples=300, deadline=None)
@given(_JSON)
def test_a_second_canonicaliser_agrees(plain: object) -> None:
    content = canonical(plain)
    assert content == jcs.canonicalize(plain)
    assert canonical(read(content.decode())) == content
    assert parsed(content) == plain


@pytest.mark.parametrize(
    "content",
    [b'{"a": 1}', b'{"b":1,"a":2}', b"1.0", b'"\\u0041"', b'{"a":1,"a":1}', b"[1] ", b"\xff"],
)
def test_another_text_for_the_same_value_is_refused(content: bytes) -> None:
    with pytest.raises(ValueError, match=r"canonical|utf-8"):
        parsed(content)


def test_whole_numbers_beyond_2_53_are_doubles() -> None:
    """Where JSON's reader would make an exact integer of them, they had no canonical form."""
    for number in (2.0**53, -(2.0**53), 295147905179352830000.0):
        again = parsed(canonical(number))
        assert (again, type(again)) == (number, float)
    assert type(parsed(b"9007199254740991")) is int
    with pytest.raises(ValueError, match="canonical"):
        parsed(b"9007199254740993")  # no double is that
    with pytest.raises(ValueError, match="canonical"):
        parsed(b"1" * 5000)


def test_endless_nesting_is_refused() -> None:
    with pytest.raises(ValueError, match="nested"):
        parsed(b"[" * 100_000 + b"]" * 100_000)


@pytest.mark.parametrize(
    ("content", "same"),
    [
        (b"1e-7", True),
        (b"1e-07", False),
        (b"0.00001", True),
        (b"1e-05", False),
        (b"1e+21", True),
        (b"1e21", False),
        (b"0", True),
        (b"-0", False),
        (b"-0.0", False),
        (b"2.50", False),
        (b"NaN", False),
        (b"[Infinity]", False),
        ('{"\U0001f600":1,"\ufb33":2}'.encode(), True),
        ('{"\ufb33":2,"\U0001f600":1}'.encode(), False),
        (b'"\x7f"', True),
        (b'"\\u007f"', False),
        (b'"\\u000F"', False),
        (b'"\\u000f"', True),
        (b'"\\/"', False),
        (b'"\\ud800"', False),
    ],
)
def test_only_one_text_stands_for_a_value(content: bytes, same: bool) -> None:
    """By RFC 8785's rules, where a quick look could take one for the other."""
    if same:
        assert canonical(parsed(content)) == content
    else:
        with pytest.raises(ValueError, match="canonical"):
            parsed(content)


@settings(max_examples=300, deadline=None)
@given(_JSON, st.randoms())
def test_what_json_writes_is_read_only_where_it_is_canonical(plain: object, random: Any) -> None:
    """Texts as other programs write them: in another order, with other numbers and escapes."""
    text = json.dumps(
        plain,
        sort_keys=random.random() < 0.7,
        separators=(",", ":") if random.random() < 0.8 else None,
        ensure_ascii=random.random() < 0.3,
    )
    if text.encode() == jcs.canonicalize(plain):
        assert parsed(text.encode()) == plain
    else:
        with pytest.raises(ValueError, match="canonical"):
            parsed(text.encode())


def test_hashes_of_two_domains_differ() -> None:
    assert digest("one", {"a": 1}) == sha256_of(b'one\n{"a":1}')
    assert digest("one", {"a": 1}) != digest("two", {"a": 1})
