"""The commands ``training …``: quizzes made of records, and their answers scored."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

training = typer.Typer(
    help="Training: quizzes of recorded photos, and their answers scored.",
    no_args_is_help=True,
    rich_markup_mode=None,
)

LedgerOption = Annotated[
    Path | None, typer.Option("--ledger", metavar="FILE", help="The ledger; else the usual one.")
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON for programs.")]
KeyOption = Annotated[
    Path | None,
    typer.Option("--key", metavar="FILE", help="The key, where it is not in the folder."),
]


@training.command("quiz")
def quiz(
    out: Annotated[
        Path, typer.Option("--out", metavar="FOLDER", help="Write the quiz here: a new folder.")
    ],
    results: Annotated[
        Path | None,
        typer.Argument(metavar="[FOLDER-OF-RESULTS]", help="Saved results instead of a ledger."),
    ] = None,
    shots: Annotated[int, typer.Option(metavar="N", help="So many shots.")] = 12,
    seed: Annotated[
        int | None, typer.Option(metavar="S", help="Draw the same shots again.", min=0)
    ] = None,
    job: Annotated[str | None, typer.Option(metavar="REF", help="Of this job only.")] = None,
    title: Annotated[str, typer.Option(metavar="TEXT", help="What the page is called.")] = "Quiz",
    ledger: LedgerOption = None,
    json: JsonOption = False,
) -> None:
    """Make a quiz of recorded photos: a page that opens from its folder, answers hidden.

    Exit code: 0, 1 failed, 2 wrong usage.
    """
    from rigvision.cli.quizzing import QuizWanted, make_quiz

    make_quiz(QuizWanted(out, shots, seed, job, title, results), ledger, as_json=json)


@training.command("score")
def score(
    answers: Annotated[
        list[Path], typer.Argument(metavar="ANSWERS", help="Files that the quiz page saved.")
    ],
    quiz: Annotated[
        list[Path] | None,
        typer.Option(metavar="FOLDER", help="Quiz; else the answers' own folder. Repeatable."),
    ] = None,
    key: KeyOption = None,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FOLDER", help="Write a sheet a trainee here.")
    ] = None,
    ledger: LedgerOption = None,
    json: JsonOption = False,
) -> None:
    """Score answers: calls against tool and trainer, wrong passes, estimates, progress.

    Exit code: 0 all files counted or were remarked on, 1 a file could not count, 2 wrong usage.
    """
    from rigvision.cli.scoring import ScoreWanted, run_score

    wanted = ScoreWanted(tuple(answers), tuple(quiz or ()), key, out, ledger)
    raise typer.Exit(run_score(wanted, as_json=json))
