"""The commands ``key``: what they print, where passphrases come from, what never happens."""

from __future__ import annotations

import io
import json
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from rigvision.cli.main import main
from rigvision.records import person_key
from rigvision.records.ledger import Ledger
from rigvision.records.person_key import read_key

PHRASE = "copper anvil ninety fjord"
Run = Callable[..., tuple[int, str, str]]


@pytest.fixture(autouse=True)
def _surroundings(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("RIGVISION_LEDGER", str(tmp_path / "own.sqlite3"))
    monkeypatch.delenv("RIGVISION_PASSPHRASE", raising=False)
    monkeypatch.setattr(person_key.new_key, "__kwdefaults__", {"cost": person_key.LEAST_COST})


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    def command(*arguments: object) -> tuple[int, str, str]:
        with pytest.raises(SystemExit) as left:
            main([str(argument) for argument in arguments])
        said = capsys.readouterr()
        return int(left.value.code or 0), said.out, said.err

    return command


@pytest.fixture
def secret(tmp_path: Path) -> Path:
    path = tmp_path / "passphrase"
    path.write_text(f"{PHRASE}\nnot this\n")
    path.chmod(0o600)
    return path


@pytest.fixture
def key(run: Run, tmp_path: Path, secret: Path) -> Path:
    path = tmp_path / "miller.key.json"
    status, _, _ = run(
        "key", "new", path, "--person", "Jo Miller", "--role", "mechanic",
        "--passphrase-file", secret,
    )  # fmt: skip
    assert status == 0
    return path


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def typed(monkeypatch: pytest.MonkeyPatch, *answers: str) -> None:
    """A terminal at which these are typed, none of them shown."""
    waiting = iter(answers)
    monkeypatch.setattr(sys, "stdin", Terminal())
    monkeypatch.setattr("rigvision.cli.passphrases.getpass", lambda prompt: next(waiting))


def new(run: Run, path: Path, *more: object) -> tuple[int, str, str]:
    return run("key", "new", path, "--person", "Ann Lee", "--role", "inspector", *more)


def test_a_key_is_made_from_the_first_line_of_a_file(key: Path) -> None:
    assert read_key(key).opened(PHRASE).owner.role == "mechanic"


def test_a_terminal_is_asked_twice(run: Run, tmp_path: Path, monkeypatch) -> None:
    typed(monkeypatch, PHRASE, PHRASE)
    status, out, err = new(run, tmp_path / "k")
    assert status == 0
    assert PHRASE not in out + err
    assert read_key(tmp_path / "k").opened(PHRASE)


def test_two_different_passphrases_make_no_key(run: Run, tmp_path: Path, monkeypatch) -> None:
    typed(monkeypatch, PHRASE, PHRASE + "!")
    status, _, err = new(run, tmp_path / "k")
    assert (status, "not the same" in err) == (1, True)
    assert not (tmp_path / "k").exists()


def test_a_program_may_set_the_passphrase(run: Run, tmp_path: Path, monkeypatch) -> None:
    monkeypatch.setenv("RIGVISION_PASSPHRASE", PHRASE)
    assert new(run, tmp_path / "k")[0] == 0
    assert read_key(tmp_path / "k").opened(PHRASE)


@pytest.mark.parametrize(("phrase", "cause"), [("", "is empty"), ("secret", "fewer than 12")])
def test_a_weak_one_is_refused(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, phrase: str, cause: str
) -> None:
    monkeypatch.setenv("RIGVISION_PASSPHRASE", phrase)
    status, _, err = new(run, tmp_path / "k")
    assert (status, cause in err) == (1, True)
    assert not (tmp_path / "k").exists()


def test_without_a_terminal_somebody_must_say_it(run: Run, tmp_path: Path, monkeypatch) -> None:
    monkeypatch.setattr(sys, "stdin", io.StringIO(f"{PHRASE}\n{PHRASE}\n"))
    status, _, err = new(run, tmp_path / "k")
    assert (status, "--passphrase-file" in err) == (2, True)


def test_a_secret_that_others_can_read_is_warned_of(run: Run, key: Path, secret: Path) -> None:
    assert "Warning" not in run("key", "show", key)[2]
    key.chmod(0o644)
    assert f"others can read the key file {key}" in run("key", "show", key)[2]
    secret.chmod(0o604)
    status, _, err = new(run, key.parent / "k", "--passphrase-file", secret)
    assert (status, "Warning: others can read the passphrase" in err) == (0, True)


@pytest.mark.parametrize(
    ("content", "cause"),
    [(b"\xff\xfe", "not UTF-8"), (b"x" * 5000, "larger than 4 KiB"), (None, "No such file")],
)
def test_a_passphrase_that_cannot_be_read(
    run: Run, tmp_path: Path, content: bytes | None, cause: str
) -> None:
    if content is not None:
        (tmp_path / "p").write_bytes(content)
    status, _, err = new(run, tmp_path / "k", "--passphrase-file", tmp_path / "p")
    assert (status, cause in err) == (1, True)


def test_a_key_is_shown_without_its_passphrase(run: Run, key: Path) -> None:
    status, out, _ = run("key", "show", key)
    assert status == 0
    assert out.startswith("Jo Miller, mechanic\n")
    shown = json.loads(run("key", "show", key, "--json")[1])
    assert set(shown) == {"person", "role", "public_key", "fingerprint", "created_at"}


def test_enrolled_listed_withdrawn(run: Run, key: Path, tmp_path: Path) -> None:
    status, out, _ = run("key", "enrol", key)
    assert (status, "in entry 2 of ledger" in out) == (0, True)
    status, _, err = run("key", "enrol", key)
    assert (status, "enrolled already" in err) == (1, True)
    fingerprint = read_key(key).owner.fingerprint
    status, out, _ = run("key", "withdraw", fingerprint.upper(), "--cause", "lost")
    assert (status, "in entry 3 of ledger" in out) == (0, True)
    assert run("key", "withdraw", key, "--cause", "again")[0] == 1
    assert run("key", "enrol", key)[0] == 1
    (listed,) = json.loads(run("key", "list", "--json")[1])
    assert (listed["person"], listed["withdrawn"]) == ("Jo Miller", "lost")
    assert "withdrawn: lost" in run("key", "list")[1]
    with Ledger.open(tmp_path / "own.sqlite3", read_only=True) as ledger:
        kinds = [entry.kind for entry in ledger.entries()]
    assert kinds == ["ledger-opened", "person-enrolled", "person-withdrawn"]


def test_a_withdrawal_says_why(run: Run, key: Path) -> None:
    run("key", "enrol", key)
    status, _, err = run("key", "withdraw", key, "--cause", "  ")
    assert (status, "without a cause" in err) == (2, True)


def test_another_ledger_can_be_named(run: Run, key: Path, tmp_path: Path) -> None:
    other = tmp_path / "other.sqlite3"
    assert run("key", "enrol", key, "--ledger", other)[0] == 0
    assert other.exists()
    assert not (tmp_path / "own.sqlite3").exists()
    assert run("key", "list")[0] == 1


def test_a_hostile_name_does_not_reach_the_terminal(run: Run, tmp_path: Path, secret: Path) -> None:
    status, _, err = run(
        "key", "new", tmp_path / "k", "--person", "Jo\x1b[2J", "--role", "mechanic",
        "--passphrase-file", secret,
    )  # fmt: skip
    assert (status, "\x1b" in err) == (2, False)
