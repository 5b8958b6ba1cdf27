"""Reviews of many shots: a ledger of sample pictures with other figures, pages of it, their cost.

Each photo is a sample's with a few bytes of its own behind the picture, so that no file is another
and each has to be read; so is its analysed image. Gap and uncertainty are drawn at random.
"""

from __future__ import annotations

import json
import resource
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from random import Random
from statistics import median
from typing import Any

import rigvision
from recorded.invented import begun, check_body, job
from rigvision.evidence import Evidence
from rigvision.ground.measured import probability_inside
from rigvision.records.bodies import CheckRecorded, Definition, FileFacts, Likeness
from rigvision.records.canonical import sha256_of
from rigvision.records.definitions import definitions_of
from rigvision.records.ledger import Ledger
from rigvision.records.likeness import likeness_of
from rigvision.records.read_body import core_sha256, plain_of
from rigvision.records.record_id import record_id
from rigvision.records.search import Wanted
from rigvision.records.writing import Writing
from rigvision.report.analysed_image import as_jpeg
from rigvision.report.as_json import as_json
from rigvision.training.review import build_review
from rigvision.training.shot_set import shots_of_ledger

SHOTS_A_JOB = 4
VIEWS = 5


@dataclass(frozen=True, slots=True)
class Sample:
    """A sample picture as it was checked once."""

    photo: bytes
    image: bytes
    plain: dict[str, Any]
    likeness: Likeness | None
    definitions: tuple[Definition, ...]


@dataclass(frozen=True, slots=True)
class ReviewCost:
    """Seconds, bytes and milliseconds; ``first_ms`` to the first words on the screen."""

    shots: int
    processors: int
    build_s: float
    build_cpu_s: float
    again_s: float
    photo_bytes: float
    bytes_a_shot: float
    page_bytes: int
    first_ms: float | None
    thumbs: int | None


def measure(photos: Sequence[Path], shots: int, folder: Path, processors: int) -> ReviewCost:
    """Fill a ledger, build its review twice, look at its first page."""
    path = folder / "ledger.sqlite3"
    photo_bytes = fill(path, photos, shots)
    out = folder / "pages"
    build_s, cpu_s = _built(path, shots, out, processors)
    again_s, _ = _built(path, shots, out, processors)
    files = [p for p in out.rglob("*") if p.is_file()]
    first_ms, thumbs = first_page(out)
    return ReviewCost(
        shots,
        processors,
        build_s,
        cpu_s,
        again_s,
        photo_bytes,
        sum(p.stat().st_size for p in files) / shots,
        (out / "index.html").stat().st_size,
        first_ms,
        thumbs,
    )


def _built(path: Path, shots: int, out: Path, processors: int) -> tuple[float, float]:
    """Seconds, and seconds of processor, children's included, from opening the ledger on."""
    begin, cpu = time.perf_counter(), _cpu_s()
    with Ledger.open(path, read_only=True) as ledger:
        found = shots_of_ledger(ledger, Wanted(most=shots))
    build_review(found, out, workers=processors)
    return time.perf_counter() - begin, _cpu_s() - cpu


def _cpu_s() -> float:
    used = [resource.getrusage(w) for w in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(u.ru_utime + u.ru_stime for u in used)


def fill(path: Path, photos: Sequence[Path], shots: int, seed: int = 1) -> float:
    """Record as many checks; the mean size of their photos in bytes."""
    random = Random(seed)
    with Ledger.create(path) as ledger:
        begun(ledger)
        samples = [_sample(ledger, photo) for photo in photos]
        for at in range(shots):
            _record(ledger, samples[at % len(samples)], random, at)
    return sum(len(s.photo) for s in samples) / len(samples)


def _sample(ledger: Ledger, photo: Path) -> Sample:
    result = rigvision.check(photo, door=3)
    assert isinstance(result.evidence, Evidence)
    kept = definitions_of(result.evidence)
    for model in kept:
        ledger.evidence.put(model.content, model.media_type, model.file_name)
    plain = json.loads(json.dumps(as_json(result)))
    definitions = tuple(k.definition for k in kept)
    return Sample(photo.read_bytes(), as_jpeg(result), plain, likeness_of(result), definitions)


def _record(ledger: Ledger, sample: Sample, random: Random, at: int) -> None:
    own = random.randbytes(16)
    files = [_kept(ledger, content + own) for content in (sample.photo, sample.image)]
    opened = job(f"J-{at // SHOTS_A_JOB + 2:04d}", f"ENG-{at // 40 + 1}", at % 10 + 1)
    with ledger.writing() as writing:
        if at % SHOTS_A_JOB == 0:
            writing.append(opened)
        writing.append(_body(ledger, writing, sample, files, opened.job, random, at))


def _body(
    ledger: Ledger,
    writing: Writing,
    sample: Sample,
    files: list[FileFacts],
    reference: str,
    random: Random,
    at: int,
) -> CheckRecorded:
    photo, image = files
    body = check_body(
        ledger,
        writing,
        photo,
        image,
        record=record_id(ledger.identity, reference, photo.sha256, "", writing.recorded_at),
        of=job(reference),
        stage="before" if at % SHOTS_A_JOB < SHOTS_A_JOB // 2 else "after",
        figures=_other_figures(sample.plain, photo.sha256, random, at),
        measured_by=None,
        seen=sample.likeness,
    )
    core = replace(body.core, definitions=sample.definitions)
    return replace(body, core=core, core_sha256=core_sha256(plain_of(core)))


def _other_figures(plain: dict[str, Any], sha256: str, random: Random, at: int) -> dict[str, Any]:
    """A sample's result with another gap, judged by it."""
    made: dict[str, Any] = json.loads(json.dumps(plain))
    made["photo"] |= {"sha256": sha256, "name": f"IMG_{at:04d}.jpg"}
    gap, decision = made.get("gap"), made.get("decision")
    if not decision or gap["mean_mm"] is None:
        return made
    value = round(random.gauss(0.95, 0.12), 5)
    u = gap["expanded_uncertainty_mm"] / gap["coverage_factor"]
    p = round(probability_inside(value, u, 1e9, gap["lower_mm"], gap["upper_mm"]), 5)
    gap |= {"mean_mm": value, "conformance_probability": p}
    for c in decision["characteristics"]:
        if c["quantity"] == "gap":
            c |= {"value": value, "conformance_probability": p, "accepted": p >= 0.95}
    if made["verdict"] != "retake":
        passes = all(c["accepted"] for c in decision["characteristics"])
        made["verdict"] = "pass" if passes else "adjust"
        made["borderline"] = not passes and 0.05 < p < 0.95
    return made


def _kept(ledger: Ledger, content: bytes) -> FileFacts:
    """Written here, as the store would force each file to the disk."""
    sha256 = sha256_of(content)
    path = ledger.evidence.path(sha256)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content)
    return FileFacts(sha256, len(content), "image/jpeg", "photo.jpg")


def first_page(out: Path) -> tuple[float | None, int | None]:
    """Milliseconds to the first words on the screen, median of fresh windows, and how many
    thumbnails were asked for meanwhile; None without a browser."""
    import os
    import shutil

    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        return None, None
    program = os.environ.get("RIGVISION_CHROMIUM") or shutil.which("chromium")
    if program is None:
        return None, None
    times, thumbs = [], 0
    paint = "performance.getEntriesByName('first-contentful-paint')[0]?.startTime ?? null"
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=["--no-sandbox"])
        for _ in range(VIEWS):
            page = browser.new_page(viewport={"width": 1400, "height": 800})
            asked: list[str] = []
            page.on("request", lambda request, asked=asked: asked.append(request.url))
            page.goto((out / "index.html").as_uri())
            while (shown := page.evaluate(paint)) is None:
                page.wait_for_timeout(20)
            page.wait_for_timeout(300)
            times.append(shown)
            thumbs = sum(url.endswith("-small.jpg") for url in asked)
            page.close()
        browser.close()
    return median(times), thumbs


def table(cost: ReviewCost) -> str:
    """Each aim with what was measured, as Markdown."""
    first = "no browser" if cost.first_ms is None else f"{cost.first_ms / 1e3:.2f} s"
    rows = [
        (f"{cost.shots} shots, {cost.processors} processes", f"{cost.build_s:.1f} s", "under 20 s"),
        ("processor's time of that, all together", f"{cost.build_cpu_s:.1f} s", ""),
        ("built again, nothing new", f"{cost.again_s:.1f} s", ""),
        ("on the disk, a shot", f"{cost.bytes_a_shot / 1e6:.2f} MB", "under 1 MB"),
        ("a photo itself, mean", f"{cost.photo_bytes / 1e6:.2f} MB", ""),
        ("the first page's file", f"{cost.page_bytes / 1e3:.0f} kB", ""),
        ("first words of it in headless Chromium", first, "under 1 s"),
        ("thumbnails asked for by then", str(cost.thumbs), ""),
    ]
    lines = ["| what | measured | wanted |", "| --- | ---: | --- |"]
    return "\n".join(lines + [f"| {' | '.join(row)} |" for row in rows])


def misses(cost: ReviewCost) -> list[str]:
    """The aims that were not reached."""
    aims = {
        "built under 20 s": cost.build_s < 20.0,
        "under 1 MB a shot": cost.bytes_a_shot < 1e6,
        "first page within 1 s": cost.first_ms is None or cost.first_ms < 1000.0,
    }
    return [aim for aim, reached in aims.items() if not reached]
