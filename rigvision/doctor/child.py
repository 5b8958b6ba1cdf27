"""A check run in a Python of its own, and what is said when that Python does not come back.

Whatever a check meets, a library that is missing, raises, crashes or hangs, ends the child and
becomes a finding here.
"""

from __future__ import annotations

import json
import re
import signal
import subprocess
import sys

from rigvision.doctor.finding import Finding, pip_command
from rigvision.doctor.system_library import missing_library

#: The child searches for packages exactly where this process does, wherever it was started.
_CHILD = (
    "import sys; module, function, *sys.path[:] = sys.argv[1:]; "
    "from rigvision.doctor.__main__ import main; main(module, function)"
)


def run_check(code: str, title: str, module: str, function: str, limit_s: float) -> list[Finding]:
    """The findings of ``rigvision.doctor.MODULE.FUNCTION()``."""
    command = [sys.executable, "-c", _CHILD, module, function, *sys.path]
    try:
        done = subprocess.run(
            command,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            encoding="utf-8",
            errors="replace",
            check=False,
            timeout=limit_s,
        )
    except subprocess.TimeoutExpired:
        text = f"This check was not done after {limit_s:.0f} s and was stopped."
        return [Finding(code, title, "failure", text, "Try again on an idle machine.")]
    if done.returncode == 0:
        return [Finding.from_json(plain) for plain in json.loads(done.stdout)]
    return [_died(code, title, done.returncode, done.stderr)]


def _died(code: str, title: str, status: int, complaint: str) -> Finding:
    """Why a child ended: a signal, or the last line of its traceback."""
    last = (complaint.strip().splitlines() or ["no word of it"])[-1]
    library = missing_library(last)
    if library:
        return Finding(code, title, "failure", library.text, library.remedy)
    missing = re.match(r"ModuleNotFoundError: No module named '([^']+)'", last)
    if missing:
        return _module_missing(code, title, missing.group(1).partition(".")[0])
    if status < 0:
        last = f"it was ended by signal {signal.Signals(-status).name}"
    text = f"This check could not be done: {last}."
    remedy = "Install the package that is named again, or report this sentence."
    return Finding(code, title, "failure", text, remedy, facts={"status": status})


def _module_missing(code: str, title: str, module: str) -> Finding:
    """A module of ours or of a package; a few are named otherwise than their package."""
    package = {"PIL": "pillow", "skimage": "scikit-image", "cv2": "opencv-python"}.get(
        module, module.replace("_", "-")
    )
    text = f"The Python module {module} is missing."
    if module == "rigvision":
        return Finding(code, title, "failure", text, "Install rigvision again.")
    remedy = f"Install {package}."
    return Finding(code, title, "failure", text, remedy, (pip_command("install", package),))
