"""Workers that try damaged files, watched: one that dies or hangs is a finding, and goes on."""

from __future__ import annotations

import json
import os
import select
import subprocess
import sys
import tempfile
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from broken.originals import kept_originals
from broken.trial import Trial

HANG_S = 10.0
#: Until a worker has made its whole files and checked one; not counted as a hang.
START_S = 120.0
#: Files that one worker tries before a fresh one takes over.
STRETCH = 4000

#: Whoever reads a file mostly reads a JPEG, and phones write HEIC; shares of a campaign's files.
SHARES = {
    "jpeg": 6,
    "jpeg progressive": 3,
    "jpeg restarts": 3,
    "jpeg cmyk": 1,
    "jpeg grey": 2,
    "mpo": 3,
    "png": 2,
    "png grey": 2,
    "png 16 bit": 2,
    "tiff raw": 1,
    "tiff lzw": 1,
    "tiff deflate": 1,
    "tiff 16 bit": 1,
    "webp": 2,
    "webp lossless": 1,
    "heic": 2,
}


@dataclass(frozen=True, slots=True)
class Plan:
    """Which files are made: ``files`` in all, from the number ``first`` of each format on."""

    files: int
    seed: int
    first: int = 0
    check_every: int = 10
    forms: tuple[str, ...] = tuple(SHARES)

    def stretches(self) -> list[tuple[str, int, int]]:
        """Format, first number and count of each worker's work, formats taking turns."""
        total = sum(SHARES[form] for form in self.forms)
        counts = {form: max(1, self.files * SHARES[form] // total) for form in self.forms}
        done = dict.fromkeys(self.forms, 0)
        found = []
        while any(done[f] < counts[f] for f in self.forms):
            for form in self.forms:
                size = min(STRETCH, counts[form] - done[form])
                if size > 0:
                    found.append((form, self.first + done[form], size))
                    done[form] += size
        return found


def run(plan: Plan, workers: int, journal: Path) -> None:
    """Try all files and add a line for each to the journal; what it has already is left out."""
    have = {(t.form, t.number) for t in read(journal)}
    lock = threading.Lock()
    with (
        tempfile.TemporaryDirectory(prefix="broken-", dir=_memory_folder()) as folder,
        journal.open("a", encoding="utf-8") as file,
        ThreadPoolExecutor(workers) as pool,
    ):
        kept_originals(Path(folder))

        def work(stretch: tuple[str, int, int]) -> None:
            form, first, count = stretch
            missing = [n for n in range(first, first + count) if (form, n) not in have]
            if not missing:
                return
            for trial in _tried(plan, folder, form, missing[0], first + count - missing[0]):
                with lock:
                    file.write(json.dumps(trial.plain()) + "\n")
                    file.flush()

        list(pool.map(work, plan.stretches()))


def read(journal: Path) -> list[Trial]:
    """All trials of a journal; the last line may be half written."""
    if not journal.exists():
        return []
    lines = journal.read_text(encoding="utf-8").splitlines()
    return [Trial(**json.loads(line)) for line in lines if line.endswith("}")]


def _tried(plan: Plan, folder: str, form: str, first: int, count: int) -> Iterator[Trial]:
    """The trials of one stretch; a worker that died or hung is replaced behind that file."""
    end = first + count
    while first < end:
        last = None
        for event in _worker(plan, folder, form, first, end - first):
            if "outcome" in event:
                yield Trial(**event)
                first, last = event["number"] + 1, None
            else:
                last = event
        if first >= end:
            return
        if last is None:
            raise RuntimeError(f"the worker for {form} could not start at {first}")
        died = last["fate"]
        yield Trial(last["number"], form, last["damage"], "error", died, HANG_S, 0.0, None, False)
        first = last["number"] + 1


def _worker(plan: Plan, folder: str, form: str, first: int, count: int) -> Iterator[dict]:
    """What a worker says; after its last word, how it ended where that was before its time."""
    numbers = [str(n) for n in (first, count, plan.seed, plan.check_every)]
    process = subprocess.Popen(
        [sys.executable, "-m", "broken.worker", form, *numbers, folder],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        cwd=Path(__file__).parent.parent,
        env=os.environ | {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"},
    )
    assert process.stdout
    event: dict = {}
    try:
        while select.select([process.stdout], [], [], HANG_S if event else START_S)[0]:
            line = process.stdout.readline()
            if not line:
                event["fate"] = f"crash: exit status {process.wait()}"
                break
            event = json.loads(line)
            yield event
        else:
            event["fate"] = f"hang: more than {HANG_S:.0f} s"
    finally:
        process.kill()
        process.wait()
        process.stdout.close()


def _memory_folder() -> str | None:
    """Where files are written without a disk; None for the usual place."""
    return "/dev/shm" if os.access("/dev/shm", os.W_OK) else None
