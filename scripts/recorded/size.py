"""A ledger of very many entries: how long a search, an append and a check of all of it take.

Each job has 20 entries: opened, 8 checks signed by the mechanic at once, an inspector's signature
on nearly all of them, corrections, exports, closed. Check bodies are as long as real ones (24 kB).
"""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from random import Random
from statistics import median

from recorded.invented import (
    GAUGE_FILE,
    INSPECTOR,
    MECHANIC,
    begun,
    check_body,
    job,
    likeness,
    long_result,
)
from rigvision.records.bodies import (
    CheckCorrected,
    CheckRecorded,
    CheckSigned,
    Exported,
    FileFacts,
    JobClosed,
)
from rigvision.records.canonical import sha256_of
from rigvision.records.ledger import Ledger
from rigvision.records.record_id import record_id
from rigvision.records.search import Wanted, search
from rigvision.records.writing import Writing

CHECKS_A_JOB, ENTRIES_A_JOB = 8, 20
#: Standing for photo and analysed image; a real photo has some 4 MB.
EVIDENCE_BYTES = 2000
#: Figures that make a result as long as a real one.
FIGURES = 250
APPENDS = 300
SEARCHES = {
    "by job": Wanted(job="j-0777"),
    "by work order": Wanted(work_order="WO-J-0777"),
    "by engine": Wanted(engine="ENG-77"),
    "by gauge": Wanted(gauge="RG-7"),
    "by frame": Wanted(frame="DF-10"),
    "by a frame that is not there": Wanted(frame="DF-11"),
    "by door": Wanted(door=3),
    "by stage": Wanted(stage="after"),
    "by verdict": Wanted(verdict="retake"),
    "borderline": Wanted(borderline=True),
    "all of today": Wanted(since="2026-01-01"),
    "none so old": Wanted(until="2001-01-01"),
    "only recorded": Wanted(status="recorded"),
    "measured, not yet inspected": Wanted(status="measured"),
    "accepted": Wanted(status="accepted"),
    "rejected": Wanted(status="rejected"),
    "corrected": Wanted(status="corrected"),
    "rejected, of one engine": Wanted(status="rejected", engine="ENG-77"),
    "adjust and borderline, of one gauge": Wanted(verdict="adjust", borderline=True, gauge="RG-7"),
    "the newest": Wanted(),
}


@dataclass(frozen=True, slots=True)
class Figures:
    """Times in milliseconds where not said; memory as a child process had it at most."""

    entries: int
    ledger_mb: float
    photo_ms: float
    append_ms: float
    append_99_ms: float
    search_ms: dict[str, float]
    found: dict[str, int]
    verify_s: float
    verify_cpu_s: float
    verify_files: int
    intact: bool
    first_tenth_mb: float
    most_mb: float

    @property
    def slowest_search_ms(self) -> float:
        return max(self.search_ms.values())

    def misses(self) -> list[str]:
        """The aims that were not reached."""
        aims = {
            "search under 100 ms": self.slowest_search_ms < 100,
            "append under 20 ms": self.append_ms < 20,
            "full verify under 60 s": self.verify_s < 60,
            "memory flat": self.most_mb < 1.1 * self.first_tenth_mb,
            "intact": self.intact,
        }
        return [aim for aim, reached in aims.items() if not reached]


def measure(entries: int, folder: Path, seed: int = 1, appends: int = APPENDS) -> Figures:
    """Fill a ledger in a folder, and take the times."""
    path = folder / "ledger.sqlite3"
    fill(path, entries, seed)
    with Ledger.open(path) as ledger:
        more = Random(f"{seed} {ledger.head().count}")  # a kept ledger has those of earlier runs
        photo_ms, append_ms = appended(ledger, more, appends)
        search_ms, found = searched(ledger)
        count = ledger.head().count
    checked = _checked(path)
    return Figures(
        count,
        path.stat().st_size / 1e6,
        median(photo_ms),
        median(append_ms),
        sorted(append_ms)[int(0.99 * len(append_ms))],
        search_ms,
        found,
        **checked,
    )


def fill(path: Path, entries: int, seed: int) -> None:
    """A transaction a job. Evidence is written here without being forced to the disk each time."""
    random = Random(seed)
    jobs = max(1, entries // ENTRIES_A_JOB)
    with Ledger.open_or_create(path) as ledger:
        if ledger.head().count > 1:
            return
        begun(ledger)
        ledger.evidence.put(GAUGE_FILE, "application/toml", "RG-10.toml")
        for number in range(1, jobs + 1):
            with ledger.writing() as writing:
                _one_job(ledger, writing, random, number, last=number > jobs - 25)
            if number % 250 == 0:
                print(f"{number} of {jobs} jobs", file=sys.stderr)


def _one_job(ledger: Ledger, writing: Writing, random: Random, number: int, *, last: bool) -> None:
    opened = job(f"J-{number + 1:04d}", f"ENG-{random.randrange(1, 401)}", random.randrange(1, 9))
    writing.append(opened)
    checks = []
    for place in range(CHECKS_A_JOB):
        photo = _kept(ledger, random.randbytes(EVIDENCE_BYTES))
        image = _kept(ledger, random.randbytes(EVIDENCE_BYTES))
        figures = long_result(random, FIGURES)
        stage = "before" if place < CHECKS_A_JOB // 2 else "after"
        body = check_body(
            ledger,
            writing,
            photo,
            image,
            record=record_id(ledger.identity, opened.job, photo.sha256, "", writing.recorded_at),
            of=opened,
            stage=stage,
            figures=figures,
            measured_by=None if last and place == 7 else MECHANIC,
            seen=likeness(random, figures["gauge"]),
        )
        writing.append(body)
        checks.append(body)
    for body in checks[: 4 if last else CHECKS_A_JOB]:
        _decided(writing, random, body)
    for body in checks[:2]:
        writing.append(Exported(body.core.record, "page", sha256_of(random.randbytes(8)), 90_000))
    writing.append(JobClosed(opened.job, MECHANIC.name))


def _decided(writing: Writing, random: Random, body: CheckRecorded) -> None:
    record = body.core.record
    if random.random() < 0.02:
        writing.append(CheckCorrected(record, "wrong door", MECHANIC.name))
        return
    retake = body.result["verdict"] == "retake"
    decision = "rejected" if retake or random.random() < 0.01 else "accepted"
    signed = INSPECTOR.signs(body, decision, writing.recorded_at, "looked at")  # type: ignore[arg-type]
    writing.append(CheckSigned(record, signed))


def _kept(ledger: Ledger, content: bytes) -> FileFacts:
    sha256 = sha256_of(content)
    path = ledger.evidence.path(sha256)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content)
    path.chmod(0o444)
    return FileFacts(sha256, len(content), "image/jpeg", "photo.jpg")


def appended(ledger: Ledger, random: Random, appends: int) -> tuple[list[float], list[float]]:
    """Milliseconds of the files and of the entry for checks recorded one by one, as in use."""
    opened = job(f"J-{10_000_000 + random.randrange(10**6)}")
    with ledger.writing() as writing:
        writing.append(opened)
    photos_ms, appends_ms = [], []
    for _ in range(appends):
        figures = long_result(random, FIGURES)
        seen = likeness(random, figures["gauge"])
        contents = [random.randbytes(EVIDENCE_BYTES) for _ in range(2)]
        begin = time.perf_counter()
        photo, image = (ledger.evidence.put(c, "image/jpeg", "p.jpg") for c in contents)
        put = time.perf_counter()
        with ledger.writing() as writing:
            writing.append(
                check_body(ledger, writing, photo, image, of=opened, figures=figures, seen=seen)
            )
        end = time.perf_counter()
        photos_ms.append(1e3 * (put - begin))
        appends_ms.append(1e3 * (end - put))
    return photos_ms, appends_ms


def searched(ledger: Ledger) -> tuple[dict[str, float], dict[str, int]]:
    """Median of five, in milliseconds, and how many were found, for each search."""
    times, found = {}, {}
    for name, wanted in SEARCHES.items():
        took = []
        for _ in range(5):
            begin = time.perf_counter()
            finds = search(ledger, wanted)
            took.append(1e3 * (time.perf_counter() - begin))
        times[name], found[name] = median(took), len(finds.found)
    return times, found


def _checked(path: Path) -> dict[str, float | bool]:
    """Verify in a process of its own, whose memory is nothing else's."""
    done = subprocess.run(
        [sys.executable, "-m", "recorded.size", str(path)],
        cwd=Path(__file__).parent.parent,
        capture_output=True,
        text=True,
        check=True,
    )
    found: dict[str, float | bool] = json.loads(done.stdout)
    return found


def _check(path: Path) -> Iterator[tuple[str, float | bool]]:
    from rigvision.records.ledger_check import check_ledger

    first_tenth = 0.0

    def progress(what: str, done: int, of: int | None) -> None:
        nonlocal first_tenth
        if what == "entries" and of and done <= of // 10:
            first_tenth = _most_mb()

    begin, cpu = time.perf_counter(), _processor_s()
    report = check_ledger(path, progress=progress)
    yield "verify_s", time.perf_counter() - begin
    yield "verify_cpu_s", _processor_s() - cpu
    yield "verify_files", report.evidence_files or 0
    yield "intact", report.intact
    yield "first_tenth_mb", first_tenth
    yield "most_mb", _most_mb()
    for finding in report.findings:
        print(finding, file=sys.stderr)


def _processor_s() -> float:
    """This process's and those beside it that have ended."""
    own, beside = (
        resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    )
    return own.ru_utime + own.ru_stime + beside.ru_utime + beside.ru_stime


def _most_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


if __name__ == "__main__":
    print(json.dumps(dict(_check(Path(sys.argv[1])))))
