"""One damaged file read, and measured where it can be read: what came of it."""

from __future__ import annotations

import os
import resource
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Literal

import cv2
import numpy as np

import rigvision
from rigvision.decision.result import CheckResult
from rigvision.ground.errors import PhotoError
from rigvision.photo.picture import Picture, read_picture

#: refused: with a sentence. same: read, and every pixel is the whole file's. read: other pixels,
#: not measured any further. retake, measured: other pixels, checked. error: something escaped.
Outcome = Literal["refused", "same", "read", "retake", "measured", "error"]


@dataclass(frozen=True, slots=True)
class Trial:
    """What came of one file."""

    number: int
    form: str
    damage: str
    outcome: Outcome
    code: str  # of the refusal; the error's name
    seconds: float
    peak_mb: float  # resident at most, of the process, while it read this file
    off: float | None  # largest difference to the whole file's figures over its uncertainty
    complaint: bool  # OpenCV's decoder complained about what was read

    def plain(self) -> dict[str, object]:
        return asdict(self)


def figures(result: CheckResult) -> dict[str, tuple[float, float]]:
    """Figures with their expanded uncertainties, as far as they were measured."""
    gap, yoke = result.gap, result.yoke
    found = {
        "lateral": (yoke.lateral_offset_mm, yoke.lateral_offset_expanded_uncertainty_mm),
        "tilt": (yoke.tilt_deg, yoke.tilt_expanded_uncertainty_deg),
        "seat": (yoke.seat_gap_mm, yoke.seat_gap_expanded_uncertainty_mm),
        "clock": (yoke.clock_deg, yoke.clock_expanded_uncertainty_deg),
    }
    if gap:
        found["gap"] = gap.mean_mm, gap.expanded_uncertainty_mm
        found["taper"] = gap.taper_mm, gap.taper_expanded_uncertainty_mm
    return {k: (v, u) for k, (v, u) in found.items() if v is not None and u is not None}


def difference(found: CheckResult, whole: CheckResult) -> float | None:
    """Largest difference of a figure over the two uncertainties combined; None without figures."""
    a, b = figures(found), figures(whole)
    ratios = [abs(a[k][0] - b[k][0]) / (a[k][1] ** 2 + b[k][1] ** 2) ** 0.5 for k in a if k in b]
    return max(ratios, default=None)


def attempt(
    path: Path, whole: Picture, measured: CheckResult, check: bool
) -> tuple[Outcome, str, float | None]:
    """Outcome, code and difference of one file."""
    try:
        picture = read_picture(path)
    except PhotoError as error:
        return "refused", error.code, None
    if np.array_equal(picture.luma, whole.luma) and picture.exif == whole.exif:
        return "same", "", 0.0
    if not check:
        return "read", "", None
    found = rigvision.check(path)
    off = difference(found, measured)
    if found.verdict == "retake":
        return "retake", found.reasons[0].code, off
    return "measured", found.verdict, off


def complains(path: Path) -> bool:
    """Whether OpenCV's decoder, which fills up what is missing, says that something is."""
    with _standard_error() as said:
        decoded = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
        return decoded is None or bool(os.fstat(said).st_size)


@contextmanager
def _standard_error() -> Iterator[int]:
    """Standard error, also that of C libraries, into a file of its own."""
    kept = os.dup(2)
    with tempfile.TemporaryFile() as file:
        os.dup2(file.fileno(), 2)
        try:
            yield file.fileno()
        finally:
            os.dup2(kept, 2)
            os.close(kept)


def forget_peak() -> None:
    """Count the process's largest memory anew, where the system can (Linux)."""
    try:
        Path("/proc/self/clear_refs").write_text("5")
    except OSError:
        return


def peak_mb() -> float:
    """Largest resident memory since it was counted anew, or since the start."""
    status = Path("/proc/self/status")
    if status.exists():
        line = next(s for s in status.read_text().splitlines() if s.startswith("VmHWM"))
        return int(line.split()[1]) / 1000
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6


def now() -> float:
    return time.perf_counter()
