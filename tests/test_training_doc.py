"""docs/training.md: its commands run as they stand there, its table is the levels' own."""

from __future__ import annotations

import re
import shlex
import shutil
from pathlib import Path

import pytest

from rigvision.cli.main import main
from rigvision.records import recording
from rigvision.records.ledger import Ledger
from rigvision.training.practice_level import HEAD, LEVELS
from rigvision.training.quiz import read_quiz
from tests.job_rig import drawn_once, open_job_in, recorded_sample
from tests.quiz_files import answered, as_saved

TEXT = (Path(__file__).parent.parent / "docs" / "training.md").read_text(encoding="utf-8")
QUIZ_ID = re.compile(r"\b[0-9a-f]{16}\b")


def between(name: str) -> str:
    (found,) = re.findall(rf"<!-- {name} -->\n(.*?)<!-- /{name} -->", TEXT, re.DOTALL)
    return str(found)


def session(name: str) -> list[tuple[str, list[str]]]:
    """Each command with the lines that stand under it."""
    found: list[tuple[str, list[str]]] = []
    for line in between(f"session:{name}").splitlines()[1:-1]:
        if line.startswith("$ "):
            found.append((line.removeprefix("$ rigvision "), []))
        elif line != "...":
            found[-1][1].append(line)
    return found


def test_the_table_of_levels_is_the_one_that_photos_are_drawn_from():
    rows = [f"| {' | '.join(level.cells())} |" for level in LEVELS]
    head = [f"| {' | '.join(HEAD)} |", "| --- | --- | --- | --- | --- | --- |"]
    assert between("practice:levels").splitlines() == [*head, *rows]


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder beside a ledger with two records."""
    for name in ("FORCE_COLOR", "RIGVISION_MODELS", "RIGVISION_DEBUG"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("COLUMNS", "100")
    monkeypatch.setenv("RIGVISION_LEDGER", str(tmp_path / "ledger.sqlite3"))
    monkeypatch.setattr(recording, "unsealed_image", drawn_once)
    with Ledger.create(tmp_path / "ledger.sqlite3") as ledger:
        open_job_in(ledger)
        for name in ("open-1.3mm.jpg", "nominal.jpg"):
            recorded_sample(ledger, name, tmp_path)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def runs(command: str, shown: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(shlex.split(command))
    said = capsys.readouterr()
    assert (ended.value.code, said.err) == (0, ""), command
    printed = [QUIZ_ID.sub("0123456789abcdef", line.rstrip()) for line in said.out.splitlines()]
    for line in shown:
        assert line in printed, printed


def test_the_sessions_run_as_they_stand(shop, capsys):
    for command, shown in session("quiz"):
        runs(command, shown, capsys)
    quiz = read_quiz(shop / "march")
    for name, trainee, second in (("ann", "Ann Otter", "pass"), ("bo", "Bo Lind", "adjust")):
        plain = answered(quiz, ("pass", 0.8), (second, 0.9), trainee=trainee)
        (shop / f"answers-{name}.json").write_bytes(as_saved(plain))
    for command, shown in session("score"):
        runs(command, shown, capsys)
    make, open_ = session("practice")
    runs(*make, capsys)
    plain = answered(read_quiz(shop / "monday"), ("pass", 0.8, 0.0), ("retake",))
    (shop / "answers-monday.json").write_bytes(as_saved(plain))
    runs(*open_, capsys)


def test_what_cannot_count_is_said_a_sentence_each_and_the_rest_is_scored(shop, capsys):
    with pytest.raises(SystemExit):
        main(["training", "quiz", "--out", "q", "--seed", "1"])
    quiz = read_quiz(shop / "q")
    good = as_saved(answered(quiz, ("pass", 0.8), ("adjust", 1.3)))
    (shop / "good.json").write_bytes(good)
    shutil.copy(shop / "good.json", shop / "again.json")
    (shop / "edited.json").write_bytes(good.replace(b"1.3", b"0.9"))
    (shop / "other.json").write_bytes(as_saved(answered(quiz, ("pass",)) | {"quiz": "ab" * 8}))
    capsys.readouterr()
    files = ["good.json", "again.json", "edited.json", "other.json", "missing.json"]
    with pytest.raises(SystemExit) as ended:
        main(["training", "score", *files, "--quiz", "q"])
    said = capsys.readouterr()
    assert ended.value.code == 1
    lines = said.err.splitlines()
    assert len(lines) == 3
    assert "edited.json" in lines[0]
    assert "changed after the page wrote it" in lines[0]
    assert "other.json are not for this quiz" in lines[1]
    assert "missing.json" in lines[2]
    assert "Ann Otter   2 of 2 shots answered" in said.out
    assert "counts once" in said.out


def test_an_empty_ledger_is_a_sentence(tmp_path, capsys):
    Ledger.create(tmp_path / "ledger.sqlite3").close()
    with pytest.raises(SystemExit) as ended:
        main(["training", "quiz", "--ledger", str(tmp_path / "ledger.sqlite3"), "--out", "q"])
    assert ended.value.code == 2
    assert "no shot to ask about" in capsys.readouterr().err
    assert not (tmp_path / "q").exists()
