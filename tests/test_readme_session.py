"""The session in the README's "Keeping the proof", run as it stands there."""

from __future__ import annotations

import re
import shlex
from collections.abc import Callable
from pathlib import Path

import pytest

from rigvision.cli.main import main
from rigvision.records.person_key import new_key
from tests.half_size import half_size_file

README = Path(__file__).resolve().parent.parent / "README.md"
#: What ends other than with 0: an adjust is what the first photo comes to.
EXPECTED = {"check before.jpg": 3}
RECORD = re.compile(r"\b[0-9A-HJKMNP-TV-Z]{4}-[0-9A-HJKMNP-TV-Z]{4}\b")


def commands() -> list[tuple[str, list[str]]]:
    """Each command of the session with the lines of output that stand under it."""
    found: list[tuple[str, list[str]]] = []
    for part in re.findall(
        r"<!-- session:\w+ -->\n```text\n(.*?)```", README.read_text(encoding="utf-8"), re.DOTALL
    ):
        for line in part.splitlines():
            if line.startswith("$ "):
                found.append((line.removeprefix("$ "), []))
            elif line != "...":
                found[-1][1].append(line)
    return found


def run(arguments: list[str]) -> int:
    with pytest.raises(SystemExit) as ended:
        main(arguments)
    return int(ended.value.code or 0)


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with two photos, and nothing kept yet."""
    half_size_file("open-1.3mm.jpg", tmp_path, "before.jpg")
    half_size_file("nominal.jpg", tmp_path, "after.jpg")
    for name in ("FORCE_COLOR", "RIGVISION_MODELS"):
        monkeypatch.delenv(name, raising=False)
    for name, value in {
        "RIGVISION_LEDGER": str(tmp_path / "kept" / "ledger.sqlite3"),
        "RIGVISION_PASSPHRASE": "copper lantern orbit walnut",
        "NO_COLOR": "1",
        "COLUMNS": "160",
    }.items():
        monkeypatch.setenv(name, value)
    monkeypatch.chdir(tmp_path)
    assert new_key.__kwdefaults__ is not None
    monkeypatch.setitem(new_key.__kwdefaults__, "cost", 14)  # a tenth of a second less each time
    return tmp_path


def test_the_session_goes_as_it_is_written(
    shop: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    names: dict[str, str] = {}  # the README's ids, and those that came instead

    def named(text: str) -> str:
        return RECORD.sub(lambda found: names.get(found.group(), found.group()), text)

    session = commands()
    assert len(session) >= 12
    for command, lines in session:
        program, *arguments = shlex.split(named(command))
        assert program == "rigvision"
        expected = EXPECTED.get(" ".join(arguments[:2]), 0)
        assert run(arguments) == expected, command
        shown = capsys.readouterr().out
        _note_names(lines, shown, names)
        _assert_said(lines, shown, named)
    proof = {path.name.split(".", 1)[1] for path in (shop / "proof").iterdir()}
    assert proof == {"compared.jpg", "checked.jpg", "page.pdf", "bundle.zip"}


def _note_names(lines: list[str], shown: str, names: dict[str, str]) -> None:
    """A record that the README names for the first time has another id here."""
    made = re.search(r"^Record (\S+)   job", shown, re.MULTILINE)
    for line in lines:
        if made and line.startswith("Record "):
            names[line.split()[1]] = made.group(1)


def _assert_said(lines: list[str], shown: str, named: Callable[[str], str]) -> None:
    """Every line stands in the output, in this order."""
    at = 0
    printed = [line.rstrip() for line in shown.splitlines()]
    for line in lines:
        assert named(line) in printed[at:], f"{named(line)!r} is not in\n{shown}"
        at += printed[at:].index(named(line)) + 1
