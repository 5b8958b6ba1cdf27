"""The commands job, record and check --job: what they print, refuse and end with."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from rigvision.cli.main import main
from rigvision.records import recording
from rigvision.records.enrolment import enrol
from rigvision.records.jobs import close_job
from rigvision.records.ledger import Ledger
from rigvision.records.person_key import new_key
from rigvision.records.record_view import view_record
from rigvision.records.signing import sign_record
from rigvision.report.saved_result import parse_saved
from tests.half_size import half_size, half_size_file
from tests.job_rig import DOOR, drawn_once, open_job_in, recorded_sample
from tests.signing import INSPECTOR, MECHANIC
from tests.test_cli import HEAVY
from tests.test_layers import loaded_after

PASSPHRASE = "copper lantern orbit walnut"


@pytest.fixture(autouse=True)
def _plain_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("FORCE_COLOR", "RIGVISION_DEBUG", "RIGVISION_MODELS", "RIGVISION_LEDGER"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("NO_COLOR", "1")
    monkeypatch.setenv("COLUMNS", "100")
    monkeypatch.setenv("RIGVISION_PASSPHRASE", PASSPHRASE)
    monkeypatch.setattr(recording, "unsealed_image", drawn_once)


@pytest.fixture(scope="module")
def photos(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("photos")


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory, photos: Path) -> Path:
    """J-0001 with a before, accepted, and an after, measured; J-0002 is closed."""
    path = tmp_path_factory.mktemp("kept") / "ledger.sqlite3"
    patch = pytest.MonkeyPatch()
    patch.setattr(recording, "unsealed_image", drawn_once)
    with Ledger.create(path) as ledger:
        for key in (MECHANIC, INSPECTOR):
            enrol(ledger, key.owner)
        open_job_in(ledger)
        open_job_in(ledger, door=2)
        before = recorded_sample(ledger, "open-1.3mm.jpg", photos, stage="before")
        after = recorded_sample(ledger, "nominal.jpg", photos, stage="after")
        for record in (before.record, after.record):
            sign_record(ledger, record, MECHANIC, "measured")
        sign_record(ledger, before.record, INSPECTOR, "accepted", "as found")
        close_job(ledger, "J-0002", "B. Lead")
    patch.undo()
    return path


@pytest.fixture
def ledger(made: Path, tmp_path: Path) -> Path:
    """A copy of it that the test may add to."""
    for path in made.parent.iterdir():
        copy = shutil.copytree if path.is_dir() else shutil.copy
        copy(path, tmp_path / path.name)
    return tmp_path / made.name


@pytest.fixture(scope="module")
def keys(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Key files of a mechanic and an inspector, quick to open."""
    folder = tmp_path_factory.mktemp("keys")
    for name, role in (("Mia Long", "mechanic"), ("Ian Hart", "inspector")):
        at = "2026-11-26T14:00:00.000000Z"
        new_key(folder / f"{role}.key", name, role, PASSPHRASE, at, cost=14)  # type: ignore[arg-type]
    return folder


def run(*arguments: object) -> int:
    with pytest.raises(SystemExit) as ended:
        main([str(a) for a in arguments])
    return int(ended.value.code or 0)


def records(path: Path) -> dict[str, str]:
    """Ids by stage."""
    with Ledger.open(path, read_only=True) as ledger:
        rows = ledger.connection.execute("SELECT stage, record FROM check_recorded").fetchall()
    return dict(rows)


def entries(path: Path) -> int:
    with Ledger.open(path, read_only=True) as ledger:
        return ledger.head().count


@pytest.fixture
def told(capsys: pytest.CaptureFixture[str]) -> Callable[..., Any]:
    """Run a command that succeeds, and give its JSON."""

    def tell(*arguments: object) -> Any:
        capsys.readouterr()
        assert run(*arguments, "--json") == 0
        shown = capsys.readouterr()
        return json.loads(shown.out)

    return tell


# Jobs


def test_the_first_job_makes_the_ledger(tmp_path: Path, told) -> None:
    path = tmp_path / "new" / "ledger.sqlite3"
    opened = told(
        *("job", "open", "--work-order", "WO 1", "--engine", "ESN-7", "--door", 3),
        *("--by", "A. Fitter", "--ledger", path),
    )
    assert (opened["job"], opened["frame"], opened["position"]) == ("J-0001", "DF-10", "ordinary")
    assert opened["head"]["count"] == 2
    (listed,) = told("job", "list", "--ledger", path)["jobs"]
    assert (listed["work_order"], listed["opened_by"]) == ("WO 1", "A. Fitter")


def test_a_ledger_on_a_network_is_doubted_where_a_job_is_opened(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("rigvision.records.file_system.file_system_of", lambda folder: "nfs4")
    job = ("job", "open", "--work-order", "WO 1", "--engine", "ESN-7", "--door", 3)
    assert run(*job, "--by", "A. Fitter", "--ledger", tmp_path / "l.sqlite3") == 0
    shown = capsys.readouterr()
    assert "lies on a network (nfs4)" in shown.err
    assert "network" not in shown.out


def test_who_is_logged_in_opens_it(tmp_path: Path, told, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("getpass.getuser", lambda: "fitter7")
    opened = told(
        *("job", "open", "--work-order", "WO 1", "--engine", "E", "--door", 1),
        *("--ledger", tmp_path / "l"),
    )
    assert opened["opened_by"] == "fitter7"


def test_a_job_is_shown_with_its_checks(made: Path, told) -> None:
    shown = told("job", "show", "j-0001", "--ledger", made)
    assert [(r["stage"], r["status"]) for r in shown["records"]] == [
        ("before", "accepted"),
        ("after", "measured"),
    ]
    assert shown["closed"] is None
    assert len(told("job", "list", "--ledger", made)["jobs"]) == 1
    assert len(told("job", "list", "--all", "--ledger", made)["jobs"]) == 2


def test_closing_says_what_nobody_has_decided(ledger: Path, told) -> None:
    closed = told("job", "close", "J-0001", "--by", "B. Lead", "--ledger", ledger)
    assert closed["unsigned"] == [records(ledger)["after"]]
    assert closed["closed"]["closed_by"] == "B. Lead"


# Finding and showing


def test_records_are_listed_and_searched(made: Path, told) -> None:
    ids = records(made)
    listed = told("record", "list", "--ledger", made)
    assert [r["record"] for r in listed["records"]] == [ids["after"], ids["before"]]
    found = told(
        *("record", "search", "--engine", "esn-7", "--door", DOOR, "--verdict", "pass"),
        *("--stage", "after", "--status", "measured", "--ledger", made),
    )
    assert [r["record"] for r in found["records"]] == [ids["after"]]
    nothing = told("record", "search", "--borderline", "--ledger", made)
    assert nothing == {"schema": "rigvision.records/1", "records": [], "more": False}


def test_a_record_is_shown_whole(made: Path, told, tmp_path: Path) -> None:
    record = records(made)["before"]
    shown = told("record", "show", record.lower(), "--out", tmp_path, "--ledger", made)
    assert shown["status"] == "accepted"
    assert shown["core"]["record"] == record
    assert shown["decided"]["statement"]["remark"] == "as found"
    parse_saved(json.dumps(shown["result"]).encode())
    image = (tmp_path / f"{record}.checked.jpg").read_bytes()
    with Ledger.open(made, read_only=True) as ledger:
        assert ledger.evidence.read(shown["image"]["sha256"]) == image


def test_people_read_the_same_on_a_phone(
    made: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "44")
    record = records(made)["before"]
    for command in (
        ("record", "show", record),
        ("record", "list"),
        ("record", "compare", "J-0001"),
        ("job", "show", "J-0001"),
        ("job", "list", "--all"),
    ):
        assert run(*command, "--ledger", made) == 0
        shown = capsys.readouterr().out
        assert max(len(line) for line in shown.splitlines()) <= 44, command
        if command[0] == "record" and command[1] != "compare":
            assert record in shown
            assert "ACCEPTED" in shown


def test_a_terminal_that_knows_only_ascii(
    made: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    import io
    import sys

    stream = io.TextIOWrapper(io.BytesIO(), encoding="ascii")
    monkeypatch.setattr(sys, "stdout", stream)
    assert run("record", "compare", "J-0001", "--ledger", made) == 0
    stream.flush()
    assert b"+/-" in stream.buffer.getvalue()  # type: ignore[attr-defined]


# Comparing


def test_before_and_after_stand_side_by_side(made: Path, told, tmp_path: Path) -> None:
    ids = records(made)
    found = told("record", "compare", "J-0001", "--out", tmp_path, "--ledger", made)
    assert (found["before"]["record"], found["after"]["record"]) == (ids["before"], ids["after"])
    gap = next(c for c in found["changes"] if c["key"] == "gap")
    assert gap["beyond_doubt"] is True
    assert gap["change"] == pytest.approx(gap["after"] - gap["before"], abs=1e-9)
    assert found["expected"]["key"] == "gap after turning"
    with Image.open(found["written"]) as image:
        assert (image.format, image.width) == ("JPEG", 2000)
        assert image.height > 2500


def test_two_records_are_compared_in_their_order(made: Path, told) -> None:
    ids = records(made)
    turned = told("record", "compare", ids["after"], ids["before"], "--ledger", made)
    assert turned["before"]["record"] == ids["before"]


# Signing and correcting


def test_who_inspects_is_not_who_measured(
    ledger: Path, keys: Path, told, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for role in ("mechanic", "inspector"):
        assert run("key", "enrol", keys / f"{role}.key", "--ledger", ledger) == 0
    record = records(ledger)["after"]
    sign = ("record", "sign", record, "--ledger", ledger, "--key")
    before = entries(ledger)
    refusals = (
        ((keys / "mechanic.key",), 1, "signed as measured by Jo Miller already"),
        ((keys / "inspector.key",), 2, "did not say what"),
        ((keys / "inspector.key", "--decision", "measured"), 1, "accepts or rejects"),
        ((keys / "inspector.key", "--decision", "rejected"), 1, "remark"),
        ((keys / "inspector.key", "--decision", "accepted", "--remark", "a\u202eb"), 2, "remark"),
        ((keys / "nobody.key", "--decision", "accepted"), 1, "cannot be read"),
    )
    for arguments, code, said in refusals:
        assert run(*sign, *arguments) == code, said
        assert said in capsys.readouterr().err
    assert entries(ledger) == before
    done = told(*sign, keys / "inspector.key", "--decision", "accepted", "--out", tmp_path / "out")
    assert (done["decision"], done["person"]) == ("accepted", "Ian Hart")
    assert done["head"]["count"] == before + 1
    assert (tmp_path / "out" / f"{record}.checked.jpg").exists()
    assert run(*sign, keys / "inspector.key", "--decision", "rejected", "--remark", "no") == 1
    assert "was accepted by Ian Hart already" in capsys.readouterr().err


def test_what_is_signed_is_shown_first(
    ledger: Path, keys: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run("key", "enrol", keys / "inspector.key", "--ledger", ledger)
    record = records(ledger)["after"]
    capsys.readouterr()
    sign = ("record", "sign", record, "--key", keys / "inspector.key", "--ledger", ledger)
    assert run(*sign, "--decision", "accepted", "--remark", "seen [red]x[/red]") == 0
    shown = capsys.readouterr().out
    order = ["PASS", "Gap", "FLAG taken-before-job", "measured by Jo Miller", "accepted"]
    assert [shown.index(words) for words in order] == sorted(shown.index(w) for w in order)
    assert run("record", "show", record, "--ledger", ledger) == 0
    assert "seen [red]x[/red]" in capsys.readouterr().out


def test_a_wrong_passphrase_signs_nothing(
    ledger: Path, keys: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    run("key", "enrol", keys / "inspector.key", "--ledger", ledger)
    before = entries(ledger)
    monkeypatch.setenv("RIGVISION_PASSPHRASE", "wrong lantern orbit walnut")
    sign = ("record", "sign", records(ledger)["after"], "--key", keys / "inspector.key")
    assert run(*sign, "--decision", "accepted", "--ledger", ledger) == 1
    assert "does not open" in capsys.readouterr().err
    assert entries(ledger) == before


def test_a_corrected_record_cannot_be_signed(
    ledger: Path, keys: Path, told, capsys: pytest.CaptureFixture[str]
) -> None:
    run("key", "enrol", keys / "inspector.key", "--ledger", ledger)
    ids = records(ledger)
    done = told(
        *("record", "correct", ids["after"], "--cause", "wrong door", "--by", "A. Fitter"),
        *("--replaced-by", ids["before"], "--ledger", ledger),
    )
    assert done["replaced_by"] == ids["before"]
    sign = ("record", "sign", ids["after"], "--key", keys / "inspector.key")
    assert run(*sign, "--decision", "accepted", "--ledger", ledger) == 1
    assert "was corrected" in capsys.readouterr().err
    assert run("record", "compare", "J-0001", "--ledger", ledger) == 2
    assert "no record of the door after the work" in capsys.readouterr().err


# Running again


def test_a_replay_ends_with_whether_it_is_the_same(
    made: Path, told, capsys: pytest.CaptureFixture[str]
) -> None:
    record = records(made)["before"]
    assert told("record", "replay", record, "--ledger", made)["exact"] is True
    assert run("record", "replay", record, "--ledger", made) == 0
    assert "exactly the same, in every digit" in capsys.readouterr().out


def test_a_replay_that_comes_out_differently_ends_with_one(
    made: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from rigvision.records import replay as module

    def other(*_: object) -> object:
        import rigvision

        return rigvision.check(Path(module.__file__).parents[2] / "sample_images" / "blurred.jpg")

    monkeypatch.setattr(module, "check", other)
    assert run("record", "replay", records(made)["before"], "--ledger", made) == 1
    shown = capsys.readouterr().out
    assert "COMES OUT DIFFERENTLY" in shown
    assert "verdict: adjust, now retake" in shown


# Checking into a job


def test_a_check_goes_into_a_job(ledger: Path, told, tmp_path: Path) -> None:
    photo = half_size_file("open-2.2mm.jpg", tmp_path)
    # Its verdict is adjust: the exit code stays that of the check.
    assert run("check", photo, "--job", "j-0001", "--ledger", ledger, "--json") == 3
    with Ledger.open(ledger, read_only=True) as opened:
        (row,) = opened.connection.execute(
            "SELECT record FROM check_recorded WHERE stage IS NULL"
        ).fetchall()
        view = view_record(opened, row[0])
    assert (view.result.door, view.core.settings["door"]) == (DOOR, DOOR)
    assert view.core.photo.name == "open-2.2mm.jpg"


def test_its_json_names_the_record(
    ledger: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    photo = half_size_file("open-2.2mm.jpg", tmp_path)
    arguments = ("--job", "J-0001", "--stage", "before", "--ledger", ledger, "--json")
    assert run("check", photo, *arguments, "--out", tmp_path / "out") == 3
    shown = capsys.readouterr()
    printed = json.loads(shown.out)
    assert printed["record"]["job"] == "J-0001"
    assert printed["record"]["stage"] == "before"
    assert printed["record"]["head"]["count"] == entries(ledger)
    parse_saved(shown.out.encode())
    assert (tmp_path / "out" / f"{printed['record']['id']}.checked.jpg").exists()


def test_several_photos_and_one_that_is_recorded_already(
    ledger: Path, photos: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    fresh = half_size_file("tapered-0.3mm.jpg", tmp_path)
    again = half_size_file("nominal.jpg", tmp_path, "other name.jpg")
    before = entries(ledger)
    arguments = ("--job", "J-0001", "--ledger", ledger, "--json")
    assert run("check", again, fresh, tmp_path / "gone.jpg", *arguments) == 1
    shown = capsys.readouterr()
    first, second, third = json.loads(shown.out)
    assert first["record"]["error"]["code"] == "photo-recorded"
    assert records(ledger)["after"] in first["record"]["error"]["text"]
    assert "id" in second["record"]
    assert third["error"]["code"] == "missing"
    assert "other name.jpg is recorded already" in shown.err
    assert entries(ledger) == before + 1


def test_a_copy_that_was_saved_again_is_flagged(
    ledger: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with Image.open(BytesIO(half_size("nominal.jpg"))) as image:
        copy = tmp_path / "copy.jpg"
        image.save(copy, quality=85)
    run("check", copy, "--job", "J-0001", "--ledger", ledger, "--json")
    record = json.loads(capsys.readouterr().out)["record"]
    flags = {flag["code"]: flag["record"] for flag in record["flags"]}
    assert flags["same-photo"] == records(ledger)["after"]
    assert "taken-at-missing" in flags


def test_it_is_signed_at_once_with_a_key(
    ledger: Path, keys: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    photo = half_size_file("open-2.2mm.jpg", tmp_path)
    arguments = ("--job", "J-0001", "--key", keys / "mechanic.key", "--ledger", ledger)
    assert run("check", photo, *arguments) == 1
    assert "not enrolled" in capsys.readouterr().err
    run("key", "enrol", keys / "mechanic.key", "--ledger", ledger)
    assert run("check", photo, *arguments) == 3
    assert "signed as measured by Mia Long" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--job", "J-0009"), "There is no job 'J-0009'"),
        (("--job", "J-0010"), "J-0001 meant?"),
        (("--job", ""), "There is no job ''"),
        (("--job", "../../J\x1b[31m"), "There is no job"),
        (("--job", "J-0002"), "was closed by B. Lead"),
        (("--job", "J-0001", "--door", "3"), "about door 6 of DF-10, not door 3"),
        (("--job", "J-0001", "--frame", "XX-1"), "There is no frame named"),
        (("--job", "J-0001", "--joint"), "a record is about one photo"),
        (("--stage", "before"), "Name it with --job"),
        (("--job", "J-0001", "--passphrase-file", "x"), "Name it with --key"),
        (("--job", "J-0001", "--stage", "during"), "during"),
    ],
)
def test_what_does_not_fit_is_refused_before_anything_is_measured(
    ledger: Path,
    photos: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    arguments: tuple[str, ...],
    said: str,
) -> None:
    monkeypatch.setattr("rigvision.check_many", lambda *_, **__: pytest.fail("measured"))
    before = entries(ledger)
    assert run("check", photos / "nominal.jpg", *arguments, "--ledger", ledger) == 2
    shown = capsys.readouterr()
    assert said in shown.err
    assert shown.out == ""
    assert "\x1b" not in shown.err
    assert entries(ledger) == before


def test_another_frame_than_the_jobs_is_refused(
    ledger: Path, photos: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from rigvision.world.catalogue import models_folder

    other = tmp_path / "other.toml"
    text = (models_folder() / "frames" / "DF-10.toml").read_text(encoding="utf-8")
    other.write_text(text.replace('name = "DF-10"', 'name = "DF-11"'), encoding="utf-8")
    arguments = ("--job", "J-0001", "--frame", other, "--ledger", ledger)
    assert run("check", photos / "nominal.jpg", *arguments) == 2
    assert "about frame DF-10, not DF-11" in capsys.readouterr().err


def test_without_a_ledger_nothing_is_measured(
    photos: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for command in (
        ("check", photos / "nominal.jpg", "--job", "J-0001"),
        ("record", "list"),
        ("job", "show", "J-0001"),
    ):
        assert run(*command, "--ledger", tmp_path / "none.sqlite3") == 1
        assert "There is no ledger at" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("command", "said"),
    [
        (("record", "show", "AAAA-AAA"), "is no record's id"),
        (("record", "show", "\x1b]0;x\x07"), "is no record's id"),
        (("record", "show", "ZZZZ-ZZZZ"), "There is no record ZZZZ-ZZZZ"),
        (("record", "replay", "ZZZZ-ZZZZ"), "There is no record"),
        (("record", "sign", "ZZZZ-ZZZZ", "--key", "{keys}/inspector.key"), "did not say"),
        (("record", "compare", "J-0002"), "no record of the door before"),
        (("record", "compare", "{before}", "{before}"), "was given twice"),
        (("record", "search", "--since", "last week"), "is no day"),
        (("record", "list", "--most", "0"), "1 to 10000"),
        (("job", "show", "J-000l"), "Is J-000"),
        (("job", "close", "J-0002", "--by", "x"), "was closed"),
        (("job", "close", "J-0001", "--by", "\u202e"), "cannot stand for a person"),
        (
            ("job", "open", "--work-order", "W", "--engine", "\x1b[2J", "--door", "1"),
            "do not show",
        ),
        (("job", "open", "--work-order", "W", "--engine", "E", "--door", "99"), "doors 1 to 10"),
        (
            ("job", "open", "--work-order", "W", "--engine", "E", "--door", "1", "--ref", "../x"),
            "cannot be a job's reference",
        ),
        (("record", "correct", "{before}", "--cause", ""), "cause is empty"),
    ],
)
def test_wrong_usage_is_a_sentence_and_changes_nothing(
    ledger: Path,
    keys: Path,
    capsys: pytest.CaptureFixture[str],
    command: tuple[str, ...],
    said: str,
) -> None:
    before = entries(ledger)
    facts = {"before": records(ledger)["before"], "keys": keys}
    arguments = [a.format(**facts) if "{" in a else a for a in command]
    assert run(*arguments, "--ledger", ledger) == 2
    shown = capsys.readouterr()
    assert said in shown.err
    assert shown.out == ""
    assert not set(shown.err) & {"\x1b", "\u202e", "\x07"}
    assert entries(ledger) == before


def test_two_doors_are_not_compared(
    ledger: Path, photos: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with Ledger.open(ledger) as opened:
        open_job_in(opened, door=2)
        other = recorded_sample(opened, "open-2.2mm.jpg", photos, "J-0003")
    assert (
        run("record", "compare", records(ledger)["before"], other.record, "--ledger", ledger) == 2
    )
    assert "is of door 2 of DF-10" in capsys.readouterr().err


def test_a_file_that_is_there_is_never_written_over(
    made: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    record = records(made)["before"]
    taken = tmp_path / f"{record}.checked.jpg"
    taken.write_bytes(b"mine")
    assert run("record", "show", record, "--out", tmp_path, "--ledger", made) == 2
    assert "There is another file at" in capsys.readouterr().err
    assert taken.read_bytes() == b"mine"


def test_help_loads_nothing_heavy() -> None:
    """Of all libraries only the one that the command line itself reads its types with."""
    loaded = loaded_after(
        "from typer.testing import CliRunner; from rigvision.cli.main import app; "
        "[CliRunner().invoke(app, c) for c in "
        "(['--help'], ['job', '--help'], ['record', 'sign', '--help'])]"
    )
    assert "rigvision.cli.record_commands" in loaded
    assert set(HEAVY) & loaded <= {"pydantic"}


def test_the_first_help_does_not_even_read_the_commands() -> None:
    loaded = loaded_after(
        "from typer.testing import CliRunner; from rigvision.cli.main import app; "
        "assert 'record' in CliRunner().invoke(app, ['--help']).output"
    )
    assert not {"rigvision.cli.record_commands", "rigvision.cli.job_commands"} & loaded


# Copies


def test_a_backup_brings_a_lost_ledger_back(ledger: Path, told, tmp_path: Path) -> None:
    made = told("record", "backup", tmp_path / "copy", "--ledger", ledger)
    assert made["head"]["count"] == entries(ledger)
    assert made["problems"] == []
    for path in (ledger, ledger.with_name(f"{ledger.name}-wal")):
        path.unlink(missing_ok=True)
    shutil.rmtree(ledger.with_name(f"{ledger.name}.evidence"))
    done = told("record", "restore", tmp_path / "copy", "--ledger", ledger)
    assert done["head"] == made["head"]
    assert done["files_put_back"] == made["files"]
    record = records(ledger)["before"]
    assert told("record", "replay", record, "--ledger", ledger)["exact"]


def test_evidence_that_is_missing_is_said_when_it_is_backed_up(
    ledger: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with Ledger.open(ledger, read_only=True) as opened:
        view = view_record(opened, records(ledger)["before"])
        opened.evidence.path(view.core.photo.sha256).unlink()
    assert run("record", "backup", tmp_path / "copy", "--ledger", ledger) == 1
    assert "is missing" in capsys.readouterr().out
    assert run("record", "restore", tmp_path / "nowhere", "--ledger", ledger) == 1
