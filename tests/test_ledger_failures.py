"""What can go wrong while recording: each is a sentence, and what was recorded stays whole."""

from __future__ import annotations

import errno
import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from recorded.invented import begun, job, record_check, result

from rigvision.records import file_system, head_mark, safe_file
from rigvision.records.evidence_store import evidence_folder
from rigvision.records.head_mark import mark_path
from rigvision.records.ledger import Ledger
from rigvision.records.ledger_check import check_ledger
from rigvision.records.ledger_error import LedgerError
from rigvision.records.ledger_key import key_path


@pytest.fixture
def ledger(tmp_path: Path) -> Iterator[Ledger]:
    with Ledger.create(tmp_path / "ledger.sqlite3") as ledger:
        begun(ledger)
        yield ledger


def failing(ledger: Ledger, record: str = "AAAAAAAA") -> LedgerError:
    """Why a check cannot be recorded; afterwards the ledger holds what it held."""
    before = ledger.head()
    with pytest.raises(LedgerError) as caught:
        record_check(ledger, record, figures=result(remark="x" * 50_000))
    assert ledger.head() == before
    assert check_ledger(ledger.path).intact
    assert caught.value.text.endswith(".")
    return caught.value


def assert_goes_on(ledger: Ledger) -> None:
    record_check(ledger, "ZZZZZZZZ")
    assert check_ledger(ledger.path).intact


def test_another_program_that_does_not_let_go(ledger: Ledger) -> None:
    ledger.connection.execute("PRAGMA busy_timeout = 50")
    with closing(sqlite3.connect(ledger.path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        found = failing(ledger)
        other.execute("ROLLBACK")
    assert found.code == "ledger-busy"
    assert "another program" in found.text
    assert_goes_on(ledger)


def test_a_disk_that_is_full_for_the_ledger(ledger: Ledger) -> None:
    (pages,) = ledger.connection.execute("PRAGMA page_count").fetchone()
    ledger.connection.execute(f"PRAGMA max_page_count = {pages}")
    found = failing(ledger)
    assert found.code == "disk-full"
    assert "no room left" in found.text
    ledger.connection.execute("PRAGMA max_page_count = 1000000")
    assert_goes_on(ledger)


@pytest.mark.parametrize("moment", ["write", "sync", "name"])
def test_a_disk_that_is_full_for_the_evidence(
    ledger: Ledger, monkeypatch: pytest.MonkeyPatch, moment: str
) -> None:
    """Nothing half lies there afterwards."""

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as patch:
        called = {"write": "open", "sync": "os.fsync", "name": "os.replace"}[moment]
        if moment == "write":
            patch.setattr(safe_file, "open", full, raising=False)
        else:
            patch.setattr(safe_file.os, called.removeprefix("os."), full)
        assert failing(ledger).code == "disk-full"
    assert not [p for p in evidence_folder(ledger.path).rglob("*") if p.is_file()]
    assert_goes_on(ledger)


@pytest.mark.parametrize(
    ("number", "code"),
    [
        (errno.EACCES, "ledger-read-only"),
        (errno.EROFS, "ledger-read-only"),
        (errno.EIO, "ledger-failed"),
    ],
)
def test_a_folder_that_takes_no_files(
    ledger: Ledger, monkeypatch: pytest.MonkeyPatch, number: int, code: str
) -> None:
    def refused(*_: object, **__: object) -> None:
        raise OSError(number, os.strerror(number), "/mnt/\x1b[31mrigs")

    with monkeypatch.context() as patch:
        patch.setattr(safe_file.tempfile, "mkstemp", refused)
        found = failing(ledger)
    assert found.code == code
    assert "/mnt/\ufffd[31mrigs" in found.text  # shown, but not obeyed
    assert_goes_on(ledger)


def test_a_ledger_that_can_only_be_read(ledger: Ledger) -> None:
    with Ledger.open(ledger.path, read_only=True) as reader:
        found = failing(reader)
    assert found.code == "ledger-read-only"


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_without_the_right_to_write(tmp_path: Path) -> None:
    folder = tmp_path / "shut"
    folder.mkdir(mode=0o555)
    with pytest.raises(LedgerError) as caught:
        Ledger.create(folder / "ledger.sqlite3")
    assert caught.value.code == "ledger-read-only"


def test_a_name_that_is_taken(ledger: Ledger) -> None:
    """Jobs' names are looked up without regard to capitals, so they must differ in more."""
    before = ledger.head()
    with pytest.raises(LedgerError) as caught, ledger.writing() as writing:
        writing.append(job("j-0001"))
    assert caught.value.code == "ledger-conflict"
    assert ledger.head() == before
    assert_goes_on(ledger)


def test_a_note_of_the_head_that_cannot_be_written_fails_nothing(
    ledger: Ledger, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By then the entry is on the disk: to say that it failed would be wrong."""

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    before = mark_path(ledger.path).read_bytes()
    with monkeypatch.context() as patch:
        patch.setattr(head_mark.os, "replace", full)
        with ledger.writing() as writing:
            writing.append(job("J-0002"))
    assert ledger.head().count == 5
    assert mark_path(ledger.path).read_bytes() == before
    assert not list(ledger.path.parent.glob(".*"))
    assert check_ledger(ledger.path).intact


def test_a_key_that_is_a_folder(ledger: Ledger) -> None:
    key_path(ledger.path).unlink()
    key_path(ledger.path).mkdir()
    with (
        Ledger.open(ledger.path) as again,
        pytest.raises(LedgerError, match="it is a folder"),
        again.writing(),
    ):
        pass


@pytest.mark.parametrize("kept", [100, 4096, 5000, 20_000])
def test_a_file_that_was_cut_off_is_said(ledger: Ledger, kept: int) -> None:
    for number in range(20):
        record_check(ledger, f"AAAAAA{number:02d}")
    path = ledger.path
    ledger.close()
    path.write_bytes(path.read_bytes()[:kept])
    assert _damage(path) in ("ledger-damaged", "no-ledger", "file-damaged")


def _damage(path: Path) -> str | None:
    try:
        found = check_ledger(path).first_bad
    except LedgerError as error:
        return error.code
    return found.code if found else None


def test_a_network_is_doubted(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    place = tmp_path / "not yet there" / "ledger.sqlite3"
    assert file_system.network_doubt(place) is None
    monkeypatch.setattr(file_system, "file_system_of", lambda _: "cifs")
    said = file_system.network_doubt(place)
    assert said is not None
    assert "on a network (cifs)" in said


def test_damaged_text_in_sqlites_own_tables(ledger: Ledger) -> None:
    """SQLite names it in its message, which Python then cannot read."""
    path = ledger.path
    ledger.close()
    content = path.read_bytes()
    path.write_bytes(content.replace(b"CREATE TRIGGER", b"CREATE TR\xb0GGER", 1))
    assert _damage(path) in ("ledger-damaged", "file-damaged")
    with pytest.raises(LedgerError) as caught:
        Ledger.open(path)
    assert caught.value.code == "ledger-damaged"
