"""The command ``check``: photos through the library, results to people or programs.

rich is loaded only where its output is wanted, never for JSON of one photo.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import rigvision.chain  # now, while nobody looks for garbage, not at the first call
from rigvision.decision.result import CheckResult
from rigvision.ground.errors import PhotoError
from rigvision.photo.picture import safe_name
from rigvision.report.as_json import as_json, error_as_json
from rigvision.report.wording import one_line

PASSED, FAILED, ADJUST, RETAKE = 0, 1, 3, 4


@dataclass(frozen=True, slots=True)
class Request:
    """What the user asked for."""

    photos: tuple[Path, ...]
    gauge: str | None = None
    frame: str | None = None
    door: int | None = None
    camera: str | None = None
    out: Path | None = None
    as_json: bool = False


@dataclass(slots=True)
class Tally:
    """What came of the photos so far."""

    verdicts: set[str] = field(default_factory=set)
    failed: bool = False
    objects: list[dict[str, Any]] = field(default_factory=list)

    @property
    def exit_code(self) -> int:
        """Failure first: not everything that was asked for has been checked."""
        if self.failed:
            return FAILED
        if "retake" in self.verdicts:
            return RETAKE
        return ADJUST if "adjust" in self.verdicts else PASSED


def run_check(request: Request) -> int:
    """Check all photos in order, print, and give the exit code."""
    tally = Tally()
    for path, outcome in zip(request.photos, _outcomes(request), strict=True):
        if isinstance(outcome, PhotoError):
            _report_unreadable(safe_name(path.name), outcome, tally)
            continue
        tally.verdicts.add(outcome.verdict)
        if request.as_json:
            tally.objects.append(as_json(outcome))
        else:
            _show(outcome)
        if request.out is not None:
            _write_image(outcome, request.out, tally)
    if request.as_json:
        print(json.dumps(_one_or_list(tally.objects, request), indent=2, allow_nan=False))
    return tally.exit_code


def _outcomes(request: Request) -> list[CheckResult | PhotoError]:
    with _progress(len(request.photos)) as step:
        return rigvision.check_many(
            request.photos,
            gauge=request.gauge,
            frame=request.frame,
            door=request.door,
            camera=request.camera,
            progress=step,
        )


def _one_or_list(objects: list[dict[str, Any]], request: Request) -> Any:
    return objects[0] if len(request.photos) == 1 else objects


def _report_unreadable(name: str, error: PhotoError, tally: Tally) -> None:
    tally.failed = True
    tally.objects.append(error_as_json(name, error))
    _say(f"{error.text} {error.remedy}")


def _show(result: CheckResult) -> None:
    from rich.console import Console

    from rigvision.report.text import show

    show(result, Console(file=sys.stdout, highlight=False, emoji=False, markup=False))


def _write_image(result: CheckResult, folder: Path, tally: Tally) -> None:
    """An image that cannot be written fails the run, but not the other photos."""
    from rigvision.report import analysed_image

    try:
        written = analysed_image.write(result, folder)
    except (OSError, PhotoError) as error:
        tally.failed = True
        _say(f"{result.photo.name}: the analysed image cannot be written to {folder}: {error}")
    else:
        _say(f"{result.photo.name}: analysed image in {written}")


def _say(message: str) -> None:
    print(one_line(message), file=sys.stderr)


@contextmanager
def _progress(total: int) -> Iterator[Callable[[int], None] | None]:
    """Progress on standard error: none for one photo, a bar on a terminal, else lines."""
    if total < 2:
        yield None
        return
    from rich.console import Console
    from rich.progress import Progress

    console = Console(file=sys.stderr, highlight=False, emoji=False, markup=False)
    if not console.is_terminal or console.is_dumb_terminal:
        yield lambda done: _say(f"checked {done} of {total}")
    else:
        # Standard output is not redirected: it may be a pipe that wants nothing but JSON.
        with Progress(console=console, transient=True, redirect_stdout=False) as bar:
            task = bar.add_task("Checking", total=total)
            yield lambda done: bar.update(task, completed=done)
