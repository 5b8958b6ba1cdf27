"""Zip files of one form: others read them, and every other form is refused by its name."""

from __future__ import annotations

import io
import struct
import zipfile
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigvision.records import stored_zip
from rigvision.records.stored_zip import MAX_FILES, checked_member, read_zip, write_zip

FILES = {"record.json": b"{}", "photo.jpg": b"\xff\xd8PK\x05\x06" * 9, "models/1-gauge.toml": b""}
WHOLE = write_zip(FILES)

names = st.from_regex(r"[a-z0-9][a-z0-9._-]{0,9}(/[a-z0-9][a-z0-9._-]{0,9}){0,2}", fullmatch=True)


@given(st.dictionaries(names, st.binary(max_size=60), min_size=1, max_size=5))
def test_what_was_written_is_what_is_read_here_and_by_python(files: dict[str, bytes]) -> None:
    content = write_zip(files)
    assert read_zip(content) == files
    assert write_zip(dict(reversed(files.items()))) == content
    with zipfile.ZipFile(io.BytesIO(content)) as other:
        assert other.testzip() is None
        assert {name: other.read(name) for name in other.namelist()} == files


def test_the_bytes_are_those_of_the_format() -> None:
    """By hand, field by field (APPNOTE 4.3.7, 4.3.12, 4.3.16, from memory): one file ``a`` with
    the content ``b``, whose CRC-32 is 0x71BEEFF9."""
    local = "504b0304 1400 0000 0000 0000 2100 f9efbe71 01000000 01000000 0100 0000 61 62"
    central = (
        "504b0102 1403 1400 0000 0000 0000 2100 f9efbe71 01000000 01000000 0100 0000 0000"
        "0000 0000 0000a481 00000000 61"
    )
    end = "504b0506 0000 0000 0100 0100 2f000000 20000000 0000"
    assert write_zip({"a": b"b"}).hex() == "".join((local + central + end).split())


@pytest.mark.parametrize("flip", [1, 0x80, 0xFF])
def test_every_byte_counts(flip: int) -> None:
    for at in range(len(WHOLE)):
        damaged = bytearray(WHOLE)
        damaged[at] ^= flip
        with pytest.raises(ValueError, match=r"\w"):
            read_zip(bytes(damaged))


def test_nothing_may_be_cut_off_or_put_between() -> None:
    for at in range(len(WHOLE)):
        for other in (WHOLE[:at], WHOLE[at:][1:], WHOLE[:at] + b"\0" + WHOLE[at:]):
            with pytest.raises(ValueError, match=r"\w"):
                read_zip(other)


# Hostile files, by Python's own zip writer where it makes such


def zipped(fill: Callable[[zipfile.ZipFile], None]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as file:
        fill(file)
    return out.getvalue()


def link() -> bytes:
    info = zipfile.ZipInfo("photo.jpg", (1980, 1, 1, 0, 0, 0))
    info.external_attr = 0o120777 << 16
    return zipped(lambda file: file.writestr(info, "/etc/passwd"))


def twice() -> bytes:
    """Two files of one name: which of them is read depends on the reader."""
    one, two = write_zip({"a": b"1"}), write_zip({"a": b"2"})
    return one[:32] + two[:32] + WHOLE[-22:]


def encrypted() -> bytes:
    content = bytearray(WHOLE)
    content[6] |= 1
    return bytes(content)


def zip64() -> bytes:
    content = bytearray(WHOLE)
    content[18:26] = b"\xff" * 8
    return bytes(content)


def many() -> bytes:
    parts = [write_zip({f"f{n}": b""})[: 30 + len(f"f{n}")] for n in range(MAX_FILES + 1)]
    return b"".join(parts) + WHOLE[-22:]


def bomb() -> bytes:
    def fill(file: zipfile.ZipFile) -> None:
        file.writestr("bomb", bytes(50_000_000), zipfile.ZIP_DEFLATED)

    return zipped(fill)


@pytest.mark.parametrize(
    ("content", "cause"),
    [
        (zipped(lambda f: f.writestr("../../etc/passwd", "x")), "a name in it is none"),
        (zipped(lambda f: f.writestr("/etc/passwd", "x")), "a name in it is none"),
        (zipped(lambda f: f.writestr("C:\\x", "x")), "a name in it is none"),
        (zipped(lambda f: f.writestr("a\x1b[2J", "x")), r"none that rigvision writes: 'a\\x1b"),
        (zipped(lambda f: f.writestr("A", "x")), "a name in it is none"),
        (zipped(lambda f: f.writestr("é", "x")), "a name in it is none"),
        (zipped(lambda f: f.writestr("con/", "")), "a name in it is none"),
        (zipped(lambda f: f.writestr("a" * 101, "x")), "a name in it is none"),
        (bomb(), "bomb in it is compressed"),
        (link(), "a file in it is a link"),
        (twice(), "the name a stands twice"),
        (encrypted(), "1-gauge.toml in it is encrypted"),
        (zip64(), "zip64"),
        (many(), "more than 64 files"),
        (WHOLE + b"PK", "something stands behind its end"),
        (WHOLE + WHOLE, "bytes are not as they were written"),
        (b"#!/bin/sh\n" + WHOLE, "does not begin with a file"),
        (zipped(lambda f: f.writestr(zipfile.ZipInfo("a", (2020, 1, 1, 0, 0, 0)), "x")), "bytes"),
        (zipped(lambda f: setattr(f, "comment", b"hello")), "does not begin with a file"),
        (b"", "does not begin"),
        (b"PK\x03\x04", "cut off"),
        # found by fuzzing: shorter than an end, with the sign of one in it
        (bytes.fromhex("504b0304ffff0000626e504b05064076"), "something stands behind its end"),
    ],
)
def test_a_hostile_file_is_refused_by_what_is_wrong_with_it(content: bytes, cause: str) -> None:
    with pytest.raises(ValueError, match=cause):
        read_zip(content)


def test_a_size_that_reaches_beyond_the_file_takes_no_memory() -> None:
    content = bytearray(write_zip({"a": b"b"}))
    content[18:26] = struct.pack("<2L", 2**31, 2**31)
    with pytest.raises(ValueError, match="a in it is cut off"):
        read_zip(bytes(content))


def test_limits_hold_for_writing_too(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(ValueError, match="0 files"):
        write_zip({})
    with pytest.raises(ValueError, match="65 files"):
        write_zip({f"f{n}": b"" for n in range(65)})
    monkeypatch.setattr(stored_zip, "MAX_BYTES", 9)
    with pytest.raises(ValueError, match="more than 0 MB"):
        write_zip({"a": b"0123456789"})
    with pytest.raises(ValueError, match="more than 0 MB"):
        read_zip(bytes(9 + (1 << 20) + 1))


@pytest.mark.parametrize("name", ["", ".", "..", ".hidden", "a/", "a//b", "a/../b", "a b", "a\n"])
def test_names_that_no_bundle_has(name: str) -> None:
    with pytest.raises(ValueError, match="none that rigvision writes"):
        checked_member(name)


@given(st.binary(max_size=200))
def test_whatever_follows_the_first_sign_ends_in_words(rest: bytes) -> None:
    with pytest.raises(ValueError, match=r"\w"):
        read_zip(b"PK\x03\x04" + rest)
