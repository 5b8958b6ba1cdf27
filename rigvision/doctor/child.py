"""A check run in a Python of its own, and what is said when that Python does not come back.

Whatever a check meets, a library that is missing, raises, crashes or hangs, ends the child and
becomes a finding here.
"""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
from dataclasses import dataclass

from rigvision.doctor.finding import Finding, pip_command
from rigvision.doctor.system_library import missing_library

#: The child searches for packages exactly where this process does, wherever it was started.
_CHILD = (
    "import sys; module, function, *sys.path[:] = sys.argv[1:]; "
    "from rigvision.doctor.__main__ import main; main(module, function)"
)


@dataclass(frozen=True, slots=True)
class Check:
    """One check: a function of a module in this folder that gives findings."""

    code: str
    title: str
    module: str
    function: str = "findings"
    #: Without OpenCV it can only repeat that OpenCV is missing.
    needs_opencv: bool = False
    #: With the program's own models, whichever are active.
    own_models: bool = False
    limit_s: float = 60.0


def run_check(check: Check) -> list[Finding]:
    """The findings of ``rigvision.doctor.MODULE.FUNCTION()``."""
    command = [sys.executable, "-c", _CHILD, check.module, check.function, *sys.path]
    environment = dict(os.environ)
    if check.own_models:
        environment.pop("RIGVISION_MODELS", None)
    try:
        done = subprocess.run(
            command,
            env=environment,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            encoding="utf-8",
            errors="replace",
            check=False,
            timeout=check.limit_s,
        )
    except subprocess.TimeoutExpired:
        text = f"This check was not done after {check.limit_s:.0f} s and was stopped."
        return [_failed(check, text, "Try again on an idle machine.")]
    if done.returncode == 0:
        return [Finding.from_json(plain) for plain in json.loads(done.stdout)]
    return [_died(check, done.returncode, done.stderr)]


def _died(check: Check, status: int, complaint: str) -> Finding:
    """Why a child ended: a signal, or the last line of its traceback."""
    last = (complaint.strip().splitlines() or ["no word of it"])[-1]
    library = missing_library(last)
    if library:
        return _failed(check, library.text, library.guide, *library.commands)
    missing = re.match(r"ModuleNotFoundError: No module named '([^']+)'", last)
    if missing:
        return _module_missing(check, missing.group(1).partition(".")[0])
    if status < 0:
        last = f"it was ended by signal {signal.Signals(-status).name}"
    text = f"This check could not be done: {last}."
    remedy = "Install the package that is named again, or report this sentence."
    return _failed(check, text, remedy)


def _module_missing(check: Check, module: str) -> Finding:
    """A module of ours or of a package; a few are named otherwise than their package."""
    package = {"PIL": "pillow", "skimage": "scikit-image", "cv2": "opencv-python"}.get(
        module, module.replace("_", "-")
    )
    text = f"The Python module {module} is missing."
    if module == "rigvision":
        return _failed(check, text, "Install rigvision again.")
    remedy = f"Install {package}."
    return _failed(check, text, remedy, pip_command("install", package))


def _failed(check: Check, text: str, remedy: str, *commands: str) -> Finding:
    return Finding(check.code, check.title, "failure", text, remedy, commands)
