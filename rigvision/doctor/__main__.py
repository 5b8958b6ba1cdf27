"""One check in a process of its own: its findings as JSON on standard output."""

from __future__ import annotations

import json
import os
import sys
from importlib import import_module


def main(module: str, function: str) -> None:
    """Run ``rigvision.doctor.MODULE.FUNCTION()``. What it raises ends the process."""
    # Whatever a library prints, in C too, goes to standard error; the answer alone goes out.
    answer = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)
    found = getattr(import_module(f"rigvision.doctor.{module}"), function)()
    with answer:
        json.dump([finding.as_json() for finding in found], answer)


if __name__ == "__main__":
    main(*sys.argv[1:])
