"""Several programs that record checks into one ledger at the same time."""

from __future__ import annotations

import subprocess
import sys
import time
from contextlib import closing
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from random import Random
from sqlite3 import connect
from statistics import median

from recorded.invented import MECHANIC, begun, job, long_result, record_check
from rigvision.records.ledger import Ledger
from rigvision.records.ledger_check import check_ledger

SCRIPTS = Path(__file__).parent.parent
PHOTO_BYTES = 2000


@dataclass(frozen=True, slots=True)
class Writers:
    """``changes`` counts where an entry follows one of another program."""

    writers: int
    checks_each: int
    entries: int
    recorded: int
    changes: int
    files: int
    broken: tuple[str, ...]
    median_ms: float
    longest_ms: float
    seconds: float

    def sound(self) -> bool:
        return not self.broken and self.recorded == self.writers * self.checks_each

    def table(self) -> str:
        """As Markdown."""
        expected = self.writers * self.checks_each
        rows = {
            f"programs, {self.checks_each} checks each": self.writers,
            f"checks in the ledger, of {expected}": self.recorded,
            "entries of the one chain, with people and jobs": self.entries,
            "times that the next entry is another program's": self.changes,
            "files of evidence, all whole": self.files,
            "findings of the check": len(self.broken),
            "a check recorded, median": f"{self.median_ms:.0f} ms",
            "a check recorded, longest": f"{self.longest_ms:.0f} ms",
            "all of them": f"{self.seconds:.0f} s",
        }
        lines = ["| | |", "| --- | ---: |"]
        return "\n".join(lines + [f"| {name} | {value} |" for name, value in rows.items()])


def campaign(writers: int, checks: int, folder: Path) -> Writers:
    """Let all begin at once, wait for them, and look at what came of it."""
    path = folder / "ledger.sqlite3"
    with Ledger.create(path) as ledger:
        begun(ledger, *(job(f"J-{number:04d}") for number in range(writers)))
    begin = time.perf_counter()
    children = [
        subprocess.Popen(
            [sys.executable, "-m", "recorded.writers", str(path), str(number), str(checks)],
            cwd=SCRIPTS,
            stdout=subprocess.PIPE,
            text=True,
        )
        for number in range(writers)
    ]
    took_ms = []
    for child in children:
        output, _ = child.communicate()
        if child.returncode:
            raise RuntimeError(f"a program failed: exit status {child.returncode}")
        took_ms += [float(line) for line in output.split()]
    seconds = time.perf_counter() - begin
    report = check_ledger(path)
    with closing(connect(path)) as connection:
        jobs = [j for (j,) in connection.execute("SELECT job FROM check_recorded ORDER BY 1")]
        order = [
            j for (j,) in connection.execute("SELECT job FROM check_recorded ORDER BY sequence")
        ]
    return Writers(
        writers,
        checks,
        report.entries,
        len(jobs),
        sum(a != b for a, b in pairwise(order)),
        report.evidence_files or 0,
        tuple(str(finding) for finding in report.findings),
        median(took_ms),
        max(took_ms),
        seconds,
    )


def _write(path: Path, number: int, checks: int) -> None:
    random = Random(number)
    with Ledger.open(path) as ledger:
        for _ in range(checks):
            begin = time.perf_counter()
            record_check(
                ledger,
                random.randbytes(8).hex(),
                random.randbytes(PHOTO_BYTES),
                of=job(f"J-{number:04d}"),
                figures=long_result(random, 250),
                measured_by=MECHANIC,
            )
            print(1e3 * (time.perf_counter() - begin))


if __name__ == "__main__":
    _write(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))
