"""Environment variables that change what is done, as far as they are set."""

from __future__ import annotations

import os
from collections.abc import Mapping

from rigvision.doctor.finding import Finding

#: Variable: what it does. Those that only change looks, as NO_COLOR, are not among them.
EFFECTS = {
    "RIGVISION_MODELS": "gauges, frames and cameras come from there",
    "RIGVISION_LEDGER": "the ledger is kept there",
    "RIGVISION_DEBUG": "errors end with a traceback",
    "OPENCV_IO_MAX_IMAGE_PIXELS": "OpenCV refuses larger PNG and TIFF pictures",
    "OPENCV_IO_MAX_IMAGE_WIDTH": "OpenCV refuses wider PNG and TIFF pictures",
    "OPENCV_IO_MAX_IMAGE_HEIGHT": "OpenCV refuses higher PNG and TIFF pictures",
    "OPENCV_IPP": "OpenCV computes in another way",
    "OPENCV_OPENCL_RUNTIME": "OpenCV computes in another way",
    "PYTHONPATH": "Python packages come from there first",
    "PYTHONOPTIMIZE": "Python leaves out its checks of itself",
    "OMP_NUM_THREADS": "so many threads",
}


def findings(environment: Mapping[str, str] = os.environ) -> list[Finding]:
    """One line: which are set, to what, and what that does."""
    found = {name: environment[name] for name in EFFECTS if environment.get(name)}
    if not found:
        return [Finding("environment", "Environment", "ok", "no variable that changes anything")]
    text = "; ".join(f"{name}={value}: {EFFECTS[name]}" for name, value in found.items())
    return [Finding("environment", "Environment", "ok", text, facts={**found})]
