"""The commands ``practice`` and ``practice open``."""

from __future__ import annotations

import secrets
from dataclasses import asdict, dataclass
from pathlib import Path

from rigvision.cli.checking import bar
from rigvision.cli.page import Page, print_json
from rigvision.cli.quizzing import quiz_as_json
from rigvision.cli.scoring import as_plain, show
from rigvision.ground.errors import UsageError
from rigvision.ground.shown import one_line
from rigvision.training.answers import belongs, read_answers
from rigvision.training.first_answers import Remark
from rigvision.training.practice import PracticeWanted, make_practice, open_practice
from rigvision.training.practice_level import level
from rigvision.training.quiz import read_quiz
from rigvision.training.score import score
from rigvision.training.sealed_truth import PracticeTruth
from rigvision.training.sitting import Sitting, sitting_of
from rigvision.world.catalogue import load_all
from rigvision.world.gauge import Gauge
from rigvision.world.recognise import frame_for, load_frame, load_gauge

#: A landscape photo's width: smaller ones cannot be read, larger ones no phone here takes.
WIDTHS_PX = (1600, 8000)


@dataclass(frozen=True, slots=True)
class PracticeRequest:
    count: int
    seed: int | None
    difficulty: int
    out: Path
    key: Path | None
    gauge: str | None
    frame: str | None
    width_px: int


def make(request: PracticeRequest, *, as_json: bool) -> None:
    from rigvision.cli.practice_photos import PracticePhotos

    if not WIDTHS_PX[0] <= request.width_px <= WIDTHS_PX[1]:
        raise UsageError(
            "practice-width",
            f"Photos {request.width_px} px wide cannot be drawn.",
            f"Ask for {WIDTHS_PX[0]} to {WIDTHS_PX[1]} with --width.",
        )
    wanted = PracticeWanted(
        request.count,
        secrets.randbits(64) if request.seed is None else request.seed,
        level(request.difficulty),
        request.out,
        request.key,
    )
    gauge = load_gauge(request.gauge) or _only_gauge()
    frame = frame_for(gauge, load_frame(request.frame))
    asked = request.gauge, request.frame
    photos = PracticePhotos(gauge, frame, request.width_px, asked)
    with bar("Drawing photos", request.count) as step:
        quiz = make_practice(wanted, photos.drawn, step)
    if as_json:
        print_json(quiz_as_json(quiz, request.out))
        return
    page = Page()
    page.headline(f"Practice {quiz.quiz}", f"{len(quiz.shots)} photos, {wanted.level.words}")
    page.line("Truth sealed. Note this: it cannot be changed from here on without this changing:")
    page.exact(quiz.commitment or "")
    page.line("Answer all of it on this page, save the answers, then 'rigvision practice open':")
    page.exact(str(request.out / "index.html"))
    if request.key:
        page.line("Only this key opens the truth; keep it from whoever practises:")
        page.exact(str(request.key))


def _only_gauge() -> Gauge:
    gauges = load_all(Gauge)
    if len(gauges) == 1:
        return gauges[0]
    names = one_line(", ".join(g.name for g in gauges), 300) or "none"
    raise UsageError(
        "gauge-needed", f"Which gauge is to be drawn ({names} known)?", "Name it with --gauge."
    )


def open_answered(file: Path, folder: Path, key: Path | None, *, as_json: bool) -> None:
    answers, quiz = read_answers(file), read_quiz(folder)
    belongs(answers, quiz, one_line(file.name, 80))
    truth = open_practice(folder, quiz, answers, key)
    sitting = sitting_of(answers, quiz, truth.shots, {})
    found = score([sitting])
    if as_json:
        shots = [_shot_as_json(sitting, at) for at in range(len(sitting.shots))]
        more = {"commitment": truth.commitment, "seed": truth.seed, "shots": shots}
        print_json(as_plain(found, [], []) | more)
        return
    page = Page()
    page.headline(f"Practice {quiz.quiz}", "the truth, as it was sealed")
    page.table(_HEAD, _rows(sitting), named=True)
    page.gap()
    show(page, found, _about(truth))


_HEAD = ("shot", "you", "right", "rigvision", "gap: you", "true", "turns: you", "true")


def _rows(sitting: Sitting) -> list[tuple[str, ...]]:
    found = []
    for shot in sitting.shots:
        answer, known = shot.answer, shot.known
        gaps = [_figure(v, "{:.2f}") for v in (answer.gap_mm, known.best_gap_mm)]
        turns = [_figure(v, "{:+.2f}") for v in (answer.turns, known.best_turns)]
        calls = (str(answer.shot), answer.verdict, shot.right, known.verdict)
        found.append((*calls, *gaps, *turns))
    return found


def _figure(value: float | None, form: str) -> str:
    return "-" if value is None else form.format(value)


def _about(truth: PracticeTruth) -> list[Remark]:
    said = (
        f"Drawn at difficulty {truth.difficulty} with seed {truth.seed}.",
        f"The truth is the one that was committed to: {truth.commitment}",
    )
    return [Remark(None, text) for text in said]


def _shot_as_json(sitting: Sitting, at: int) -> dict[str, object]:
    shot = sitting.shots[at]
    return {"answer": asdict(shot.answer), "known": asdict(shot.known), "right": shot.right}
