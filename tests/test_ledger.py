"""The ledger: entries are chained, signed, kept whole or not at all, and only ever added to."""

from __future__ import annotations

import os
import sqlite3
import stat
from pathlib import Path

import nacl.signing
import pytest
from recorded.invented import INSPECTOR, begun, job, record_check, result, sign_check

from rigvision.records import ledger as ledger_module
from rigvision.records.bodies import CheckCorrected, JobClosed, Noted, PersonWithdrawn
from rigvision.records.canonical import canonical, sha256_of
from rigvision.records.entry import NOTHING_BEFORE
from rigvision.records.ledger import Ledger
from rigvision.records.ledger_error import LedgerError
from rigvision.records.ledger_key import head_holds, key_path
from rigvision.records.schema import INDEX_TABLES


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "kept" / "ledger.sqlite3"


def test_a_new_ledger_opens_with_its_own_key_and_name(path: Path) -> None:
    with Ledger.create(path) as ledger:
        first = ledger.entry(1)
        assert first is not None
        assert first.kind == "ledger-opened"
        assert first.previous == NOTHING_BEFORE
        assert first.body["ledger"] == ledger.identity
        assert len(bytes.fromhex(ledger.identity)) == 8
        assert ledger.head().count == 1
    if os.name == "posix":
        assert stat.S_IMODE(key_path(path).stat().st_mode) == 0o600
    assert sorted(p.name for p in path.parent.iterdir()) == [path.name, key_path(path).name]


def test_each_entry_holds_the_hash_of_the_one_before(path: Path) -> None:
    """By hand: SHA-256 over the domain, a line feed and the canonical form."""
    with Ledger.create(path) as ledger:
        with ledger.writing() as writing:
            writing.append(job())
            writing.append(JobClosed("J-0001", "M. Ross"))
        opened, second, third = ledger.entries()
    for before, entry in ((opened, second), (second, third)):
        assert entry.previous == before.hash
        plain = {
            "sequence": entry.sequence,
            "kind": entry.kind,
            "recorded_at": entry.recorded_at,
            "body": entry.body,
            "previous": entry.previous,
        }
        assert entry.hash == sha256_of(b"rigvision.entry/1\n" + canonical(plain))
    assert second.body["job"] == "J-0001"
    assert third.body == {"job": "J-0001", "closed_by": "M. Ross", "remark": ""}


def test_the_heads_signature_holds_for_another_ed25519(path: Path) -> None:
    with Ledger.create(path) as ledger:
        with ledger.writing() as writing:
            writing.append(job())
        head = ledger.head()
        assert head == writing.head
    assert head_holds(head)
    content = {"ledger": head.ledger, "count": 2, "hash": head.hash}
    key = nacl.signing.VerifyKey(bytes.fromhex(head.public_key))
    key.verify(b"rigvision.head/1\n" + canonical(content), bytes.fromhex(head.signature))


def test_an_exception_meanwhile_leaves_nothing(path: Path) -> None:
    with Ledger.create(path) as ledger:

        def half() -> None:
            with ledger.writing() as writing:
                writing.append(job())
                raise RuntimeError("meanwhile")

        with pytest.raises(RuntimeError, match="meanwhile"):
            half()
        assert ledger.head().count == 1
        with ledger.writing() as writing:
            writing.append(job())
        assert ledger.head().count == 2


@pytest.mark.parametrize("table", ["entry", *INDEX_TABLES])
@pytest.mark.parametrize("change", ["UPDATE {} SET sequence = 99", "DELETE FROM {}"])
def test_what_is_there_stays(path: Path, table: str, change: str) -> None:
    with Ledger.create(path) as ledger:
        _one_of_everything(ledger)
        before = ledger.connection.execute(f"SELECT * FROM {table}").fetchall()
        assert before
        with pytest.raises(sqlite3.IntegrityError, match="only ever added to"):
            ledger.connection.execute(change.format(table))
        assert ledger.connection.execute(f"SELECT * FROM {table}").fetchall() == before


@pytest.mark.parametrize("sequence", [1, 7, -1])
def test_an_entry_can_only_follow_the_last(path: Path, sequence: int) -> None:
    with Ledger.create(path) as ledger:
        first = ledger.entry(1)
        with pytest.raises(sqlite3.IntegrityError, match="follow the last"):
            ledger.connection.execute(
                "INSERT OR REPLACE INTO entry VALUES (?, 'noted', '', '{}', '', '', '')",
                (sequence,),
            )
        assert ledger.entry(1) == first


def test_the_index_takes_no_rows_for_older_entries(path: Path) -> None:
    with Ledger.create(path) as ledger:
        _one_of_everything(ledger)
        with pytest.raises(sqlite3.IntegrityError, match="with its entry"):
            ledger.connection.execute(
                "INSERT OR REPLACE INTO correction (sequence, record) VALUES (2, 'AAAA')"
            )


def test_what_concerns_a_record_is_found_in_order(path: Path) -> None:
    with Ledger.create(path) as ledger:
        _one_of_everything(ledger)
        kinds = [entry.kind for entry in ledger.entries_of("AAAAAAAA")]
        assert kinds == ["check-recorded", "check-signed", "check-corrected", "noted"]
        assert [e.kind for e in ledger.entries_of("BBBBBBBB")] == ["check-corrected"]
        assert list(ledger.entries_of("CCCCCCCC")) == []
        enrolled = ledger.entries_of_kind("person-enrolled")
        assert [entry.body["person"] for entry in enrolled] == ["M. Ross", "I. Vance"]


def test_figures_come_back_exactly(path: Path) -> None:
    odd = {
        "tenth": 0.1,
        "tiny": 5e-324,
        "whole": 2.0,
        "large": 2**53 - 1,
        "none": None,
        "zero": -0.0,
    }
    with Ledger.create(path) as ledger:
        with ledger.writing() as writing:
            writing.append(job())
        record_check(ledger, "AAAAAAAA", figures=result() | odd)
        (entry,) = ledger.entries_of("AAAAAAAA")
    assert {name: entry.body["result"][name] for name in odd} == odd


def test_what_has_no_canonical_form_is_not_recorded(path: Path) -> None:
    with Ledger.create(path) as ledger:
        with pytest.raises(ValueError, match="canonical"):
            record_check(ledger, "AAAAAAAA", figures=result(gap_mm=float("nan")))
        assert ledger.head().count == 1


def test_a_clock_that_jumps_back_is_said_and_kept(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    times = ["2001-05-05T11:59:59.999999Z", "2001-05-05T13:00:00.000000Z"]
    monkeypatch.setattr(ledger_module, "now", lambda: times.pop(0))
    with Ledger.create(path) as ledger:
        with ledger.writing() as early:
            writing_entry = early.append(job())
        with ledger.writing() as later:
            later.append(JobClosed("J-0001", "M. Ross"))
    assert early.clock_jumped_back
    assert not later.clock_jumped_back
    assert writing_entry.recorded_at == "2001-05-05T11:59:59.999999Z"


def test_an_entry_that_was_changed_is_not_built_upon(path: Path) -> None:
    with Ledger.create(path) as ledger:
        with ledger.writing() as writing:
            writing.append(job())
        ledger.connection.execute("DROP TRIGGER entry_no_update")
        ledger.connection.execute("UPDATE entry SET recorded_at = '2020' WHERE sequence = 2")
        with (
            pytest.raises(LedgerError, match=r"last entry .* was changed") as caught,
            ledger.writing(),
        ):
            pass
    assert caught.value.code == "ledger-changed"


def test_opened_again_it_goes_on(path: Path) -> None:
    with Ledger.create(path) as ledger, ledger.writing() as writing:
        writing.append(job())
    with Ledger.open_or_create(path) as ledger:
        with ledger.writing() as writing:
            writing.append(JobClosed("J-0001", "M. Ross"))
        assert [entry.sequence for entry in ledger.entries()] == [1, 2, 3]
        assert [entry.sequence for entry in ledger.entries(2, 2)] == [2]


def _one_of_everything(ledger: Ledger) -> None:
    begun(ledger)
    check = record_check(ledger, "AAAAAAAA")
    sign_check(ledger, check, INSPECTOR, "accepted")
    with ledger.writing() as writing:
        writing.append(CheckCorrected("AAAAAAAA", "wrong door", "M. Ross", "BBBBBBBB"))
        writing.append(Noted("AAAAAAAA", "remark", "as found", "M. Ross"))
        writing.append(JobClosed("J-0001", "M. Ross"))
        writing.append(PersonWithdrawn(INSPECTOR.enrolled().fingerprint, "left"))
