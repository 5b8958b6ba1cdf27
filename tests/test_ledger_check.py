"""A check of the whole ledger: intact as recorded, and every change found where it was made."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from shutil import copytree
from typing import Any

import pytest
from recorded.invented import (
    INSPECTOR,
    MECHANIC,
    Person,
    begun,
    job,
    record_check,
    result,
    sign_check,
)

from rigvision.records import ledger as ledger_module
from rigvision.records.bodies import (
    CheckCorrected,
    CheckSigned,
    Exported,
    JobClosed,
    Noted,
    PersonWithdrawn,
)
from rigvision.records.canonical import canonical
from rigvision.records.entry import NOTHING_BEFORE, Entry, entry_hash
from rigvision.records.evidence_store import evidence_folder
from rigvision.records.head_mark import mark_path
from rigvision.records.index_rows import index_rows
from rigvision.records.ledger import Ledger
from rigvision.records.ledger_check import check_ledger
from rigvision.records.ledger_key import LedgerKey, key_path, read_key
from rigvision.records.ledger_report import LedgerReport
from rigvision.records.schema import INDEX_TABLES
from rigvision.records.signature import private_key_of
from rigvision.records.writing import insert_row

RECORD = "AAAAAAAA"


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A ledger with entries of every kind; nobody changes it."""
    path = tmp_path_factory.mktemp("filled") / "ledger.sqlite3"
    with Ledger.create(path) as ledger:
        begun(ledger)
        check = record_check(ledger, RECORD, measured_by=MECHANIC)
        sign_check(ledger, check, INSPECTOR, "accepted")
        second = record_check(ledger, "BBBBBBBB", figures=result("adjust", True))
        sign_check(ledger, second, MECHANIC, "measured")
        sign_check(ledger, second, INSPECTOR, "rejected", "taken too early")
        with ledger.writing() as writing:
            writing.append(CheckCorrected("BBBBBBBB", "wrong door", "M. Ross", RECORD))
            writing.append(Noted(RECORD, "remark", "as found", "M. Ross"))
            writing.append(Exported(RECORD, "page", "12" * 32, 1234))
            writing.append(JobClosed("J-0001", "M. Ross"))
            writing.append(PersonWithdrawn(INSPECTOR.enrolled().fingerprint, "left"))
    return path


@pytest.fixture
def path(filled: Path, tmp_path: Path) -> Path:
    copytree(filled.parent, tmp_path / "copy")
    return tmp_path / "copy" / filled.name


def codes(report: LedgerReport) -> set[str]:
    return {finding.code for finding in report.findings if finding.proves_change}


def changed(path: Path, *statements: str) -> LedgerReport:
    """Change the file as somebody would who knows SQLite, guards and all, and check it."""
    with closing(sqlite3.connect(path)) as connection:
        guards = connection.execute(
            "SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'"
        ).fetchall()
        for name, _ in guards:
            connection.execute(f"DROP TRIGGER {name}")
        for statement in statements:
            connection.execute(statement)
        for _, sql in guards:
            connection.execute(sql)
        connection.commit()
    return check_ledger(path)


def test_what_was_recorded_is_intact(filled: Path) -> None:
    report = check_ledger(filled)
    assert report.findings == ()
    assert report.intact
    assert report.first_bad is None
    assert report.entries == 14
    assert report.evidence_files == 5  # two photos, two images, the gauge that serves both
    assert report.evidence_bytes == 8 + 8 + 2 * 128 + 13
    with Ledger.open(filled, read_only=True) as ledger:
        assert report.head == ledger.head()
    assert report.sentence().endswith("is intact: 14 entries, 5 files of evidence.")


def test_without_the_evidence_that_is_said(filled: Path) -> None:
    assert check_ledger(filled, evidence=False).sentence().endswith("evidence not looked at.")


@pytest.mark.parametrize("column", ["kind", "recorded_at", "body", "previous", "hash", "signature"])
def test_a_changed_column_is_found_at_its_entry(path: Path, column: str) -> None:
    changes = {"kind": "'noted'", "body": "replace(body, 'ENG-7', 'ENG-8')"}
    # Never what stands there already, as hashes and signatures are random.
    other = f"CASE substr({column}, 1, 1) WHEN '0' THEN '1' ELSE '0' END"
    new = changes.get(column, f"{other} || substr({column}, 2)")
    report = changed(path, f"UPDATE entry SET {column} = {new} WHERE sequence = 4")
    assert not report.intact
    assert report.first_bad is not None
    assert report.first_bad.sequence == 4
    assert "entry 4" in report.sentence()
    assert {f.sequence for f in report.findings if f.proves_change} <= {4, 5}


def test_a_removed_entry_is_found(path: Path) -> None:
    report = changed(path, "DELETE FROM entry WHERE sequence = 6")
    assert report.first_bad is not None
    assert report.first_bad.code == "entry-missing"
    assert report.first_bad.sequence == 6


def test_removed_last_entries_are_found_by_the_noted_head(path: Path) -> None:
    index = [f"DELETE FROM {table} WHERE sequence > 11" for table in INDEX_TABLES]
    report = changed(path, "DELETE FROM entry WHERE sequence > 11", *index)
    assert codes(report) == {"entries-lost"}
    assert "had 14 entries once and has 11" in report.sentence()
    mark_path(path).unlink()
    assert check_ledger(path).intact  # by itself a shorter chain is as good as any


def test_a_head_known_from_elsewhere_shows_what_is_lost(path: Path, filled: Path) -> None:
    with Ledger.open(filled, read_only=True) as ledger:
        printed = ledger.head()
    mark_path(path).unlink()
    index = [f"DELETE FROM {table} WHERE sequence > 11" for table in INDEX_TABLES]
    changed(path, "DELETE FROM entry WHERE sequence > 11", *index)
    assert codes(check_ledger(path, known_heads=[printed])) == {"entries-lost"}


def test_a_rebuilt_chain_is_found_by_a_head_known_from_elsewhere(path: Path) -> None:
    """Somebody with the ledger's key writes all of it anew, with one word changed."""
    with Ledger.open(path) as ledger:
        printed = ledger.head()
    mark_path(path).unlink()
    rebuilt(path, lambda entry, body: body | ({"remark": "new"} if entry == 4 else {}))
    report = check_ledger(path)
    assert report.intact  # no check can see it from the ledger alone
    report = check_ledger(path, known_heads=[printed])
    assert codes(report) == {"chain-rebuilt"}


def test_a_rebuilt_chain_cannot_sign_for_a_person(path: Path) -> None:
    mark_path(path).unlink()

    def accept(sequence: int, body: dict[str, Any]) -> dict[str, Any]:
        if sequence == 9:
            assert body["signed"]["statement"]["decision"] == "rejected"
            body["signed"]["statement"]["decision"] = "accepted"
        return body

    rebuilt(path, accept)
    report = check_ledger(path)
    assert codes(report) == {"statement-broken"}
    assert report.first_bad is not None
    assert report.first_bad.sequence == 9


@pytest.mark.parametrize(
    ("where", "code"), [("result", "result-changed"), ("core", "core-changed")]
)
def test_a_rebuilt_chain_cannot_change_what_was_signed_for(
    path: Path, where: str, code: str
) -> None:
    mark_path(path).unlink()

    def change(sequence: int, body: dict[str, Any]) -> dict[str, Any]:
        if sequence == 5:
            body[where] |= {"gap_mm": 0.9} if where == "result" else {"job": "J-0002"}
        return body

    rebuilt(path, change)
    assert code in codes(check_ledger(path))


def rebuilt(path: Path, change: Callable[[int, dict[str, Any]], dict[str, Any]]) -> None:
    """Write the ledger anew with its own key, as its owner could."""
    with Ledger.open(path) as ledger:
        entries = list(ledger.entries())
        identity, connection = ledger.identity, ledger.connection
        guards = connection.execute(
            "SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'"
        ).fetchall()
        for name, _ in guards:
            connection.execute(f"DROP TRIGGER {name}")
        for table in ("entry", *INDEX_TABLES):
            connection.execute(f"DELETE FROM {table}")
        key, previous = read_key(key_path(path)), NOTHING_BEFORE
        for old in entries:
            entry = _anew(old, change(old.sequence, dict(old.body)), previous, key, identity)
            connection.execute(
                "INSERT INTO entry VALUES (?, ?, ?, ?, ?, ?, ?)",
                (
                    entry.sequence,
                    entry.kind,
                    entry.recorded_at,
                    canonical(entry.body).decode(),
                    entry.previous,
                    entry.hash,
                    entry.signature,
                ),
            )
            for row in index_rows(entry):
                insert_row(connection, row)
            previous = entry.hash
        for _, sql in guards:
            connection.execute(sql)


def _anew(old: Entry, body: dict[str, Any], previous: str, key: LedgerKey, identity: str) -> Entry:
    hashed = entry_hash(old.sequence, old.kind, old.recorded_at, body, previous)
    head = key.signed_head(identity, old.sequence, hashed)
    return replace(old, body=body, previous=previous, hash=hashed, signature=head.signature)


@pytest.mark.parametrize("table", INDEX_TABLES)
def test_a_changed_index_is_found(path: Path, table: str) -> None:
    """It cannot say otherwise than the entries: a search would be wrong."""
    with closing(sqlite3.connect(path)) as connection:
        before = connection.execute(f"SELECT count(*) FROM {table}").fetchone()
    if before == (0,):
        pytest.skip("no row of this kind")
    lost = changed(
        path, f"DELETE FROM {table} WHERE sequence = (SELECT max(sequence) FROM {table})"
    )
    assert codes(lost) == {"index-changed"} or codes(lost) > {"index-changed"}


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE check_recorded SET verdict = 'pass' WHERE record = 'BBBBBBBB'",
        "UPDATE check_recorded SET borderline = 0 WHERE record = 'BBBBBBBB'",
        "UPDATE signing SET decision = 'accepted' WHERE decision = 'rejected'",
        "UPDATE job SET engine = 'eng-7'",
        "INSERT INTO correction VALUES (99, 'AAAAAAAA', NULL)",
        "INSERT INTO mention VALUES ('AAAAAAAA', 4)",
    ],
)
def test_an_index_that_says_otherwise_is_found(path: Path, statement: str) -> None:
    assert "index-changed" in codes(changed(path, statement))


@pytest.mark.parametrize(
    "statement",
    [
        "DROP TRIGGER entry_no_update",
        "DROP INDEX check_by_photo",
        "CREATE TRIGGER more AFTER INSERT ON entry BEGIN SELECT 1; END",
        "CREATE TABLE more (text)",
    ],
)
def test_a_guard_that_was_taken_away_is_found(path: Path, statement: str) -> None:
    with closing(sqlite3.connect(path)) as connection:
        connection.execute(statement)
    report = check_ledger(path)
    assert codes(report) == {"schema-changed"}


def test_torn_changed_and_missing_evidence_is_named(path: Path) -> None:
    with Ledger.open(path) as ledger:
        check = next(ledger.entries_of(RECORD)).body
        photo = ledger.evidence.path(check["core"]["photo"]["sha256"])
        image = ledger.evidence.path(check["image"]["sha256"])
    photo.unlink()
    image.chmod(0o600)
    image.write_bytes(image.read_bytes()[:-1])
    report = check_ledger(path)
    assert codes(report) == {"evidence-missing", "evidence-changed"}
    said = {finding.code: finding.text for finding in report.findings}
    assert said["evidence-missing"] == f"the photo {photo.name} is missing."
    assert said["evidence-changed"].startswith(f"the image {image.name} (entry 5)")
    assert check_ledger(path, evidence=False).intact


def test_a_file_without_an_entry_is_a_remark(path: Path) -> None:
    with Ledger.open(path) as ledger:
        ledger.evidence.put(b"never recorded", "image/jpeg", "x.jpg")
    (evidence_folder(path) / "ab").mkdir(exist_ok=True)
    (evidence_folder(path) / "ab" / ".x.part").write_bytes(b"hal")
    report = check_ledger(path)
    assert report.intact
    assert {f.code for f in report.findings} == {"evidence-unnamed", "evidence-unfinished"}


def test_a_clock_that_was_set_back_is_a_remark(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ledger_module, "now", lambda: "2001-05-05T11:59:59.999999Z")
    with Ledger.create(tmp_path / "ledger") as ledger, ledger.writing() as writing:
        writing.append(job())
    report = check_ledger(tmp_path / "ledger")
    assert report.intact
    assert [(f.code, f.sequence) for f in report.findings] == [("clock-back", 2)]


@pytest.mark.parametrize("noted", [b"", b"{}", b"\xff\xfe", b'{"count":'])
def test_a_torn_note_of_the_head_is_a_remark(path: Path, noted: bytes) -> None:
    """It is not forced to the disk, so that a power cut may tear it."""
    mark_path(path).write_bytes(noted)
    report = check_ledger(path)
    assert report.intact
    assert [f.code for f in report.findings] == ["mark-unread"]


def test_a_changed_note_of_the_head_is_found(path: Path) -> None:
    noted = mark_path(path).read_bytes()
    mark_path(path).write_bytes(noted.replace(b'"count":14', b'"count":13'))
    assert "mark-changed" in codes(check_ledger(path))


class TestWhoMaySign:
    """The rule is looked at again: the program that wrote may not have kept it."""

    @pytest.fixture
    def ledger(self, tmp_path: Path) -> Iterator[Ledger]:
        with Ledger.create(tmp_path / "ledger") as ledger:
            begun(ledger)
            yield ledger

    def found(self, ledger: Ledger) -> set[str]:
        return codes(check_ledger(ledger.path))

    def test_a_key_that_nobody_enrolled(self, ledger: Ledger) -> None:
        stranger = Person("I. Vance", "inspector", private_key_of(b"s" * 32))
        check = record_check(ledger, RECORD, measured_by=MECHANIC)
        sign_check(ledger, check, stranger, "accepted")
        assert self.found(ledger) == {"statement-forbidden"}

    def test_the_same_person_with_a_second_key(self, ledger: Ledger) -> None:
        twice = Person("m. ross", "inspector", private_key_of(b"s" * 32))
        check = record_check(ledger, RECORD, measured_by=MECHANIC)
        with ledger.writing() as writing:
            writing.append(twice.enrolled())
        sign_check(ledger, check, twice, "accepted")
        assert self.found(ledger) == {"statement-forbidden"}

    def test_what_nobody_measured(self, ledger: Ledger) -> None:
        sign_check(ledger, record_check(ledger, RECORD), INSPECTOR, "accepted")
        assert self.found(ledger) == {"statement-forbidden"}

    def test_what_was_corrected(self, ledger: Ledger) -> None:
        check = record_check(ledger, RECORD, measured_by=MECHANIC)
        with ledger.writing() as writing:
            writing.append(CheckCorrected(RECORD, "wrong door", "M. Ross"))
        sign_check(ledger, check, INSPECTOR, "accepted")
        assert self.found(ledger) == {"statement-forbidden"}

    def test_another_photo_than_was_recorded(self, ledger: Ledger) -> None:
        check = record_check(ledger, RECORD, measured_by=MECHANIC)
        other = replace(check, image=replace(check.image, sha256="12" * 32))
        sign_check(ledger, other, INSPECTOR, "accepted")
        assert self.found(ledger) == {"statement-broken"}

    def test_a_statement_of_another_ledger(self, ledger: Ledger) -> None:
        check = record_check(ledger, RECORD, measured_by=MECHANIC)
        other = replace(check, core=replace(check.core, ledger="00" * 8))
        sign_check(ledger, other, INSPECTOR, "accepted")
        assert "statement-broken" in self.found(ledger)

    def test_an_entry_on_another_record_than_its_statement(self, ledger: Ledger) -> None:
        check = record_check(ledger, RECORD, measured_by=MECHANIC)
        other = record_check(ledger, "BBBBBBBB", measured_by=MECHANIC)
        with ledger.writing() as writing:
            signed = INSPECTOR.signs(check, "accepted", writing.recorded_at)
            writing.append(CheckSigned(other.core.record, signed))
        assert self.found(ledger) == {"statement-broken"}


def test_progress_is_told(tmp_path: Path) -> None:
    told: list[tuple[str, int, int | None]] = []
    with Ledger.create(tmp_path / "ledger") as ledger, ledger.writing() as writing:
        for _ in range(1100):
            writing.append(Noted("AAAAAAAA", "remark", "", "M. Ross"))
    check_ledger(tmp_path / "ledger", progress=lambda *said: told.append(said))
    assert told == [("entries", 500, 1101), ("entries", 1000, 1101)]


def test_others_may_write_meanwhile(path: Path) -> None:
    """What is looked at is of one moment."""

    def write(what: str, done: int, of: int | None) -> None:
        with Ledger.open(path) as other, other.writing() as writing:
            writing.append(Noted(RECORD, "remark", "", "M. Ross"))

    with Ledger.open(path) as ledger, ledger.writing() as writing:
        for _ in range(600):
            writing.append(Noted(RECORD, "remark", "", "M. Ross"))
    report = check_ledger(path, progress=write)
    assert report.intact
    assert report.entries == 614
