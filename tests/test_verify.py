"""``rigvision verify``: what each file that comes back is said to be, and the exit code."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import sys
from collections.abc import Callable
from contextlib import closing, suppress
from dataclasses import dataclass, replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rigvision.cli.main import main
from rigvision.ground.errors import ExportError
from rigvision.records import exporting
from rigvision.records.bodies import CheckCorrected, PersonWithdrawn
from rigvision.records.bundle import parse_bundle
from rigvision.records.canonical import canonical, parsed, sha256_of
from rigvision.records.exporting import ENDINGS, Form, export, export_json
from rigvision.records.ledger import Ledger
from rigvision.records.signature import fingerprint_of
from rigvision.records.stored_zip import read_zip, write_zip
from rigvision.records.verify_file import verify_bytes
from tests.signing import (
    INSPECTOR,
    PHOTO,
    jpeg,
    ledger_with_keys,
    record_a_check,
    signed_record,
)

Run = Callable[..., tuple[int, str, str]]
FORMS: tuple[Form, ...] = ("image", "page", "bundle")


@dataclass(frozen=True)
class House:
    """A ledger with one signed record, and what was exported of it."""

    folder: Path
    record: str
    key: str
    ledger: str

    @property
    def path(self) -> Path:
        return self.folder / "ledger.sqlite3"

    @property
    def json(self) -> Path:
        return self.folder / "out" / "record.json"

    @property
    def files(self) -> dict[Form, Path]:
        return {form: self.folder / "out" / f"{self.record}.{ENDINGS[form]}" for form in FORMS}

    def content(self, form: Form) -> bytes:
        return self.files[form].read_bytes()


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> House:
    folder = tmp_path_factory.mktemp("house")
    with ledger_with_keys(folder) as ledger:
        record = signed_record(ledger)
        house = House(folder, record, fingerprint_of(ledger.public_key), ledger.identity)
        for form in FORMS:
            assert export(ledger, record, form, folder / "out") == house.files[form]
        house.json.write_bytes(export_json(ledger, record))
    return house


@pytest.fixture
def own(house: House, tmp_path: Path) -> House:
    """A copy that a test may add to."""
    shutil.copytree(house.folder, tmp_path / "own")
    return replace(house, folder=tmp_path / "own")


@pytest.fixture(scope="module")
def other(tmp_path_factory: pytest.TempPathFactory) -> House:
    """Another ledger with the same people and the same photo."""
    folder = tmp_path_factory.mktemp("other")
    with ledger_with_keys(folder) as ledger:
        record = signed_record(ledger)
        export(ledger, record, "image", folder / "out")
        return House(folder, record, fingerprint_of(ledger.public_key), ledger.identity)


@pytest.fixture(autouse=True)
def _no_usual_ledger(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.delenv("RIGVISION_LEDGER", raising=False)
    monkeypatch.setattr("rigvision.cli.verifying.ledger_path", lambda: tmp_path / "none.sqlite3")


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    def command(*arguments: object) -> tuple[int, str, str]:
        with pytest.raises(SystemExit) as left:
            main(["verify", *map(str, arguments)])
        said = capsys.readouterr()
        return int(left.value.code or 0), said.out, said.err

    return command


# Alone


def test_a_bundle_verifies_alone(run: Run, house: House) -> None:
    status, out, err = run(house.files["bundle"])
    assert (status, err) == (0, "")
    assert out.startswith(
        f"Bundle and record {house.record} are intact, to the last byte: verdict pass; measured by "
        "Jo Miller; accepted by Ann Lee.\n"
    )
    assert "looked at on site" in out


def test_a_page_and_a_record_verify_alone(run: Run, house: House) -> None:
    for file in (house.files["page"], house.json):
        status, out, _ = run(file)
        assert status == 0
        assert f"ecord {house.record} " in out.splitlines()[0]
        assert "compare it with the one that is known" in out


def test_an_image_alone_proves_nothing_but_says_where_it_belongs(run: Run, house: House) -> None:
    status, out, _ = run(house.files["image"])
    assert status == 6
    assert "cannot be proven by itself" in out.splitlines()[0]
    assert f"record {house.record} of ledger {house.ledger}" in out
    assert sha256_of(house.content("image")) in out


def test_what_programs_read(run: Run, house: House) -> None:
    _, out, _ = run(house.files["bundle"], "--json")
    said = json.loads(out)
    assert said["schema"] == "rigvision.verify/1"
    assert (said["what"], said["outcome"], said["record"]) == ("bundle", "intact", house.record)
    assert said["ledger"]["key_fingerprint"] == house.key
    assert [s["decision"] for s in said["statements"]] == ["measured", "accepted"]


def test_the_ledgers_key_can_be_demanded(run: Run, house: House) -> None:
    assert run(house.files["bundle"], "--ledger-key", house.key.upper())[0] == 0
    status, out, _ = run(house.files["bundle"], "--ledger-key", "00" * 16)
    assert (status, "under another ledger's key" in out) == (6, True)
    status, _, err = run(house.files["bundle"], "--ledger-key", "key")
    assert (status, "no key's fingerprint" in err) == (2, True)


# With the ledger


@pytest.mark.parametrize("form", FORMS)
def test_everything_exported_is_known_to_its_ledger(run: Run, house: House, form: Form) -> None:
    status, out, _ = run(house.files[form], "--ledger", house.path)
    assert status == 0
    assert house.record in out.splitlines()[0]


def test_the_photo_itself_is_known(run: Run, house: House, tmp_path: Path) -> None:
    (tmp_path / "photo.jpg").write_bytes(PHOTO)
    status, out, _ = run(tmp_path / "photo.jpg", "--ledger", house.path)
    assert status == 0
    assert out.startswith(f"photo.jpg is intact: it is the photo of record {house.record}")


def test_an_image_that_was_changed(run: Run, house: House, tmp_path: Path) -> None:
    content = bytearray(house.content("image"))
    content[-9] ^= 1
    (tmp_path / "a.jpg").write_bytes(content)
    status, out, _ = run(tmp_path / "a.jpg", "--ledger", house.path)
    assert status == 5
    assert f"a.jpg was changed: it says that it belongs to record {house.record}" in out


def test_an_image_of_another_ledger_is_unknown(run: Run, house: House, other: House) -> None:
    status, out, _ = run(house.files["image"], "--ledger", other.path)
    assert (status, "is unknown to the ledger" in out) == (6, True)


def test_a_picture_that_says_nothing_is_unknown(run: Run, house: House, tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_bytes(jpeg("holiday"))
    assert run(tmp_path / "a.jpg", "--ledger", house.path)[0] == 6


def test_a_record_of_another_ledger_is_not_proven_by_this_one(
    run: Run, house: House, other: House
) -> None:
    status, out, _ = run(house.files["page"], "--ledger", other.path)
    assert (status, "holds by itself, but is of ledger" in out) == (6, True)


def test_what_was_said_since_is_told(run: Run, own: House) -> None:
    with Ledger.open(own.path) as ledger, ledger.writing() as writing:
        writing.append(CheckCorrected(own.record, "it was door 4", "Jo Miller"))
        writing.append(PersonWithdrawn(INSPECTOR.owner.fingerprint, "left the house"))
    status, out, _ = run(own.files["page"], "--ledger", own.path)
    assert status == 0
    assert "corrected since, so that it no longer counts" in out.splitlines()[0]
    assert "it was door 4" in out
    assert "withdrawn later: left the house" in out
    assert "corrected" not in run(own.files["page"])[1]


def test_a_ledger_that_lost_entries_contradicts_what_left_the_house(run: Run, own: House) -> None:
    """Cut back to before the inspector signed, as whoever has the file and its key could."""
    with closing(sqlite3.connect(own.path)) as cut:
        cut.executescript(_drop_guards(cut) + "DELETE FROM entry WHERE sequence > 6;")
    status, out, _ = run(own.files["page"], "--ledger", own.path)
    assert (status, "the ledger says otherwise" in out) == (5, True)
    assert "entry 7 is another in the ledger, or missing" in out


def _drop_guards(connection: sqlite3.Connection) -> str:
    names = connection.execute("SELECT name FROM sqlite_schema WHERE type = 'trigger'").fetchall()
    return "".join(f'DROP TRIGGER IF EXISTS "{name}"; ' for (name,) in names)


def test_the_environments_ledger_is_asked(run: Run, house: House, monkeypatch) -> None:
    monkeypatch.setenv("RIGVISION_LEDGER", str(house.path))
    monkeypatch.setattr("rigvision.cli.verifying.ledger_path", lambda: house.path)
    assert run(house.files["image"])[0] == 0


def test_this_machines_usual_ledger_is_no_hindrance(
    run: Run, house: House, own: House, other: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("rigvision.cli.verifying.ledger_path", lambda: other.path)
    assert run(house.files["page"])[0] == 0
    assert run(other.files["image"])[0] == 0
    monkeypatch.setattr("rigvision.cli.verifying.ledger_path", lambda: own.path)
    own.path.write_bytes(b"SQLite format 3\0 broken")
    assert run(house.files["page"])[0] == 0


def test_a_ledger_that_is_named_but_missing_is_said(run: Run, house: House, tmp_path: Path) -> None:
    status, _, err = run(house.files["page"], "--ledger", tmp_path / "no.sqlite3")
    assert (status, "There is no ledger at" in err) == (1, True)


# Damage


@given(form=st.sampled_from(FORMS), at=st.integers(0, 10**9), flip=st.integers(1, 255))
@settings(max_examples=150)
def test_no_byte_of_what_left_the_house_can_be_changed(
    house: House, form: Form, at: int, flip: int
) -> None:
    """With nothing but the file: never intact, and never a crash."""
    damaged = bytearray(house.content(form))
    damaged[at % len(damaged)] ^= flip
    with suppress(ExportError):
        assert verify_bytes(bytes(damaged), "it").outcome != "intact"


@given(at=st.integers(0, 10**9), flip=st.integers(1, 255))
@settings(max_examples=60)
def test_nor_of_an_image_where_its_ledger_is_at_hand(house: House, at: int, flip: int) -> None:
    damaged = bytearray(house.content("image"))
    damaged[at % len(damaged)] ^= flip
    with Ledger.open(house.path, read_only=True) as ledger:
        assert verify_bytes(bytes(damaged), "it", ledger).outcome != "intact"


def test_a_page_that_shows_something_else_is_called_changed(house: House) -> None:
    """The attached record is whole, so it is said what it says; the page is not to be trusted."""
    content = house.content("page")
    said = verify_bytes(content.replace(b"/MediaBox [0 0", b"/MediaBox [0 1"), "page.pdf")
    assert said.outcome == "changed"
    assert "changed after the ledger signed it" in said.sentence
    assert "intact: verdict pass" in said.sentence


def test_a_file_exchanged_inside_a_bundle_is_named(house: House) -> None:
    files = read_zip(house.content("bundle"))
    for name in sorted(files):
        said = verify_bytes(write_zip(files | {name: files[name] + b" "}), "b.zip")
        assert said.outcome == "changed", name
        assert name in said.sentence or name in ("record.json", "manifest.json")


def test_a_file_left_out_of_a_bundle_or_put_into_it_is_named(house: House) -> None:
    files = read_zip(house.content("bundle"))
    for name in sorted(files):
        fewer = {other: content for other, content in files.items() if other != name}
        said = verify_bytes(write_zip(fewer), "b.zip")
        assert (said.outcome, name in said.sentence) == ("changed", True)
    said = verify_bytes(write_zip(files | {"zz.exe": b"MZ"}), "b.zip")
    assert (said.outcome, "zz.exe" in said.sentence) == ("changed", True)


def test_a_manifest_signed_by_another_key_is_found_out(house: House) -> None:
    from rigvision.records.signature import signed

    files = read_zip(house.content("bundle"))
    plain = parsed(files["manifest.json"])
    plain["public_key"] = INSPECTOR.owner.public_key
    del plain["signature"]
    message = b"rigvision.bundle/1\n" + canonical(plain)
    plain["signature"] = signed(INSPECTOR.private_key, message)
    said = verify_bytes(write_zip(files | {"manifest.json": canonical(plain)}), "b.zip")
    assert (said.outcome, "another key" in said.sentence) == ("changed", True)


# Files that are none of ours


@pytest.mark.parametrize(
    ("content", "cause"),
    [
        (b"{}", "no record that rigvision wrote"),
        (b'{"a": 1}', "no record that rigvision wrote"),
        (b"%PDF-1.4\n%%EOF", "no page that rigvision wrote"),
        (b"PK\x03\x04" + bytes(40), "no bundle that rigvision wrote"),
        (b"PK\x05\x06" + bytes(18), "no bundle that rigvision wrote"),
    ],
)
def test_a_strangers_file_fails_in_a_sentence(
    run: Run, tmp_path: Path, content: bytes, cause: str
) -> None:
    (tmp_path / "file").write_bytes(content)
    status, out, err = run(tmp_path / "file")
    assert (status, out, cause in err) == (1, "", True)


@pytest.mark.parametrize(
    ("make", "cause"),
    [
        (lambda p: None, "No such file"),
        (lambda p: p.mkdir(), "it is a folder"),
    ],
)
def test_what_cannot_be_read_is_said(
    run: Run, tmp_path: Path, make: Callable[[Path], None], cause: str
) -> None:
    make(tmp_path / "file")
    status, _, err = run(tmp_path / "file")
    assert (status, cause in err) == (1, True)


@pytest.mark.skipif(sys.platform == "win32", reason="pipes have names on POSIX only")
def test_a_pipe_is_not_waited_for(run: Run, tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    status, _, err = run(tmp_path / "pipe")
    assert (status, "not an ordinary file" in err) == (1, True)


def test_a_hostile_name_does_not_reach_the_terminal(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "a\x1b[2J\u202e.jpg"
    path.write_bytes(b"x")
    status, out, _ = run(path)
    assert (status, "\x1b" in out or "\u202e" in out) == (6, False)


# Exporting


def test_an_export_is_entered_with_its_hash(house: House) -> None:
    with Ledger.open(house.path, read_only=True) as ledger:
        entered = [e.body for e in ledger.entries() if e.kind == "exported"]
    assert [e["form"] for e in entered] == list(FORMS)
    for body in entered:
        content = house.content(body["form"])
        assert (body["sha256"], body["size_bytes"]) == (sha256_of(content), len(content))


def test_no_file_is_overwritten(own: House) -> None:
    first = own.content("image")
    own.files["image"].write_bytes(b"mine")
    with Ledger.open(own.path) as ledger:
        second = export(ledger, own.record, "image", own.files["image"].parent)
    assert second.name == f"{own.record}-2.{ENDINGS['image']}"
    assert second.read_bytes() == first
    assert own.files["image"].read_bytes() == b"mine"
    assert not list(second.parent.glob(".*"))


@pytest.mark.parametrize("form", FORMS)
def test_what_cannot_be_written_is_said_and_not_entered(
    own: House, tmp_path: Path, form: Form
) -> None:
    (tmp_path / "taken").write_bytes(b"")
    with Ledger.open(own.path) as ledger:
        before = ledger.head().count
        with pytest.raises(ExportError, match="cannot be written into"):
            export(ledger, own.record, form, tmp_path / "taken")
        assert ledger.head().count == before


def test_a_record_that_is_not_whole_does_not_leave(own: House) -> None:
    from rigvision.records.bodies import CheckSigned
    from rigvision.records.entry_body import entry_body

    with Ledger.open(own.path) as ledger:
        again = [e for e in ledger.entries_of(own.record) if e.kind == "check-signed"][-1]
        with ledger.writing() as writing:
            writing.append(entry_body(again, CheckSigned))
        with pytest.raises(ExportError, match=r"is not exported, as it is not whole: .* already"):
            export(ledger, own.record, "bundle", own.files["bundle"].parent)


def test_nothing_leaves_that_does_not_verify(own: House, monkeypatch) -> None:
    monkeypatch.setitem(exporting._MAKE, "page", lambda ledger, leaving: b"%PDF-rigvision")
    with (
        Ledger.open(own.path) as ledger,
        pytest.raises(ExportError, match="not exported"),
    ):
        export(ledger, own.record, "page", own.files["page"].parent)


def test_an_unsigned_record_may_leave_and_says_so(own: House) -> None:
    (own.folder / "b").mkdir()
    with ledger_with_keys(own.folder / "b") as ledger:
        path = export(ledger, record_a_check(ledger), "bundle", own.folder)
    said = verify_bytes(path.read_bytes(), "b.zip")
    assert (said.outcome, "signed by nobody" in said.sentence) == ("intact", True)


def test_a_bundle_holds_the_photo_byte_for_byte(house: House) -> None:
    bundle = parse_bundle(house.content("bundle"))
    assert bundle.files["photo.jpg"] == PHOTO
    assert bundle.files["analysed.jpg"] == house.content("image")
    assert set(bundle.files) == {
        "analysed.jpg",
        "manifest.json",
        "models/1-gauge.toml",
        "page.pdf",
        "photo.jpg",
        "readme.txt",
        "record.json",
    }


# A whole ledger


def test_a_ledger_is_recognised_and_verified(run: Run, house: House) -> None:
    status, out, err = run(house.path)
    assert (status, err) == (0, "")
    assert "is intact: 10 entries" in out.splitlines()[0]
    assert run(house.path, "--ledger-key", house.key)[0] == 0
    assert run(house.path, "--ledger-key", "00" * 16)[0] == 6


def test_a_changed_entry_of_a_ledger_is_named(run: Run, own: House) -> None:
    with closing(sqlite3.connect(own.path)) as forged:
        guards = _drop_guards(forged)
        change = "UPDATE entry SET body = replace(body, 'accepted', 'rejected') WHERE sequence = 7"
        forged.executescript(guards + change)
    status, out, _ = run(own.path)
    assert (status, "changed or damaged: entry 7" in out.splitlines()[0]) == (5, True)
    said = json.loads(run(own.path, "--json")[1])
    assert (said["what"], said["outcome"]) == ("ledger", "changed")


def test_torn_evidence_of_a_ledger_is_named(run: Run, own: House) -> None:
    path = next(own.folder.glob("ledger.sqlite3.evidence/*/*"))
    path.chmod(0o600)
    path.write_bytes(path.read_bytes()[:-1])
    status, out, _ = run(own.path)
    assert (status, path.name[:8] in out) == (5, True)


def test_a_ledger_is_not_compared_with_a_ledger(run: Run, house: House) -> None:
    status, _, err = run(house.path, "--ledger", house.path)
    assert (status, "is itself a ledger" in err) == (2, True)


def test_a_database_of_another_program_is_no_ledger(run: Run, tmp_path: Path) -> None:
    with closing(sqlite3.connect(tmp_path / "other.db")) as other:
        other.execute("CREATE TABLE t (a)")
    status, _, err = run(tmp_path / "other.db")
    assert (status, "is no ledger" in err) == (1, True)
