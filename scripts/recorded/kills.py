"""Programs that record checks and are killed at a random moment, again and again.

A child opens the ledger, records one check after the other and writes a line for each that it was
told is kept. It is killed (SIGKILL) after a random time, and the next one goes on with the ledger.
"""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import time
import traceback
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from typing import NoReturn

from recorded.invented import MECHANIC, begun, long_result, record_check
from rigvision.records.ledger import Ledger
from rigvision.records.ledger_check import check_ledger

#: A child is killed within this time of its beginning, most of which is recording.
LONGEST_S = 0.4
PHOTO_BYTES = 20_000


@dataclass(slots=True)
class Kills:
    """``acknowledged`` checks were reported as kept before their recorder was killed.

    ``unacknowledged`` are in the ledger although their recorder was killed before it could say so.
    """

    kills: int = 0
    acknowledged: int = 0
    lost: int = 0
    unacknowledged: int = 0
    entries: int = 0
    broken: list[str] = field(default_factory=list)
    unnamed_files: int = 0
    unfinished_files: int = 0
    integrity: str = ""
    recovered: str = ""
    seconds: float = 0.0

    def sound(self) -> bool:
        return not (self.lost or self.broken) and self.integrity == "ok" and self.recovered == "ok"

    def table(self) -> str:
        """As Markdown, with whether nothing was lost."""
        rows = {
            "kills (SIGKILL) while recording": self.kills,
            "checks that were acknowledged": self.acknowledged,
            "of them lost": self.lost,
            "recorded whole, the killed program could not say so": self.unacknowledged,
            "entries of the one chain": self.entries,
            "findings of the checks between, and at the end": len(self.broken),
            "files of evidence that no entry names": self.unnamed_files,
            "files of evidence that were never finished": self.unfinished_files,
            "`PRAGMA integrity_check`": self.integrity,
            "`sqlite3 .recover`: all entries again, byte by byte": self.recovered,
        }
        lines = ["| | |", "| --- | ---: |"]
        return "\n".join(lines + [f"| {name} | {value} |" for name, value in rows.items()])


def campaign(kills: int, folder: Path, seed: int, check_every: int, shell: str) -> Kills:
    """Kill as often as asked for, and look at the ledger after every so many kills."""
    random, found = Random(seed), Kills()
    path, said = folder / "ledger.sqlite3", folder / "acknowledged"
    with Ledger.create(path) as ledger:
        begun(ledger)
    begin = time.perf_counter()
    for number in range(1, kills + 1):
        _one_kill(path, said, random.random() * LONGEST_S, seed * 1_000_000 + number)
        found.kills += 1
        if number % check_every == 0 or number == kills:
            _look(path, said, found, evidence=number == kills)
            print(f"{number} kills, {found.acknowledged} acknowledged", file=sys.stderr)
    found.seconds = time.perf_counter() - begin
    found.integrity = _integrity(path)
    found.recovered = _recovered(shell, path, folder / "recovered.sqlite3")
    return found


def _one_kill(path: Path, said: Path, after_s: float, seed: int) -> None:
    """The child is this process once more, so that it records at once."""
    child = os.fork()
    if child == 0:
        _record_until_killed(path, said, seed)
    time.sleep(after_s)
    os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    if os.waitstatus_to_exitcode(status) != -signal.SIGKILL:
        raise RuntimeError("a recorder ended by itself")


def _look(path: Path, said: Path, found: Kills, *, evidence: bool) -> None:
    report = check_ledger(path, evidence=evidence)
    found.entries = report.entries
    found.broken += [str(f) for f in report.findings if f.proves_change]
    # A line is written with one call; the last may have been cut off by the kill.
    lines = said.read_text().splitlines() if said.exists() else []
    acknowledged = {line for line in lines if len(line) == 26}
    with closing(sqlite3.connect(path)) as connection:
        recorded = {r for (r,) in connection.execute("SELECT record FROM check_recorded")}
    found.acknowledged = len(acknowledged)
    found.lost = len(acknowledged - recorded)
    found.unacknowledged = len(recorded - acknowledged)
    if evidence:
        names = [p.name for p in path.with_name(f"{path.name}.evidence").rglob("*") if p.is_file()]
        with closing(sqlite3.connect(path)) as connection:
            named = {s for (s,) in connection.execute("SELECT sha256 FROM file")}
        found.unfinished_files = sum(name.endswith(".part") for name in names)
        found.unnamed_files = len(set(names) - named) - found.unfinished_files


def _integrity(path: Path) -> str:
    with closing(sqlite3.connect(path)) as connection:
        return str(connection.execute("PRAGMA integrity_check").fetchone()[0])


def can_recover(shell: str, folder: Path) -> bool:
    """Whether this SQLite shell can: some are built without the table of pages that it needs."""
    trial = folder / "trial.sqlite3"
    with closing(sqlite3.connect(trial)) as connection:
        connection.execute("CREATE TABLE a (b)")
    done = subprocess.run([shell, str(trial), ".recover"], capture_output=True, check=False)
    return done.returncode == 0


def _recovered(shell: str, path: Path, into: Path) -> str:
    """What SQLite's own recovery makes of the file, compared entry by entry."""
    if not can_recover(shell, into.parent):
        return "not built into this SQLite shell"
    script = subprocess.run([shell, str(path), ".recover"], capture_output=True, check=True)
    # Its tables are filled before their triggers are made, so the guards do not mind.
    subprocess.run([shell, str(into)], input=script.stdout, check=True, capture_output=True)
    rows = []
    for database in (path, into):
        with closing(sqlite3.connect(database)) as connection:
            rows.append(connection.execute("SELECT * FROM entry ORDER BY sequence").fetchall())
    return "ok" if rows[0] == rows[1] and rows[0] else "differs"


def _record_until_killed(path: Path, said: Path, seed: int) -> NoReturn:
    """One check after the other, each with evidence of its own, half of them signed at once."""
    try:
        random = Random(seed)
        with Ledger.open(path) as ledger, said.open("a", buffering=1) as acknowledged:
            while True:
                record = random.randbytes(13).hex()
                record_check(
                    ledger,
                    record,
                    random.randbytes(PHOTO_BYTES),
                    figures=long_result(random, 40),
                    measured_by=random.choice((MECHANIC, None)),
                )
                acknowledged.write(f"{record}\n")
    finally:
        traceback.print_exc()
        os._exit(1)
