"""What the machine has left: memory, cores, room for temporary files."""

from __future__ import annotations

import os
import platform
import shutil
import tempfile
from pathlib import Path

from rigvision.doctor.finding import Fact, Finding

#: Most that a check was seen to take, in MB: 112 for 12 megapixels, 436 for 48 as HEIC; for the
#: largest allowed, 120 megapixels, 448 as JPEG, 830 as PNG and 2004 as WebP.
NEEDED_MEMORY_MB = 500
NEEDED_DISK_MB = 100
_TRIAL = bytes(range(256)) * 256
MEMINFO = Path("/proc/meminfo")
CGROUP = Path("/sys/fs/cgroup")


def findings() -> list[Finding]:
    return [_memory(available_memory_mb()), _temporary()]


def available_memory_mb(meminfo: Path = MEMINFO, limits: Path = CGROUP) -> int | None:
    """Memory that programs may still take, MB; None where this system does not say.

    Of a container that is what its own limit leaves.
    """
    left = []
    for line in meminfo.read_text().splitlines() if meminfo.exists() else []:
        if line.startswith("MemAvailable:"):
            left.append(int(line.split()[1]) // 1000)
    most = limits / "memory.max"
    if most.exists() and (limit := most.read_text().strip()) != "max":
        used = int((limits / "memory.current").read_text())
        statistics = (limits / "memory.stat").read_text().splitlines()
        # The cache of files counts as used, but what of it is idle is given up when wanted.
        idle = sum(int(v) for k, v in map(str.split, statistics) if k == "inactive_file")
        left.append((int(limit) - used + idle) // 1_000_000)
    return min(left, default=None)


def _memory(left_mb: int | None) -> Finding:
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    system = f"{platform.system()} {platform.machine()}, {cores} cores"
    facts: dict[str, Fact] = {
        "system": platform.platform(),
        "cores": cores,
        "memory_free_mb": left_mb,
    }
    if left_mb is None:
        return Finding("machine", "Machine", "ok", f"{system}, memory not told", facts=facts)
    text = f"{system}, {left_mb / 1000:.1f} GB of memory free"
    if left_mb >= NEEDED_MEMORY_MB:
        return Finding("machine", "Machine", "ok", text, facts=facts)
    remedy = f"Close other programs: a large photo takes {NEEDED_MEMORY_MB} MB."
    return Finding("machine", "Machine", "warning", text, remedy, facts=facts)


def _temporary() -> Finding:
    """Write a file where temporary files go, read it back, and see what room there is."""
    try:
        with tempfile.TemporaryFile() as file:
            file.write(_TRIAL)
            file.seek(0)
            whole = file.read() == _TRIAL
        folder = Path(tempfile.gettempdir())
        left_mb = shutil.disk_usage(folder).free // 1_000_000
    except OSError as error:
        return _no_temporary(f"Temporary files cannot be written: {error.strerror or error}.")
    if not whole:
        return _no_temporary(f"What is written to {folder} does not come back.")
    facts: dict[str, Fact] = {"folder": str(folder), "free_mb": left_mb}
    text = f"{folder} can be written, {left_mb / 1000:.1f} GB free"
    if left_mb >= NEEDED_DISK_MB:
        return Finding("temporary", "Temporary files", "ok", text, facts=facts)
    remedy = f"Delete something: at least {NEEDED_DISK_MB} MB should be free."
    return Finding("temporary", "Temporary files", "warning", text, remedy, facts=facts)


def _no_temporary(text: str) -> Finding:
    remedy = "Set TMPDIR (on Windows TEMP) to a folder that you may write to."
    return Finding("temporary", "Temporary files", "failure", text, remedy)
