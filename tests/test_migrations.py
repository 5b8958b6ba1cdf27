"""Ledgers of earlier releases open in later ones, and nothing in them changes.

``tests/data/ledger-1.sql`` is a ledger of the first tables, as SQL, with an entry of each kind; it
was written by ``frozen`` below and is never written again.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from random import Random

import pytest
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat
from recorded.invented import INSPECTOR, MECHANIC, begun, likeness, record_check, result, sign_check

from rigvision.records import ledger_check, migrations, opening
from rigvision.records.bodies import (
    CheckCorrected,
    Exported,
    JobClosed,
    Noted,
    PersonWithdrawn,
)
from rigvision.records.ledger import Ledger
from rigvision.records.ledger_check import check_ledger
from rigvision.records.ledger_error import LedgerError
from rigvision.records.ledger_key import key_path
from rigvision.records.migrations import MIGRATIONS, Migration, statements
from rigvision.records.read_body import BODIES, read_body
from rigvision.records.search import Wanted, search
from rigvision.records.signature import private_key_of

FROZEN = Path(__file__).parent / "data" / "ledger-1.sql"
#: Of the invented ledger that was frozen.
KEY = private_key_of(b"invented ledger, kept for a test").private_bytes(
    Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()
)
#: What the frozen ledger had come to.
COUNT = 12


def write_key(path: Path) -> None:
    key_path(path).write_bytes(KEY)
    key_path(path).chmod(0o600)


def frozen(path: Path) -> str:
    """How the file was made: a ledger with an entry of each kind, as SQL."""
    write_key(path)
    with Ledger.create(path) as ledger:
        begun(ledger)
        seen = likeness(Random(1), "RG-10")
        check = record_check(ledger, "AAAAAAAA", measured_by=MECHANIC, seen=seen)
        sign_check(ledger, check, INSPECTOR, "accepted")
        record_check(ledger, "BBBBBBBB", figures=result("retake", gauge=None, frame=None))
        with ledger.writing() as writing:
            writing.append(CheckCorrected("BBBBBBBB", "wrong door", "M. Ross", "AAAAAAAA"))
            writing.append(Exported("AAAAAAAA", "page", "12" * 32, 1234))
            writing.append(
                Noted(
                    "AAAAAAAA", "remark", "as found: 0.81 mm, \N{GREEK SMALL LETTER MU}", "M. Ross"
                )
            )
            writing.append(JobClosed("J-0001", "M. Ross"))
            writing.append(PersonWithdrawn(INSPECTOR.enrolled().fingerprint, "left"))
        (number,) = ledger.connection.execute("PRAGMA application_id").fetchone()
        dump = "\n".join(ledger.connection.iterdump())
    return f"PRAGMA application_id = {number};\n{dump}\n"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    path = tmp_path / "ledger.sqlite3"
    with closing(sqlite3.connect(path)) as connection:
        connection.executescript(FROZEN.read_text(encoding="utf-8"))
    write_key(path)
    return path


def rows(path: Path) -> list[tuple[object, ...]]:
    with closing(sqlite3.connect(path)) as connection:
        return connection.execute("SELECT * FROM entry ORDER BY sequence").fetchall()


@pytest.fixture
def later(monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    """A rigvision that has more migrations."""

    def install(*more: Migration) -> None:
        for module in (opening, ledger_check, migrations):
            monkeypatch.setattr(module, "MIGRATIONS", (*MIGRATIONS, *more))

    return install


def _more(connection: sqlite3.Connection) -> None:
    """A column that the index lacked, and a table of its own."""
    statements(
        connection,
        "ALTER TABLE job ADD COLUMN remark TEXT;\n"
        "CREATE TABLE tool (sequence INTEGER PRIMARY KEY) STRICT;\n",
    )


def test_the_first_ledger_is_intact_and_goes_on(path: Path) -> None:
    before = rows(path)
    assert len(before) == COUNT
    report = check_ledger(path, evidence=False)
    assert report.findings == ()
    with Ledger.open(path) as ledger:
        kinds = {entry.kind for entry in ledger.entries()}
        assert kinds == set(BODIES)  # whoever adds a kind adds a frozen ledger that has it
        for entry in ledger.entries():
            assert read_body(entry.kind, entry.body)
        found = search(ledger, Wanted(engine="eng-7")).found
        assert [f.record for f in found] == ["BBBBBBBB", "AAAAAAAA"]
        assert [f.status for f in found] == ["corrected", "accepted"]
        with ledger.writing() as writing:
            writing.append(Noted("AAAAAAAA", "remark", "years later", "M. Ross"))
    assert rows(path)[:COUNT] == before
    assert check_ledger(path, evidence=False).intact


def test_a_later_migration_leaves_the_entries_alone(path: Path, later: Callable[..., None]) -> None:
    before = rows(path)
    later(Migration("tools", _more))
    with Ledger.open(path) as ledger:
        done = ledger.connection.execute("SELECT name FROM migration ORDER BY number").fetchall()
        assert done == [("first tables",), ("tools",)]
        ledger.connection.execute("SELECT remark FROM job JOIN tool USING (sequence)")
    assert rows(path) == before
    assert check_ledger(path, evidence=False).intact


def test_until_it_is_brought_up_to_date_it_can_be_checked(
    path: Path, later: Callable[..., None]
) -> None:
    later(Migration("tools", _more))
    report = check_ledger(path, evidence=False)
    assert report.intact
    assert [finding.code for finding in report.findings] == ["older"]
    with pytest.raises(LedgerError, match="older rigvision") as caught:
        Ledger.open(path, read_only=True)
    assert caught.value.code == "ledger-older"


def test_a_migration_that_fails_changes_nothing(path: Path, later: Callable[..., None]) -> None:
    def half(connection: sqlite3.Connection) -> None:
        connection.execute("CREATE TABLE tool (sequence INTEGER PRIMARY KEY) STRICT")
        connection.execute("CREATE TABLE entry (sequence INTEGER)")

    later(Migration("tools", half))
    with pytest.raises(LedgerError):
        Ledger.open(path)
    with closing(sqlite3.connect(path)) as connection:
        assert not connection.execute("SELECT 1 FROM sqlite_schema WHERE name = 'tool'").fetchall()
        assert connection.execute("SELECT count(*) FROM migration").fetchone() == (1,)


def test_two_programs_that_migrate_at_once_do_it_once(
    path: Path, later: Callable[..., None]
) -> None:
    """The second finds, once it is alone, that it is done."""
    later(Migration("tools", _more))
    with closing(sqlite3.connect(path)) as connection:
        todo = opening.missing(connection, path)
        assert [migration.name for migration in todo] == ["tools"]
    Ledger.open(path).close()
    Ledger.open(path).close()
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute("SELECT count(*) FROM migration").fetchone() == (2,)


def test_statements_are_told_apart() -> None:
    """Triggers have semicolons of their own."""
    script = "CREATE TABLE a (b);\nCREATE TRIGGER c BEFORE DELETE ON a\nBEGIN SELECT 1; END;\n"
    with closing(sqlite3.connect(":memory:")) as connection:
        statements(connection, script)
        assert connection.execute("SELECT name FROM sqlite_schema").fetchall() == [("a",), ("c",)]
