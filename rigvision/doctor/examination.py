"""All checks, in the order of the report."""

from __future__ import annotations

import os
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass

from rigvision.doctor.child import run_check
from rigvision.doctor.finding import Finding, Status

SCHEMA = "rigvision.doctor/1"


@dataclass(frozen=True, slots=True)
class Check:
    """One check: a function of a module in this folder that gives findings."""

    code: str
    title: str
    module: str
    function: str = "findings"
    #: Without OpenCV it can only repeat that OpenCV is missing.
    needs_opencv: bool = False
    limit_s: float = 60.0


OPENCV = Check("opencv", "OpenCV", "opencv", "module_findings")
CHECKS = (
    Check("packages", "Packages", "python_packages"),
    Check("opencv-packages", "OpenCV packages", "opencv", "package_findings"),
    OPENCV,
    Check("heic", "HEIC", "heic", needs_opencv=True),
    Check("fonts", "Fonts", "fonts", needs_opencv=True),
    Check("models", "Models", "model_files"),
    # Of a photo as large as this it takes a second; a slow machine may take a minute.
    Check("self-test", "Self-test", "self_test", needs_opencv=True, limit_s=180.0),
    Check("ledger", "Ledger", "ledger"),
    Check("machine", "Machine", "machine"),
    Check("environment", "Environment", "environment"),
)


def examine() -> Iterator[Finding]:
    """The findings of all checks, in order, each as soon as it and those before are known."""
    with ThreadPoolExecutor(max_workers=os.cpu_count()) as pool:
        opencv = pool.submit(_run, OPENCV)
        started = {OPENCV: opencv}
        for check in CHECKS:
            if check is not OPENCV:
                started[check] = pool.submit(_run_after, opencv, check)
        for check in CHECKS:
            yield from started[check].result()


def worst(findings: list[Finding]) -> Status:
    """``failure``, ``warning`` or ``ok``, of all together."""
    found = {finding.status for finding in findings}
    return next((s for s in ("failure", "warning") if s in found), "ok")


def _run(check: Check) -> list[Finding]:
    return run_check(check.code, check.title, check.module, check.function, check.limit_s)


def _run_after(opencv: Future[list[Finding]], check: Check) -> list[Finding]:
    """OpenCV was asked for first, so that no worker waits for one that has not begun."""
    if check.needs_opencv and worst(opencv.result()) == "failure":
        text = "not looked at, as OpenCV does not load"
        return [Finding(check.code, check.title, "skipped", text)]
    return _run(check)
