"""The command line: exit codes, what goes to which stream, what is imported when."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

import rigvision
from rigvision.cli.main import main
from rigvision.decision.reasons import Reason
from rigvision.decision.result import (
    BudgetLine,
    CheckResult,
    PhotoFacts,
    TurnsResult,
    Verdict,
    ViewResult,
    YokeResult,
)
from rigvision.evidence import Evidence
from rigvision.ground.errors import ModelError, PhotoError, UsageError

Outcome = CheckResult | PhotoError

#: Slow to load: nothing of it may be needed to say what the options are.
HEAVY = ("cv2", "numpy", "PIL", "pydantic", "scipy", "skimage", "rich")


@pytest.fixture(autouse=True)
def _plain_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("FORCE_COLOR", "RIGVISION_DEBUG", "RIGVISION_MODELS"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("NO_COLOR", "1")
    monkeypatch.setenv("COLUMNS", "100")


def outcome(name: str, verdict: Verdict) -> CheckResult:
    return CheckResult(
        photo=PhotoFacts(name, "ab" * 32, 900, 660, None),
        gauge="RG-10",
        frame="DF-10",
        door=None,
        camera="generic-phone",
        verdict=verdict,
        borderline=False,
        reasons=(Reason("glare", "Glare covers the gap.", "Tilt the torch."),),
        gap=None,
        yoke=YokeResult(),
        turns=TurnsResult(0.0, 0.01, "none", "gap", "No turn is needed."),
        uncertainty_budget=(),
        view=ViewResult(None, None, None, ()),
        version="0.0.0",
    )


UNREADABLE = PhotoError("empty", "bad.jpg is empty.", "Copy it again.")


@pytest.fixture
def checked(monkeypatch: pytest.MonkeyPatch) -> Callable[[Sequence[Outcome]], list[dict[str, Any]]]:
    """Puts these outcomes in the library's place; gives the calls that it will have seen."""

    def arrange(outcomes: Sequence[Outcome]) -> list[dict[str, Any]]:
        calls: list[dict[str, Any]] = []

        def check_many(photos: Sequence[Path], **options: Any) -> list[Outcome]:
            progress = options.pop("progress")
            calls.append({"photos": [str(p) for p in photos], **options})
            if progress:
                for done in range(1, len(outcomes) + 1):
                    progress(done)
            return list(outcomes)

        monkeypatch.setattr(rigvision, "check_many", check_many)
        return calls

    return arrange


def run(*arguments: str) -> int:
    """The exit code of the command line."""
    with pytest.raises(SystemExit) as left:
        main(arguments)
    code = left.value.code
    return code if isinstance(code, int) else 0


# Exit codes


@pytest.mark.parametrize(
    ("outcomes", "code"),
    [
        (["pass"], 0),
        (["pass", "pass"], 0),
        (["adjust"], 3),
        (["pass", "adjust"], 3),
        (["retake"], 4),
        (["adjust", "retake", "pass"], 4),
        (["unreadable"], 1),
        (["retake", "unreadable", "adjust"], 1),
    ],
)
def test_exit_code(checked: Any, outcomes: list[Any], code: int) -> None:
    checked([UNREADABLE if o == "unreadable" else outcome("a.jpg", o) for o in outcomes])
    assert run("check", *(["a.jpg"] * len(outcomes))) == code
    assert run("check", "--json", *(["a.jpg"] * len(outcomes))) == code


@pytest.mark.parametrize(
    "arguments",
    [
        ("check",),
        ("check", "--door", "three", "a.jpg"),
        ("check", "--unknown", "a.jpg"),
        ("measure", "a.jpg"),
    ],
)
def test_wrong_usage_is_2_and_prints_nothing_on_stdout(
    arguments: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(*arguments) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err


@pytest.mark.parametrize(("kind", "code"), [(UsageError, 2), (ModelError, 1)])
def test_library_errors_are_one_line(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], kind: Any, code: int
) -> None:
    def check_many(*_: Any, **__: Any) -> None:
        raise kind("x", "There is no gauge named 'RG\x1b[2J'.", "Known: RG-10.")

    monkeypatch.setattr(rigvision, "check_many", check_many)
    assert run("check", "--json", "a.jpg") == code
    out, err = capsys.readouterr()
    assert out == ""
    shown = "RG\N{REPLACEMENT CHARACTER}[2J"
    assert err == f"rigvision: There is no gauge named '{shown}'. Known: RG-10.\n"


def test_door_that_the_frame_lacks_is_wrong_usage(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    photo = tmp_path / "a.jpg"
    assert run("check", "--frame", "DF-10", "--door", "11", str(photo)) == 2
    assert "11" in capsys.readouterr().err


def test_unforeseen_error_gives_a_hint_and_no_traceback(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def check_many(*_: Any, **__: Any) -> None:
        raise ZeroDivisionError("oops")

    monkeypatch.setattr(rigvision, "check_many", check_many)
    assert run("check", "a.jpg") == 1
    err = capsys.readouterr().err
    assert "ZeroDivisionError: oops" in err
    assert "RIGVISION_DEBUG=1" in err
    assert "Traceback" not in err
    monkeypatch.setenv("RIGVISION_DEBUG", "1")
    with pytest.raises(ZeroDivisionError):
        main(["check", "a.jpg"])


def test_missing_system_library_names_both_remedies(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def check_many(*_: Any, **__: Any) -> None:
        raise ImportError("libGL.so.1: cannot open shared object file: No such file or directory")

    monkeypatch.setattr(rigvision, "check_many", check_many)
    assert run("check", "a.jpg") == 1
    err = capsys.readouterr().err
    assert len(err.splitlines()) == 1
    for part in ("libGL.so.1", "apt-get install libgl1", "opencv-python-headless"):
        assert part in err


# Streams


def test_json_of_one_photo_is_an_object(checked: Any, capsys: pytest.CaptureFixture[str]) -> None:
    checked([outcome("a.jpg", "pass")])
    run("check", "--json", "a.jpg")
    out, err = capsys.readouterr()
    assert json.loads(out)["verdict"] == "pass"
    assert err == ""


def test_json_of_several_is_a_list_with_errors_in_their_place(
    checked: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    checked([outcome("a.jpg", "pass"), UNREADABLE, outcome("c.jpg", "retake")])
    run("check", "--json", "a.jpg", "folder/bad.jpg", "c.jpg")
    out, err = capsys.readouterr()
    found = json.loads(out)
    assert [f.get("verdict") for f in found] == ["pass", None, "retake"]
    assert found[1] == {
        "photo": {"name": "bad.jpg"},
        "error": {"code": "empty", "text": "bad.jpg is empty. Copy it again."},
    }
    assert "checked 2 of 3" in err
    assert "bad.jpg is empty. Copy it again." in err


def test_json_of_one_unreadable_photo_is_an_object(
    checked: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    checked([UNREADABLE])
    run("check", "--json", "bad.jpg")
    assert json.loads(capsys.readouterr().out)["error"]["code"] == "empty"


def test_text_goes_to_stdout_and_messages_to_stderr(
    checked: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    checked([outcome("a.jpg", "retake"), UNREADABLE])
    run("check", "a.jpg", "bad.jpg")
    out, err = capsys.readouterr()
    assert out.startswith("✖ RETAKE   a.jpg\n")
    assert "Tilt the torch." in out
    assert "bad.jpg" not in out
    assert "\x1b" not in out + err


def test_name_with_commands_in_it_is_shown_harmless(
    checked: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    evil = "x\x1b]0;owned\x07\ny.jpg"
    checked([UNREADABLE])
    run("check", "--json", evil)
    name = json.loads(capsys.readouterr().out)["photo"]["name"]
    assert "\x1b" not in name
    assert "\n" not in name


def test_options_reach_the_library(checked: Any) -> None:
    calls = checked([outcome("a.jpg", "pass")])
    run(
        "check",
        "a.jpg",
        "--gauge",
        "RG-10",
        "--frame",
        "DF-10",
        "--door",
        "3",
        "--camera",
        "c.toml",
    )
    wanted = {"gauge": "RG-10", "frame": "DF-10", "door": 3, "camera": "c.toml"}
    assert calls == [{"photos": ["a.jpg"], **wanted, "guarded": False}]
    run("check", "a.jpg", "--guarded")
    assert calls[-1]["guarded"] is True


# Budget and Monte Carlo

_LINE = BudgetLine("gap", "edge fit", "A", 0.02, share=1.0)


def test_a_senseless_number_of_draws_is_wrong_usage(
    checked: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    calls = checked([outcome("a.jpg", "pass")])
    for draws in ("10", "2000000"):
        assert run("check", "a.jpg", "--monte-carlo", draws) == 2
        out, err = capsys.readouterr()
        assert out == ""
        assert f"{draws} Monte Carlo draws cannot be used. Give between" in err
    assert calls == [], "refused before any photo is opened"


def test_the_budget_follows_the_result_where_it_is_wanted(
    checked: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    found = outcome("a.jpg", "adjust")
    object.__setattr__(found, "uncertainty_budget", (_LINE,))
    checked([found])
    run("check", "a.jpg")
    assert "edge fit" not in capsys.readouterr().out
    run("check", "a.jpg", "--budget")
    out = capsys.readouterr().out
    assert out.index("ADJUST") < out.index("edge fit")
    run("check", "a.jpg", "--budget", "--json")
    json.loads(capsys.readouterr().out)


def test_a_photo_that_could_not_be_measured_is_drawn_without_figures(
    checked: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    checked([outcome("a.jpg", "retake")])
    run("check", "--json", "a.jpg", "--monte-carlo", "10000")
    found = json.loads(capsys.readouterr().out)
    assert found["monte_carlo"] == {"draws": 10_000, "seed": 1, "quantities": []}
    checked([outcome("a.jpg", "retake")])
    run("check", "a.jpg", "--monte-carlo", "10000")
    assert "Nothing was measured that could be drawn." in capsys.readouterr().out


# Analysed images


def test_out_writes_an_image_for_each_photo(
    checked: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    photo = tmp_path / "a.jpg"
    Image.fromarray(np.full((300, 400, 3), 90, np.uint8)).save(photo)
    found = outcome("a.jpg", "retake")
    object.__setattr__(found, "evidence", Evidence(photo, "ab" * 32))
    checked([found])
    assert run("check", str(photo), "--out", str(tmp_path / "new" / "folder")) == 4
    assert (tmp_path / "new" / "folder" / "a.checked.jpg").stat().st_size > 10_000
    assert "a.checked.jpg" in capsys.readouterr().err


def test_image_that_cannot_be_written_fails_but_the_result_is_printed(
    checked: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    photo = tmp_path / "a.jpg"
    Image.fromarray(np.full((300, 400, 3), 90, np.uint8)).save(photo)
    (tmp_path / "file").write_text("in the way")
    found = outcome("a.jpg", "pass")
    object.__setattr__(found, "evidence", Evidence(photo, "ab" * 32))
    checked([found])
    assert run("check", "--json", str(photo), "--out", str(tmp_path / "file")) == 1
    out, err = capsys.readouterr()
    assert json.loads(out)["verdict"] == "pass"
    assert "cannot be written" in err


# Everything else


def test_models_lists_what_is_installed(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("models") == 0
    out = capsys.readouterr().out
    for part in ("RG-10", "8 marks", "due 2027-06-15", "DF-10", "10 doors", "generic-phone"):
        assert part in out


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("--version") == 0
    assert capsys.readouterr().out == f"rigvision {rigvision.__version__}\n"


@pytest.mark.parametrize(
    ("arguments", "heavy"),
    [
        (["--help"], HEAVY),
        # typer itself loads pydantic for a command with options.
        (["check", "--help"], tuple(m for m in HEAVY if m != "pydantic")),
    ],
)
def test_help_needs_nothing_heavy(arguments: list[str], heavy: tuple[str, ...]) -> None:
    script = (
        "import sys\n"
        "import rigvision, rigvision.cli.main\n"
        f"try: rigvision.cli.main.main({arguments!r})\n"
        "except SystemExit: pass\n"
        f"print([m for m in {heavy!r} if m in sys.modules], file=sys.stderr)\n"
    )
    command = [sys.executable, "-c", script]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    assert "Usage: rigvision" in done.stdout
    assert done.stderr.strip() == "[]"


def test_runs_as_a_module_from_another_folder_in_plain_ascii(tmp_path: Path) -> None:
    (tmp_path / "empty.jpg").touch()
    done = subprocess.run(
        [sys.executable, "-m", "rigvision", "check", "empty.jpg", "missing-\u00b1.jpg"],
        cwd=tmp_path,
        capture_output=True,
        env=os.environ | {"PYTHONIOENCODING": "ascii"},
        check=False,
    )
    assert done.returncode == 1
    assert b"empty.jpg is empty." in done.stderr
    assert b"missing-?.jpg does not exist." in done.stderr
    assert b"Traceback" not in done.stderr
