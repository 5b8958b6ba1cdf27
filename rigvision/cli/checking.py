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
from typing import TYPE_CHECKING, Any, Protocol, TextIO

import rigvision.chain  # now, while nobody looks for garbage, not at the first call
from rigvision.decision.result import CheckResult
from rigvision.evidence import Evidence
from rigvision.ground.errors import PhotoError, RigvisionError
from rigvision.ground.shown import one_line
from rigvision.photo.picture import shown_name
from rigvision.report.as_json import as_json, error_as_json

if TYPE_CHECKING:
    from rich.console import Console

    from rigvision.metrology.monte_carlo import MonteCarlo

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
    budget: bool = False
    draws: int | None = None
    guarded: bool = False
    faces: bool = False  # kept where checks are recorded


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


#: Records a check into a job: what JSON and people are told of it. Raises RigvisionError.
Keep = Callable[[CheckResult, "MonteCarlo | None"], "Kept"]


class Kept(Protocol):
    """What came of recording a check."""

    def as_json(self) -> dict[str, Any]: ...

    def show(self) -> None: ...

    def write(self, folder: Path) -> Path: ...


def run_check(request: Request, keep: Keep | None = None) -> int:
    """Check all photos in order, print, and give the exit code. ``keep`` records each of them."""
    tally = Tally()
    if request.draws is not None:
        from rigvision.metrology.monte_carlo import check_draws

        check_draws(request.draws)
    for path, outcome in zip(request.photos, _outcomes(request), strict=True):
        if isinstance(outcome, PhotoError):
            report_unreadable(shown_name(path), outcome, tally)
            continue
        tally.verdicts.add(outcome.verdict)
        drawn = _monte_carlo(outcome, request.draws)
        if request.as_json:
            tally.objects.append(as_json(outcome, drawn))
        else:
            show_outcome(outcome, drawn, request)
        if keep is not None:
            _keep(outcome, drawn, keep, request, tally)
        elif request.out is not None:
            write_image(outcome, request.out, tally)
    if request.as_json:
        print(json.dumps(_one_or_list(tally.objects, request), indent=2, allow_nan=False))
    return tally.exit_code


def _keep(
    outcome: CheckResult, drawn: MonteCarlo | None, keep: Keep, request: Request, tally: Tally
) -> None:
    """Record it. What cannot be recorded fails the run, but not the other photos."""
    try:
        kept = keep(outcome, drawn)
        written = kept.write(request.out) if request.out is not None else None
    except RigvisionError as error:
        tally.failed = True
        said = {"code": error.code, "text": f"{error.text} {error.remedy}"}
        if request.as_json:
            tally.objects[-1]["record"] = {"error": said}
        say(f"{error.text} {error.remedy}")
        return
    if request.as_json:
        tally.objects[-1]["record"] = kept.as_json()
    else:
        kept.show()
    if written is not None:
        say(f"{outcome.photo.name}: analysed image in {written}")


def show_outcome(outcome: CheckResult, drawn: MonteCarlo | None, request: Request) -> None:
    from rigvision.report.text import show

    console = _console(sys.stdout)
    show(outcome, console)
    if request.budget or drawn:
        from rigvision.report import budget

        if request.budget:
            budget.show_budget(outcome, console)
        if drawn:
            budget.show_monte_carlo(drawn, console)


def _monte_carlo(outcome: CheckResult, draws: int | None) -> MonteCarlo | None:
    """The measurement drawn at random so many times; None where that is not wanted."""
    if draws is None:
        return None
    from rigvision.metrology.monte_carlo import SEED, MonteCarlo, repropagate

    seen = outcome.evidence
    if not isinstance(seen, Evidence) or not (seen.pose and seen.gauge and seen.frame):
        return MonteCarlo(draws, SEED, ())
    with bar("Drawing", 1.0) as step:
        return repropagate(
            seen.slot, seen.yoke, seen.pose, seen.gauge, seen.frame, draws, progress=step
        )


def _outcomes(request: Request) -> list[CheckResult | PhotoError]:
    with progress_shown(len(request.photos)) as step:
        return rigvision.check_many(
            request.photos,
            gauge=request.gauge,
            frame=request.frame,
            door=request.door,
            camera=request.camera,
            progress=step,
            guarded=request.guarded,
            **({"faces": True} if request.faces else {}),
        )


def _one_or_list(objects: list[dict[str, Any]], request: Request) -> Any:
    return objects[0] if len(request.photos) == 1 else objects


def report_unreadable(name: str, error: PhotoError, tally: Tally) -> None:
    tally.failed = True
    tally.objects.append(error_as_json(name, error))
    say(f"{error.text} {error.remedy}")


def write_image(result: CheckResult, folder: Path, tally: Tally) -> None:
    """An image that cannot be written fails the run, but not the other photos."""
    from rigvision.report import analysed_image

    try:
        written = analysed_image.write(result, folder)
    except (OSError, PhotoError) as error:
        tally.failed = True
        say(f"{result.photo.name}: the analysed image cannot be written to {folder}: {error}")
    else:
        say(f"{result.photo.name}: analysed image in {written}")


def say(message: str) -> None:
    print(one_line(message), file=sys.stderr)


def _console(stream: TextIO) -> Console:
    from rich.console import Console

    return Console(file=stream, highlight=False, emoji=False, markup=False)


@contextmanager
def progress_shown(total: int) -> Iterator[Callable[[int], None] | None]:
    """Progress on standard error: none for one photo, a bar on a terminal, else lines."""
    if total < 2:
        yield None
        return
    console = _console(sys.stderr)
    if not console.is_terminal or console.is_dumb_terminal:
        yield lambda done: say(f"checked {done} of {total}")
    else:
        with bar("Checking", total) as step:
            yield step


@contextmanager
def bar(what: str, total: float) -> Iterator[Callable[[float], None] | None]:
    """A bar on standard error while something runs; nothing where that is no terminal."""
    console = _console(sys.stderr)
    if not console.is_terminal or console.is_dumb_terminal:
        yield None
        return
    from rich.progress import Progress

    # Standard output is not redirected: it may be a pipe that wants nothing but JSON.
    with Progress(console=console, transient=True, redirect_stdout=False) as bar:
        task = bar.add_task(what, total=total)
        yield lambda done: bar.update(task, completed=done)
