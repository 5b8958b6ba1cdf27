"""A ledger backed up while in use, lost or damaged, and put back with nothing of it lost."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from recorded.invented import INSPECTOR, MECHANIC, begun, record_check, sign_check

from rigvision.records.backup import backup
from rigvision.records.bodies import Noted
from rigvision.records.evidence_store import evidence_folder
from rigvision.records.head_mark import mark_path
from rigvision.records.ledger import Ledger
from rigvision.records.ledger_check import check_ledger
from rigvision.records.ledger_error import LedgerError
from rigvision.records.ledger_key import key_path
from rigvision.records.restore import Restored, restore

NAME = "ledger.sqlite3"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A ledger with three checks, closed."""
    path = tmp_path / "kept" / NAME
    with Ledger.create(path) as ledger:
        begun(ledger)
        for record in ("AAAAAAAA", "BBBBBBBB", "CCCCCCCC"):
            check = record_check(ledger, record, measured_by=MECHANIC)
            sign_check(ledger, check, INSPECTOR, "accepted")
    return path


@pytest.fixture
def saved(path: Path, tmp_path: Path) -> Path:
    with Ledger.open(path) as ledger:
        return backup(ledger, tmp_path / "saved").path


def note(path: Path, text: str = "later") -> None:
    with Ledger.open(path) as ledger, ledger.writing() as writing:
        writing.append(Noted("AAAAAAAA", "remark", text, "M. Ross"))


def refusal(source: Path, path: Path) -> LedgerError:
    before = _files(path.parent)
    with pytest.raises(LedgerError) as caught:
        restore(source, path)
    assert _files(path.parent) == before  # nothing was changed
    return caught.value


def _files(folder: Path) -> dict[str, bytes]:
    """All but what SQLite makes when it reads."""
    files = [p for p in folder.rglob("*") if p.is_file() and p.suffix not in _SQLITES_OWN]
    return {str(p): p.read_bytes() for p in files}


_SQLITES_OWN = (".sqlite3-wal", ".sqlite3-shm")


def assert_whole(path: Path, entries: int) -> None:
    report = check_ledger(path)
    assert report.findings == ()
    assert report.entries == entries
    note(path)  # it goes on
    assert check_ledger(path).entries == entries + 1


class TestBackup:
    def test_it_is_a_ledger_of_its_own(self, path: Path, saved: Path) -> None:
        assert key_path(saved).read_bytes() == key_path(path).read_bytes()
        assert {p.name for p in saved.parent.iterdir()} == {
            NAME,
            f"{NAME}.key",
            f"{NAME}.head",
            f"{NAME}.evidence",
        }
        assert_whole(saved, 10)

    def test_it_is_taken_while_others_write(self, path: Path, tmp_path: Path) -> None:
        """What is recorded meanwhile is in the next one."""
        with Ledger.open(path) as other, Ledger.open(path) as ledger:
            with other.writing() as writing:
                writing.append(Noted("AAAAAAAA", "remark", "not yet committed", "M. Ross"))
                made = backup(ledger, tmp_path / "saved")
            assert made.head.count == 10
            assert (made.files, made.copied_files) == (7, 7)
            again = backup(ledger, tmp_path / "saved")
        assert again.head.count == 11
        assert (again.files, again.copied_files) == (7, 0)
        assert_whole(again.path, 11)

    def test_torn_and_missing_evidence_is_said_and_all_else_saved(
        self, path: Path, tmp_path: Path
    ) -> None:
        torn, gone = sorted(evidence_folder(path).rglob("?" * 64))[:2]
        torn.chmod(0o600)
        torn.write_bytes(b"torn")
        gone.unlink()
        with Ledger.open(path) as ledger:
            made = backup(ledger, tmp_path / "saved")
        assert made.copied_files == 5
        assert [torn.name in made.problems[0], gone.name in made.problems[1]] == [True, True]

    def test_a_damaged_ledger_does_not_take_a_good_backups_place(
        self, path: Path, saved: Path
    ) -> None:
        before = saved.read_bytes()
        with Ledger.open(path) as ledger:
            ledger.connection.execute("DROP TRIGGER entry_no_update")
            ledger.connection.execute("UPDATE entry SET recorded_at = '2020' WHERE sequence = 4")
            with pytest.raises(LedgerError, match="entry 4") as caught:
                backup(ledger, saved.parent)
        assert caught.value.code == "backup-unsound"
        assert saved.read_bytes() == before
        assert not list(saved.parent.glob(".*"))

    def test_another_ledgers_backup_is_not_replaced(self, saved: Path, tmp_path: Path) -> None:
        with (
            Ledger.create(tmp_path / "other" / NAME) as other,
            pytest.raises(LedgerError, match="another ledger") as caught,
        ):
            backup(other, saved.parent)
        assert caught.value.code == "backup-other"

    def test_a_backup_that_has_more_is_not_replaced(self, path: Path, saved: Path) -> None:
        note(saved)
        with Ledger.open(path) as ledger, pytest.raises(LedgerError, match="has more"):
            backup(ledger, saved.parent)

    def test_a_ledger_is_not_its_own_backup(self, path: Path) -> None:
        with Ledger.open(path) as ledger, pytest.raises(LedgerError, match="itself is in"):
            backup(ledger, path.parent)

    def test_a_log_that_was_left_is_not_played_into_the_next(self, path: Path, saved: Path) -> None:
        with Ledger.open(saved) as opened:  # as a program would leave it that was killed
            opened.connection.execute("PRAGMA wal_checkpoint(PASSIVE)")
            log = saved.with_name(f"{NAME}-wal")
            left = log.read_bytes() if log.exists() else b""
        log.write_bytes(left)
        note(path)
        with Ledger.open(path) as ledger:
            backup(ledger, saved.parent)
        assert not log.exists()
        assert_whole(saved, 11)


class TestRestore:
    def test_a_lost_ledger_comes_back(self, path: Path, saved: Path, tmp_path: Path) -> None:
        again = tmp_path / "elsewhere" / NAME
        restored = restore(saved, again)
        assert (restored.head.count, restored.files_put_back, restored.problems) == (10, 7, ())
        assert restored.set_aside is None
        assert_whole(again, 10)

    def test_a_whole_ledger_stays_and_gets_its_evidence_back(self, path: Path, saved: Path) -> None:
        note(path)
        torn, gone = sorted(evidence_folder(path).rglob("?" * 64))[:2]
        torn.chmod(0o600)
        torn.write_bytes(torn.read_bytes()[:-1])
        gone.unlink()
        restored = restore(saved, path)
        assert (restored.files_put_back, restored.set_aside) == (2, None)
        assert restored.head.count == 11
        assert_whole(path, 11)

    @pytest.mark.parametrize("harm", ["old entry", "page of nothing", "no database", "gone"])
    def test_newer_entries_are_kept_where_they_can_be_read(
        self, path: Path, saved: Path, harm: str
    ) -> None:
        """Two entries are newer than the backup. Of a file that is no database they are lost."""
        note(path, "one")
        note(path, "two")
        readable = self.do_harm(path, harm)
        if readable:
            restored = restore(saved, path)
            assert (restored.newer_entries, restored.lost_entries) == (2, 0)
            assert_whole(path, 12)
        else:
            assert refusal(saved, path).code == "restore-loses"
            restored = restore(saved, path, lose_newer=True)
            assert (restored.newer_entries, restored.lost_entries) == (0, 2)
            assert_whole(path, 10)
        self.assert_set_aside(restored, was_there=harm != "gone")

    def do_harm(self, path: Path, harm: str) -> bool:
        if harm == "old entry":
            with closing(sqlite3.connect(path)) as connection:
                connection.execute("DROP TRIGGER entry_no_update")
                connection.execute("UPDATE entry SET recorded_at = '2020' WHERE sequence = 4")
                connection.commit()
            return True
        if harm == "page of nothing":
            with closing(sqlite3.connect(path)) as connection:
                (page,) = connection.execute(
                    "SELECT rootpage FROM sqlite_schema WHERE name = 'check_by_photo'"
                ).fetchone()
                (size,) = connection.execute("PRAGMA page_size").fetchone()
            with path.open("r+b") as file:
                file.seek((page - 1) * size)
                file.write(bytes(size))
            return True
        if harm == "no database":
            path.write_bytes(b"torn" * 1000)
        else:
            path.unlink()
        return False

    def assert_set_aside(self, restored: Restored, *, was_there: bool) -> None:
        assert restored.set_aside is not None
        assert (restored.set_aside / NAME).exists() == was_there

    def test_lost_last_entries_are_told_from_the_note_of_the_head(
        self, path: Path, saved: Path
    ) -> None:
        """An old copy in the ledger's place: it opens, and takes no entries until that is said."""
        note(path)
        newer_mark = mark_path(path).read_bytes()
        path.write_bytes(saved.read_bytes())
        mark_path(path).write_bytes(newer_mark)
        with pytest.raises(LedgerError, match=r"10 entries and had 11: 1 are lost") as caught:
            note(path)
        assert caught.value.code == "ledger-behind"
        assert refusal(saved, path).code == "restore-loses"
        assert restore(saved, path, lose_newer=True).lost_entries == 1
        assert_whole(path, 10)

    def test_a_damaged_backup_is_not_used(self, path: Path, saved: Path) -> None:
        with closing(sqlite3.connect(saved)) as connection:
            connection.execute("DROP TRIGGER entry_no_update")
            connection.commit()
        path.unlink()
        assert refusal(saved, path).code == "backup-damaged"

    def test_another_ledger_is_not_replaced(self, saved: Path, tmp_path: Path) -> None:
        other = tmp_path / "other" / NAME
        Ledger.create(other).close()
        assert refusal(saved, other).code == "restore-other"

    def test_evidence_that_is_lost_in_both_is_named(self, path: Path, saved: Path) -> None:
        gone = next(evidence_folder(path).rglob("?" * 64))
        gone.unlink()
        (evidence_folder(saved) / gone.name[:2] / gone.name).unlink()
        restored = restore(saved, path)
        (problem,) = restored.problems
        assert gone.name in problem

    @pytest.mark.skipif(os.name != "posix", reason="needs rights of POSIX")
    def test_the_key_comes_back_for_its_owner_alone(self, path: Path, saved: Path) -> None:
        key_path(path).unlink()
        path.unlink()
        restore(saved, path)
        assert key_path(path).stat().st_mode & 0o777 == 0o600
