"""Where the ledger is kept: the user's own choice, else among the user's data."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from rigvision.records.place import FILE_NAME, VARIABLE, ledger_path


def test_the_variable_decides(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv(VARIABLE, str(tmp_path / "kept.db"))
    assert ledger_path() == tmp_path / "kept.db"


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="XDG folders are Linux's")
def test_without_it_the_users_data_folder(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    for unset in (
        lambda: monkeypatch.delenv(VARIABLE, raising=False),
        lambda: monkeypatch.setenv(VARIABLE, ""),
    ):
        unset()
        assert ledger_path() == tmp_path / "rigvision" / FILE_NAME
    assert list(tmp_path.iterdir()) == []  # asked for, not made
