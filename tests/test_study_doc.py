"""docs/study.md: its file can be planned, its example is what the command prints."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest
from studies.example import example_study

from rigvision.cli.main import main
from rigvision.training.study_plan import plan_study
from rigvision.training.study_wanted import checked
from rigvision.world.catalogue import load
from rigvision.world.frame import Frame

TEXT = (Path(__file__).parent.parent / "docs" / "study.md").read_text(encoding="utf-8")


def test_the_file_that_is_shown_can_be_planned():
    (block,) = re.findall(r"```toml\n(.*?)```", TEXT, re.DOTALL)
    plan = plan_study(checked(tomllib.loads(block)), load(Frame, "DF-10"))
    assert len(plan.order) == 9


def test_the_example_is_what_the_command_prints(tmp_path, capsys, monkeypatch):
    monkeypatch.setenv("NO_COLOR", "1")
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.delenv("FORCE_COLOR", raising=False)
    folder = example_study(tmp_path / "FOLDER").folder
    with pytest.raises(SystemExit):
        main(["study", "report", str(folder)])
    printed = capsys.readouterr().out.replace(str(folder), "FOLDER")
    (shown,) = re.findall(r"\$ rigvision study report FOLDER\n(.*?)```", TEXT, re.DOTALL)
    assert [line.rstrip() for line in printed.splitlines()] == shown.splitlines()
