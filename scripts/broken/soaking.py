"""One process that checks and checks: how its memory goes."""

from __future__ import annotations

import ctypes
import gc
import io
import sys
import time
from collections import Counter
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from PIL import Image

import rigvision
from broken.damage import damaged
from broken.originals import originals
from rigvision.decision.result import CheckResult

#: Damaged versions of each whole file; some are read, most refused.
DAMAGED_EACH = 4
ROOT = Path(__file__).resolve().parent.parent.parent


@dataclass(frozen=True, slots=True)
class Soak:
    """Resident memory after the warm-up, at the end and at most between, in MB."""

    checks: int
    seconds: float
    outcomes: Counter[str]
    first_mb: float
    last_mb: float
    most_mb: float

    @property
    def growth_percent(self) -> float:
        return 100.0 * (self.last_mb / self.first_mb - 1.0)

    def table(self, aim_percent: float) -> str:
        """As Markdown, with whether the aim was reached."""
        reached = "reached" if self.growth_percent < aim_percent else "**missed**"
        kinds = ", ".join(f"{n} {kind}" for kind, n in self.outcomes.most_common())
        head = (
            "| checks | which were | time | memory after warm-up | at the end | at most | growth | "
            "aim |"
        )
        row = (
            f"| {self.checks} | {kinds} | {self.seconds:.0f} s | {self.first_mb:.1f} MB | "
            f"{self.last_mb:.1f} MB | {self.most_mb:.1f} MB | {self.growth_percent:+.1f} % | "
            f"under {aim_percent:g} % {reached} |"
        )
        return "\n".join([head, "| ---: | --- | ---: | ---: | ---: | ---: | ---: | ---: |", row])


def soak(checks: int, warm_up: int, folder: Path, guarded: bool) -> Soak:
    """Check the files in turns; memory counts from the end of the warm-up on."""
    files = _files(folder)
    for number in range(warm_up):
        _checked(files[number % len(files)], guarded)
    first = most = resident_mb()
    outcomes: Counter[str] = Counter()
    start = time.perf_counter()
    for number in range(checks):
        outcomes[_checked(files[number % len(files)], guarded)] += 1
        if number % 50 == 0:
            most = max(most, resident_mb())
        if number % 500 == 499:
            print(f"{number + 1} checks, {resident_mb():.1f} MB", file=sys.stderr)
    return Soak(checks, time.perf_counter() - start, outcomes, first, resident_mb(), most)


def _checked(path: Path, guarded: bool) -> str:
    (found,) = rigvision.check_many([path], guarded=guarded)
    return found.verdict if isinstance(found, CheckResult) else "refused"


def _files(folder: Path) -> list[Path]:
    """Whole photos in every format, damaged ones, samples at half their size, and no photos."""
    whole = originals()
    others = list(whole.values())
    for name, data in whole.items():
        (folder / f"{name}.whole").write_bytes(data)
        for number in range(DAMAGED_EACH):
            changed = damaged(data, f"soak {name} {number}", others)[1]
            (folder / f"{name}.{number}").write_bytes(changed)
    for sample in sorted((ROOT / "sample_images").glob("*.jpg"))[::4]:
        with Image.open(sample) as image:
            half = image.resize((image.width // 2, image.height // 2), Image.Resampling.BOX)
            half.save(folder / sample.name, quality=92, exif=image.getexif())
    (folder / "text").write_text("no photo")
    (folder / "empty").touch()
    blank = io.BytesIO()
    Image.new("L", (1000, 750), 120).save(blank, "JPEG")
    (folder / "blank").write_bytes(blank.getvalue())
    return sorted(folder.iterdir())


def resident_mb() -> float:
    """What the process holds now, garbage collected and free memory given back where it can be."""
    gc.collect()
    with suppress(AttributeError, OSError):  # the GNU C library alone has it
        ctypes.CDLL(None).malloc_trim(0)
    status = Path("/proc/self/status").read_text()
    line = next(s for s in status.splitlines() if s.startswith("VmRSS"))
    return int(line.split()[1]) / 1000
