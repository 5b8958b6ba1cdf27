"""All checks, in the order of the report."""

from __future__ import annotations

import os
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor

from rigvision.doctor.child import Check, run_check
from rigvision.doctor.finding import Finding, Status

SCHEMA = "rigvision.doctor/1"

OPENCV = Check("opencv", "OpenCV", "opencv", "module_findings")
CHECKS = (
    Check("packages", "Packages", "python_packages"),
    Check("opencv-packages", "OpenCV packages", "opencv", "package_findings"),
    OPENCV,
    Check("heic", "HEIC", "heic", needs_opencv=True),
    Check("fonts", "Fonts", "fonts", needs_opencv=True),
    Check("models", "Models", "model_files"),
    # It takes a second where nothing else runs; a busy, slow machine may take a minute.
    Check("self-test", "Self-test", "self_test", needs_opencv=True, own_models=True, limit_s=180.0),
    Check("ledger", "Ledger", "ledger"),
    Check("machine", "Machine", "machine"),
    Check("environment", "Environment", "environment"),
)


def examine() -> Iterator[Finding]:
    """The findings of all checks, in order, each as soon as it and those before are known."""
    with ThreadPoolExecutor(max_workers=os.cpu_count()) as pool:
        opencv = pool.submit(run_check, OPENCV)
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


def _run_after(opencv: Future[list[Finding]], check: Check) -> list[Finding]:
    """OpenCV was asked for first, so that no worker waits for one that has not begun."""
    if check.needs_opencv and worst(opencv.result()) == "failure":
        text = "not looked at, as OpenCV does not load"
        return [Finding(check.code, check.title, "skipped", text)]
    return run_check(check)
