"""People's keys: made once, opened by one passphrase, every change noticed."""

from __future__ import annotations

import json
import os
import stat
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigvision.ground.errors import PersonKeyError, UsageError
from rigvision.records.canonical import canonical, parsed
from rigvision.records.passphrase import weakness
from rigvision.records.person import checked_name, same_person
from rigvision.records.person_key import (
    LEAST_COST,
    KeyFile,
    new_key,
    parse_key,
    read_key,
    readable_by_others,
)
from rigvision.records.signature import fingerprint_of, holds, signed

PHRASE = "copper anvil ninety fjord"
NOW = "2026-11-26T14:00:00.000000Z"


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("keys") / "miller.key.json"
    new_key(path, "Jo Miller", "mechanic", PHRASE, NOW, cost=LEAST_COST)
    return path


@pytest.fixture(scope="module")
def content(path: Path) -> bytes:
    return path.read_bytes()


def test_it_opens_with_its_passphrase_and_signs_for_its_public_key(path: Path) -> None:
    key = read_key(path).opened(PHRASE)
    assert (key.owner.person, key.owner.role, key.owner.created_at) == (
        "Jo Miller",
        "mechanic",
        NOW,
    )
    assert holds(key.owner.public_key, signed(key.private_key, b"text"), b"text")
    assert key.owner.fingerprint == fingerprint_of(key.owner.public_key)


def test_the_secret_stands_nowhere_in_the_file(path: Path, content: bytes) -> None:
    seed = read_key(path).opened(PHRASE).private_key.private_bytes_raw()
    assert seed not in content
    assert seed.hex().encode() not in content


def test_another_passphrase_is_called_that(path: Path) -> None:
    with pytest.raises(PersonKeyError, match="does not open miller") as caught:
        read_key(path).opened(PHRASE.upper())
    assert caught.value.code == "wrong-passphrase"


def test_one_passphrase_however_the_keyboard_writes_it(tmp_path: Path) -> None:
    """An e with an accent is one sign or two: Unicode's normal form makes them one."""
    new_key(tmp_path / "k", "Jo", "mechanic", "caf\u00e9 anvil ninety", NOW, cost=LEAST_COST)
    assert read_key(tmp_path / "k").opened("cafe\u0301 anvil ninety")


@given(at=st.integers(0, 10**6), flip=st.integers(1, 255))
def test_every_changed_byte_is_noticed_without_the_passphrase(
    content: bytes, at: int, flip: int
) -> None:
    damaged = bytearray(content)
    damaged[at % len(content)] ^= flip
    with pytest.raises(PersonKeyError) as caught:
        parse_key(bytes(damaged))
    assert caught.value.code == "key-damaged"


def test_a_name_put_into_somebody_elses_file_is_noticed(content: bytes) -> None:
    plain = parsed(content)
    for field, value in (("person", "Ann Lee"), ("role", "inspector"), ("kdf_cost", 15)):
        with pytest.raises(PersonKeyError, match="not as its key signed it"):
            parse_key(canonical(plain | {field: value}))


def test_even_its_owner_cannot_make_it_open_under_another_name(content: bytes) -> None:
    """The fields in clear are part of what the passphrase seals, not only signed."""
    plain = parsed(content) | {"person": "Ann Lee"}
    private_key = parse_key(content).opened(PHRASE).private_key
    del plain["signature"]
    signature = signed(private_key, b"rigvision.person-key/1\n" + canonical(plain))
    forged = parse_key(canonical(plain | {"signature": signature}))
    with pytest.raises(PersonKeyError, match="does not open"):
        forged.opened(PHRASE)


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("kdf_cost", 40),
        ("kdf_cost", 2),
        ("kdf_cost", -1),
        ("kdf_salt", "zz"),
        ("sealed", "00" * 4),
        ("public_key", "01" + "00" * 31),
        ("schema", "rigvision.person-key/9"),
        ("cipher", "none"),
        ("extra", "1"),
    ],
)
def test_a_hostile_file_costs_no_time_and_no_memory(
    content: bytes, field: str, value: object
) -> None:
    with pytest.raises(PersonKeyError, match="no key file"):
        parse_key(canonical(parsed(content) | {field: value}))


@given(st.binary(max_size=200) | st.text(max_size=50).map(lambda t: json.dumps(t).encode()))
def test_anything_else_is_refused_in_a_sentence(data: bytes) -> None:
    with pytest.raises(PersonKeyError, match="no key file of rigvision"):
        parse_key(data)


def test_a_key_is_never_overwritten(path: Path, content: bytes) -> None:
    with pytest.raises(PersonKeyError, match="is there already"):
        new_key(path, "Ann Lee", "inspector", PHRASE, NOW, cost=LEAST_COST)
    assert path.read_bytes() == content


def test_not_even_through_a_link(tmp_path: Path) -> None:
    (tmp_path / "link").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(PersonKeyError, match="is there already"):
        new_key(tmp_path / "link", "Jo", "mechanic", PHRASE, NOW, cost=LEAST_COST)
    assert not (tmp_path / "elsewhere").exists()


@pytest.mark.skipif(os.name != "posix", reason="only POSIX has such rights")
def test_only_its_owner_may_read_it(path: Path, tmp_path: Path) -> None:
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert not readable_by_others(path)
    (tmp_path / "open").write_bytes(path.read_bytes())
    (tmp_path / "open").chmod(0o640)
    assert readable_by_others(tmp_path / "open")


@pytest.mark.parametrize(
    ("make", "cause"),
    [
        (lambda p: p.mkdir(), "it is a folder"),
        (lambda p: os.mkfifo(p), "not an ordinary file"),
        (lambda p: p.write_bytes(b"{" * 20_000), "larger than 16 KiB"),
        (lambda p: None, "No such file"),
    ],
)
def test_what_cannot_be_read_is_said(tmp_path: Path, make: object, cause: str) -> None:
    make(tmp_path / "key")  # type: ignore[operator]
    with pytest.raises(PersonKeyError, match=cause):
        read_key(tmp_path / "key")


def test_a_missing_folder_is_said(tmp_path: Path) -> None:
    with pytest.raises(PersonKeyError, match="cannot be made"):
        new_key(tmp_path / "no" / "key", "Jo", "mechanic", PHRASE, NOW, cost=LEAST_COST)


def test_what_is_shown_of_a_key_holds_no_secret(path: Path) -> None:
    found = read_key(path)
    assert isinstance(found, KeyFile)
    assert not hasattr(found.owner, "private_key")


# Passphrases


@pytest.mark.parametrize(
    ("phrase", "cause"),
    [
        ("", "is empty"),
        ("   \t         ", "is empty"),
        ("short words", "fewer than 12"),
        ("aaaaaaaaaaaaaaaa", "repeats itself"),
        ("abcabcabcabcabc", "repeats itself"),
        ("passwordpppppp", "repeats itself"),
        ("123456789012345", "counts up"),
        ("abcdefghijklmnop", "counts up"),
        ("Jo Miller 12", "person's name"),
        ("MILLER, JO Jo Miller", "person's name"),
        ("Miller flies kites at noon", None),
        ("x" * 1001, "more than 1000"),
    ],
)
def test_a_weak_passphrase_is_refused_by_its_cause(phrase: str, cause: str | None) -> None:
    found = weakness(phrase, "Jo Miller")
    assert (found is None) if cause is None else (found is not None and cause in found)


@given(
    st.lists(st.sampled_from(["copper", "anvil", "ninety", "fjord", "lamp", "quiz"]), min_size=5)
)
def test_a_passphrase_is_judged_without_a_crash(words: list[str]) -> None:
    found = weakness(" ".join(words), "Jo Miller")
    assert found is None or len(set(words)) < 4


def test_a_weak_passphrase_makes_no_file(tmp_path: Path) -> None:
    with pytest.raises(PersonKeyError, match="fewer than 12"):
        new_key(tmp_path / "key", "Jo", "mechanic", "secret", NOW)
    assert not (tmp_path / "key").exists()


# Names


@pytest.mark.parametrize(
    ("name", "cause"),
    [
        ("", "no letter"),
        (" .- ", "no letter"),
        ("x" * 81, "more than 80"),
        ("Jo\u202eMiller", "do not show"),
        ("Jo \x1b[2J Miller", "do not show"),
        ("Jo M\u0456ller", "several alphabets"),
    ],
)
def test_a_name_that_deceives_is_refused(name: str, cause: str) -> None:
    with pytest.raises(UsageError, match=cause):
        checked_name(name)


def test_names_are_kept_as_they_are_written_but_for_spaces() -> None:
    assert checked_name("  Jörg   Müller ") == "Jörg Müller"
    assert checked_name("Юрий Иванов") == "Юрий Иванов"
    assert checked_name("山田 太郎") == "山田 太郎"


@pytest.mark.parametrize(
    "other",
    ["jo miller", "JO MILLER", "Jo  Miller", "J\u00f3 Miller", "\uff2a\uff4f Miller"],
)
def test_one_person_however_the_name_is_written(other: str) -> None:
    assert same_person("Jo Miller", other)


def test_different_people_stay_different() -> None:
    assert not same_person("Jo Miller", "Ann Lee")
    assert not same_person("Jo Miller", "Jo Miller 2")
