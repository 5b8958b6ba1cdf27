"""The command ``rigvision``: parse, one library call, print, exit code.

Only typer is imported here, so that ``--help`` answers at once; each command loads what
it needs when it runs. The one catch-all of the program is in ``main``.

Exit codes: 0 every photo passes, 3 at least one adjust and no retake, 4 at least one
retake, 1 a photo could not be read or something failed, 2 wrong usage. Of ``verify``: 0 intact,
5 changed, 6 cannot be proven with what is at hand.
"""

from __future__ import annotations

import gc
import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, NoReturn

import typer

from rigvision import __version__
from rigvision.cli.choices import StageName
from rigvision.cli.later import PagesGroup, later
from rigvision.ground.errors import RigvisionError, UsageError

FAILED = 1
WRONG_USAGE = 2

app = typer.Typer(
    help="Measures door-edge gap and gauge-yoke alignment from a phone photo of a rig gauge.",
    epilog="Aid only: it does not release anything. Follow the approved maintenance data.",
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    pretty_exceptions_show_locals=False,
    rich_markup_mode=None,
)
app.add_typer(later("Jobs that checks are recorded under: open, list, show, close."), name="job")
app.add_typer(later("Recorded checks: search, show, compare, sign, replay, export."), name="record")
app.add_typer(
    later("Pages for the trainer, borderline shots first; rulings.", PagesGroup), name="review"
)
app.add_typer(later("Studies of gauge, photos and people: plan, take, report."), name="study")
app.add_typer(later("Keys that people sign with: make, show, enrol, withdraw."), name="key")
app.add_typer(later("Training: quizzes of recorded photos, and answers scored."), name="training")
practice = later("Practice on drawn photos: make them, or open their truth when answered.")
app.add_typer(practice, name="practice")


def main(arguments: Sequence[str] | None = None) -> NoReturn:
    """Run the command line and exit. ``arguments`` are those of the process where None."""
    _survive_any_terminal()
    _start_lightly()
    try:
        app(args=arguments, prog_name="rigvision")
    except RigvisionError as error:
        if _debugging():
            raise
        _complain(str(error))
        sys.exit(WRONG_USAGE if isinstance(error, UsageError) else FAILED)
    except Exception as error:
        if _debugging():
            raise
        _complain(_hint(error))
        sys.exit(FAILED)
    sys.exit(0)


@app.callback(invoke_without_command=True)
def _top(
    version: Annotated[
        bool, typer.Option("--version", is_eager=True, help="Show the version and exit.")
    ] = False,
) -> None:
    if version:
        print(f"rigvision {__version__}")
        raise typer.Exit


@app.command()
def check(
    photos: Annotated[
        list[Path],
        typer.Argument(metavar="PHOTO", help="JPEG, HEIC, PNG, TIFF or WebP."),
    ],
    gauge: Annotated[
        str | None,
        typer.Option(metavar="NAME-OR-FILE", help="Gauge; found from its marks if left out."),
    ] = None,
    frame: Annotated[
        str | None,
        typer.Option(metavar="NAME-OR-FILE", help="Frame; the gauge's own if left out."),
    ] = None,
    door: Annotated[
        int | None, typer.Option(metavar="NUMBER", help="Door in the frame, from 1.")
    ] = None,
    camera: Annotated[
        str | None,
        typer.Option(metavar="NAME-OR-FILE", help="Camera; any phone if left out."),
    ] = None,
    joint: Annotated[
        bool, typer.Option("--joint", help="Solve the photos together: one untouched set-up.")
    ] = False,
    out: Annotated[
        Path | None, typer.Option(metavar="FOLDER", help="Write NAME.checked.jpg here.")
    ] = None,
    json: Annotated[
        bool, typer.Option("--json", help="Print JSON: an object, or a list for several photos.")
    ] = False,
    budget: Annotated[
        bool, typer.Option("--budget", help="Print each figure's uncertainty budget.")
    ] = False,
    monte_carlo: Annotated[
        int | None,
        typer.Option(metavar="N", help="Check the budget by N random draws (10000 to 1000000)."),
    ] = None,
    guarded: Annotated[
        bool,
        typer.Option(
            "--guarded",
            help="Decode in a locked-down process: for strangers' files. Not on Windows.",
        ),
    ] = False,
    job: Annotated[
        str | None, typer.Option(metavar="REF", help="Record the checks into this open job.")
    ] = None,
    stage: Annotated[
        StageName | None, typer.Option(help="With --job: before or after the work.")
    ] = None,
    key: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="With --job: sign as measured, with your key."),
    ] = None,
    passphrase_file: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="With --key: its first line is the passphrase."),
    ] = None,
    ledger: Annotated[
        Path | None, typer.Option(metavar="FILE", help="With --job: else the usual ledger.")
    ] = None,
) -> None:
    """Check photos: verdict, what to do, figures. With --job, record them.

    Exit code: 0 all pass, 3 some adjust, 4 some retake, 1 a photo could not be read, a check
    could not be recorded, or something failed, 2 wrong usage.
    """
    from rigvision.cli.checking import Request, run_check

    request = Request(
        tuple(photos),
        gauge,
        frame,
        door,
        camera,
        out,
        json,
        budget=budget,
        draws=monte_carlo,
        guarded=guarded,
    )
    if job is not None or stage or key or passphrase_file or ledger:
        from rigvision.cli.check_recording import RecordRequest, run_recorded_check

        _loaded()
        into = RecordRequest(job, stage.value if stage else None, key, passphrase_file, ledger)
        raise typer.Exit(run_recorded_check(request, into, joint=joint))
    if joint:
        from rigvision.cli.joint_checking import run_joint_check

        _loaded()
        raise typer.Exit(run_joint_check(request))
    _loaded()
    raise typer.Exit(run_check(request))


@app.command()
def verify(
    file: Annotated[
        Path,
        typer.Argument(metavar="FILE-OR-LEDGER", help="Page, bundle, record, image or ledger."),
    ],
    ledger: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Compare with this ledger; else the usual one's."),
    ] = None,
    ledger_key: Annotated[
        str | None,
        typer.Option(metavar="FINGERPRINT", help="The ledger's key that it must be signed by."),
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Print JSON for programs.")] = False,
) -> None:
    """Say what is intact, signed by whom, or changed where.

    Exit code: 0 intact, 5 changed, 6 cannot be proven with what is at hand, 1 it could not be
    read, 2 wrong usage.
    """
    from rigvision.cli.verifying import run_verify

    _loaded()
    raise typer.Exit(run_verify(file, ledger, ledger_key, as_json=json))


@app.command()
def models() -> None:
    """List the gauges, frames and cameras that are installed."""
    from rigvision.cli.listing import list_models

    _loaded()
    list_models()


@practice.callback(invoke_without_command=True)
def _practice(
    context: typer.Context,
    out: Annotated[
        Path | None, typer.Option(metavar="FOLDER", help="Write the practice here: a new folder.")
    ] = None,
    count: Annotated[int, typer.Option(metavar="N", help="So many photos.")] = 10,
    seed: Annotated[
        int | None,
        typer.Option(metavar="S", min=0, help="Draw the same photos again; who knows it can too."),
    ] = None,
    difficulty: Annotated[
        int, typer.Option(metavar="1..5", help="From clear cases to limits in bad light.")
    ] = 3,
    key: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Keep the truth's key here, not in the folder."),
    ] = None,
    gauge: Annotated[str | None, typer.Option(metavar="NAME-OR-FILE")] = None,
    frame: Annotated[str | None, typer.Option(metavar="NAME-OR-FILE")] = None,
    width: Annotated[int, typer.Option(metavar="PX", help="Of a landscape photo.")] = 4000,
    json: Annotated[bool, typer.Option("--json", help="Print JSON for programs.")] = False,
) -> None:
    """Practice on drawn photos, whose truth is sealed until all are answered.

    Exit code: 0, 1 failed, 2 wrong usage.
    """
    if context.invoked_subcommand is not None:
        return
    if out is None:
        raise UsageError("no-folder", "Where to?", "Name a new folder with --out.")
    from rigvision.cli.practising import PracticeRequest, make

    _loaded()
    request = PracticeRequest(count, seed, difficulty, out, key, gauge, frame, width)
    make(request, as_json=json)


@app.command()
def doctor(
    json: Annotated[bool, typer.Option("--json", help="Print JSON for programs.")] = False,
) -> None:
    """Examine this installation: what is right, what is not, and what mends it.

    Exit code: 0 all well, warnings allowed, 1 a failure, 2 wrong usage.
    """
    from rigvision.cli.doctor import run_doctor

    _loaded()
    raise typer.Exit(run_doctor(as_json=json))


def _survive_any_terminal() -> None:
    """A name or sign that the terminal's encoding lacks becomes ``?``, not a crash."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure:
            reconfigure(errors="replace")


def _start_lightly() -> None:
    """Leave out what libraries do for long-running programs. Settings of the user's stand."""
    # Loading makes a hundred thousand objects that stay; looking for garbage among them takes
    # 45 ms of half a second. The commands turn it on again, see _loaded.
    gc.disable()
    # All matrices here are small: a pool of threads costs 20 ms to start and is never used.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # Looking through all installed packages for plug-ins of pydantic takes 12 ms.
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")


def _loaded() -> None:
    """From here on garbage is looked for again, but not among what was loaded."""
    gc.freeze()
    gc.enable()


def _complain(message: str) -> None:
    from rigvision.ground.shown import one_line

    print(f"rigvision: {one_line(message)}", file=sys.stderr)


def _hint(error: Exception) -> str:
    """What to do about an error that nobody foresaw."""
    if isinstance(error, ImportError):
        from rigvision.doctor.system_library import missing_library

        if library := missing_library(str(error)):
            return f"{library.text} {library.remedy}"
        return (
            f"A library does not load ({type(error).__name__}: {error}). "
            "'rigvision doctor' says which, and what mends it."
        )
    return (
        f"Something failed inside rigvision ({type(error).__name__}: {error}). "
        "Run it again with RIGVISION_DEBUG=1 to see where, and report that with the version "
        f"({__version__})."
    )


def _debugging() -> bool:
    return os.environ.get("RIGVISION_DEBUG", "") not in ("", "0")
