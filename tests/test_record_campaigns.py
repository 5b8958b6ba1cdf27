"""The campaigns on the ledger run, small: killed writers, writers at once, single bytes changed."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest
from recorded import kills, size, writers

pytestmark = pytest.mark.skipif(os.name != "posix", reason="kills as POSIX does")


def test_nothing_acknowledged_is_lost_by_kills(tmp_path: Path) -> None:
    shell = shutil.which("sqlite3") or "true"
    found = kills.campaign(4, tmp_path, seed=3, check_every=4, shell=shell)
    assert (found.kills, found.lost, found.broken, found.integrity) == (4, 0, [], "ok")
    assert found.entries == 4 + found.acknowledged + found.unacknowledged
    assert found.unacknowledged <= found.kills


def test_writers_at_once_make_one_chain(tmp_path: Path) -> None:
    found = writers.campaign(2, 5, tmp_path)
    assert found.broken == ()
    assert (found.recorded, found.entries) == (10, 1 + 2 + 2 + 10)


def test_a_large_ledger_is_found_intact(tmp_path: Path) -> None:
    """Its figures say nothing at this size; every search must find what it is meant to."""
    figures = size.measure(200, tmp_path, appends=5)
    assert figures.intact
    for name in ("by gauge", "by frame", "accepted", "only recorded", "the newest"):
        assert figures.found[name], name
    assert figures.found["by a frame that is not there"] == 0
