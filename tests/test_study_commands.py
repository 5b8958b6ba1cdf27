"""The commands study plan, take and report: what they print, write, refuse and end with."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pytest

import rigvision
from rigvision.cli.main import main
from rigvision.decision.result import CheckResult
from rigvision.ground.errors import PhotoError
from rigvision.records import recording
from rigvision.records.ledger import Ledger
from tests.half_size import half_size_file
from tests.invented_study import invented_result
from tests.job_rig import drawn_once, open_job_in, recorded_sample
from tests.test_cli import HEAVY
from tests.test_layers import loaded_after

Streams = pytest.CaptureFixture[str]


@pytest.fixture(autouse=True)
def _plain_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("FORCE_COLOR", "RIGVISION_DEBUG", "RIGVISION_MODELS", "RIGVISION_LEDGER"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("NO_COLOR", "1")
    monkeypatch.setenv("COLUMNS", "100")
    monkeypatch.setattr(recording, "unsealed_image", drawn_once)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A study of two doors by two people, two shots each: eight photos."""
    found = tmp_path / "study"
    assert run(*planned(found)) == 0
    return found


def planned(folder: Path, *more: object) -> list[object]:
    words = f"study plan {folder} --name Gap --frame DF-10 --door 3 --door 6 --shots 2 --seed 5"
    return [*words.split(), "--person", "A. One", "--person", "B. Two", *more]


def run(*arguments: object) -> int:
    with pytest.raises(SystemExit) as ended:
        main([str(a) for a in arguments])
    return int(ended.value.code or 0)


@pytest.fixture
def checked(monkeypatch: pytest.MonkeyPatch) -> list[tuple[Any, ...]]:
    """In the check's place: a gap from the photo's name; gives the calls it has seen."""
    calls: list[tuple[Any, ...]] = []

    def check(photo: Path, *arguments: Any) -> CheckResult:
        calls.append((photo.name, *arguments))
        if photo.name.startswith("bad"):
            raise PhotoError("broken", f"{photo.name} is broken.", "Copy it again.")
        verdict = "retake" if photo.name.startswith("dark") else "pass"
        return invented_result(0.8 + len(calls) / 1000, photo.name, verdict)

    monkeypatch.setattr(rigvision, "check", check, raising=False)
    return calls


def photos(folder: Path, *names: str) -> list[Path]:
    for name in names:
        (folder / name).write_bytes(name.encode())
    return [folder / name for name in names]


def test_a_plan_is_written_once(tmp_path, capsys):
    folder = tmp_path / "study"
    assert run(*planned(folder)) == 0
    shown = capsys.readouterr().out
    assert "8 photos, seed 5" in shown
    plan = json.loads((folder / "plan.json").read_text())
    assert [s["name"] for s in plan["settings"]] == ["door 3", "door 6"]
    assert "A. One" in (folder / "plan.html").read_text()
    before = (folder / "plan.json").read_bytes()
    assert run(*planned(folder, "--quantity", "tilt")) == 1
    assert "already" in capsys.readouterr().err
    assert (folder / "plan.json").read_bytes() == before


def test_a_plan_for_programs(tmp_path, capsys):
    assert run(*planned(tmp_path / "s", "--json", "--nested")) == 0
    plan = json.loads(capsys.readouterr().out)
    assert plan["schema"] == "rigvision.study-plan/1"
    assert plan["kind"] == "nested"
    assert len(plan["order"]) == 4


def test_a_plan_from_a_file(tmp_path, capsys):
    file = tmp_path / "wanted.toml"
    file.write_text(
        'name = "S"\nframe = "DF-10"\nshots = 1\npeople = ["A. One"]\n[[setting]]\nname = "x"\n'
    )
    assert run("study", "plan", tmp_path / "s", "--from", file) == 0
    assert run("study", "plan", tmp_path / "t", "--from", file, "--seed", 3) == 2
    file.write_text("name = 3")
    assert run("study", "plan", tmp_path / "u", "--from", file) == 1
    assert "The study file" in capsys.readouterr().err
    assert not (tmp_path / "u").exists()


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        (["--frame", "DF-10", "--person", "A. One", "--door", 1], 2),
        (["--name", "S", "--frame", "NONE", "--person", "A. One", "--door", 1], 2),
        (["--name", "S", "--frame", "DF-10", "--door", 1], 1),
        (["--name", "S", "--frame", "DF-10", "--person", "A. One"], 1),
        (["--name", "S", "--frame", "DF-10", "--person", "A. One", "--door", 99], 2),
    ],
)
def test_an_empty_plan_is_refused_in_a_sentence(tmp_path, capsys, arguments, code):
    assert run("study", "plan", tmp_path / "s", *arguments) == code
    error = capsys.readouterr().err
    assert error.startswith("rigvision: ")
    assert len(error.splitlines()) == 1


def test_photos_are_taken_and_the_next_shot_is_named(folder, tmp_path, checked, capsys):
    assert run("study", "take", folder, *photos(tmp_path, "1.jpg", "2.jpg")) == 0
    shown = capsys.readouterr().out
    assert "Shot 1: gap 0.801 mm, pass." in shown
    assert "6 of the plan's shots are open." in shown
    assert "Next is shot 3: " in shown
    plan = json.loads((folder / "plan.json").read_text())
    door = int(plan["order"][0]["setting"].removeprefix("door "))
    assert checked[0] == ("1.jpg", None, "DF-10", door, None, False)


def test_the_exit_code_says_what_came_of_the_photos(folder, tmp_path, checked, capsys):
    assert run("study", "take", folder, *photos(tmp_path, "dark.jpg", "1.jpg")) == 4
    assert "To be taken again, each with --shot: 1." in capsys.readouterr().out
    assert run("study", "take", folder, *photos(tmp_path, "bad.jpg")) == 1
    assert run("study", "take", folder) == 2
    assert run("study", "take", tmp_path / "nowhere", *photos(tmp_path, "1.jpg")) == 1
    assert run("study", "take", folder, tmp_path / "1.jpg", "--frame", "none.toml") == 1


def test_taking_for_programs(folder, tmp_path, checked, capsys):
    capsys.readouterr()
    assert run("study", "take", folder, "--json", *photos(tmp_path, "1.jpg", "dark.jpg")) == 4
    plain = json.loads(capsys.readouterr().out)
    assert [o["came"] for o in plain["outcomes"]] == ["taken", "again"]
    assert plain["open"] == [2, 3, 4, 5, 6, 7, 8]


def test_a_study_from_plan_to_report(folder, tmp_path, checked, capsys):
    assert run("study", "take", folder, *photos(tmp_path, *(f"{i}.jpg" for i in range(8)))) == 0
    assert "Every shot is taken" in capsys.readouterr().out
    assert run("study", "report", folder) == 0
    shown = capsys.readouterr().out
    assert "Gap, 8 of 8 photos" in shown
    assert "First:" in shown
    page = (folder / "report.html").read_text()
    assert page.count("<figure>") == 5
    assert run("study", "report", folder, "--json", "--out", tmp_path / "r.html") == 0
    plain = json.loads(capsys.readouterr().out)
    assert plain["taken"] == 8
    assert plain["page"] == str(tmp_path / "r.html")
    assert run("study", "report", folder, "--out", tmp_path / "no" / "r.html") == 1
    assert "cannot be written" in capsys.readouterr().err
    assert run("study", "report", folder, "--out", tmp_path / "1.jpg") == 2
    assert (tmp_path / "1.jpg").read_bytes() == b"1.jpg"


def test_a_folder_that_is_a_file_is_said(tmp_path, capsys):
    (tmp_path / "s").write_text("mine")
    assert run(*planned(tmp_path / "s")) == 1
    assert "cannot be written" in capsys.readouterr().err
    assert (tmp_path / "s").read_text() == "mine"


def test_a_report_on_nothing_is_a_page(folder, capsys):
    assert run("study", "report", folder) == 0
    assert "It cannot be told yet" in capsys.readouterr().out
    assert "It cannot be told yet" in (folder / "report.html").read_text()


def test_a_real_photo_is_the_one_that_was_hashed(folder, tmp_path, capsys):
    """The check's own hash and the study's are the same: else nothing would be known again."""
    photo = half_size_file("nominal.jpg", tmp_path)
    assert run("study", "take", folder, photo) == 0
    assert run("study", "take", folder, photo) == 0
    assert "in the study already, as shot 1" in capsys.readouterr().out


def test_records_of_the_ledger_are_taken(folder, tmp_path, capsys):
    """The record is of door 6: it fits a shot of that door only."""
    ledger_file = tmp_path / "kept" / "ledger.sqlite3"
    ledger_file.parent.mkdir()
    with Ledger.create(ledger_file) as ledger:
        open_job_in(ledger)
        record = recorded_sample(ledger, "nominal.jpg", tmp_path).record
    order = json.loads((folder / "plan.json").read_text())["order"]
    at_6 = next(s["shot"] for s in order if s["setting"] == "door 6")
    at_3 = next(s["shot"] for s in order if s["setting"] == "door 3")
    take = ("study", "take", folder, "--ledger", ledger_file, "--record", record, "--shot")
    assert run(*take, at_3) == 4
    assert f"of door 6, but shot {at_3} is of door 3" in " ".join(capsys.readouterr().out.split())
    assert run(*take, at_6) == 0
    kept = json.loads((folder / "shots" / f"{at_6:04d}.json").read_text())
    assert kept["record"] == record
    assert run("study", "take", folder, "--record", "K7Q2-M9XA", "--ledger", ledger_file) == 2
    shutil.rmtree(ledger_file.parent)
    assert run("study", "take", folder, "--record", record, "--ledger", ledger_file) == 1


def test_help_loads_nothing_heavy():
    command = "from rigvision.cli import study_commands"
    heavy = {*HEAVY, "matplotlib", "jinja2"}
    assert not heavy & {name.split(".")[0] for name in loaded_after(command)}


def test_a_study_without_a_report_loads_no_plots():
    loaded = loaded_after("import rigvision.cli.study")
    assert not {"matplotlib", "jinja2", "scipy"} & {name.split(".")[0] for name in loaded}
