"""The pages of a review: the queue, and one page a shot. Words and numbers; no file is read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from rigvision.decision.reasons import REASONS, Reason
from rigvision.ground.shown import one_line
from rigvision.report.budget import NAMES
from rigvision.report.figure_rows import after_turn_row, figure_rows
from rigvision.report.figures import percent, with_uncertainty
from rigvision.report.wording import what_to_do
from rigvision.training.budget_bars import budgets
from rigvision.training.page_set import rendered
from rigvision.training.same_door import SameDoor
from rigvision.training.shot import Shot
from rigvision.training.shot_pictures import NoPictures, Pictures, ShownPictures
from rigvision.training.shot_set import ShotSet
from rigvision.training.similar import Similar
from rigvision.training.station_plot import station_plot
from rigvision.training.what_if import turning_points, what_ifs

SHOTS = "shots"
STATUS_WORDS = {
    "recorded": "not signed",
    "measured": "signed as measured",
    "accepted": "accepted",
    "rejected": "rejected",
    "corrected": "corrected: do not use",
}
OUTCOME_WORDS = {"adjust": "leads to adjust", "retake": "leads to retake", "note": "note"}


@dataclass(frozen=True, slots=True)
class Card:
    """A shot in a list. ``place`` is its place in the queue from 1, ``probability`` in words."""

    shot: Shot
    place: int
    href: str
    thumb: str | None
    probability: str
    hangs_on: str
    figure: str
    where: str
    words: str


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What a shot's page says of other shots; cards of the queue before and after it."""

    before: Card | None
    after: Card | None
    place: int
    count: int
    door: SameDoor
    similar: tuple[Similar, ...]


def cards_of(shots: Sequence[Shot], pictures: Mapping[str, Pictures]) -> dict[str, Card]:
    """By key, for shots in the queue's order."""
    return {s.key: _card(s, at, pictures.get(s.key)) for at, s in enumerate(shots, 1)}


def queue_page(shot_set: ShotSet, cards: Mapping[str, Card], made_at: str) -> str:
    """The page that is opened first."""
    shots = [card.shot for card in cards.values()]
    return rendered(
        "queue.html",
        root="",
        cards=list(cards.values()),
        shot_set=shot_set,
        made_at=made_at,
        counts={v: sum(s.verdict == v for s in shots) for v in ("pass", "adjust", "retake")},
        borderline=sum(s.result.borderline for s in shots),
        ruled=sum(bool(s.rulings) for s in shots),
        gauges=sorted({s.result.gauge for s in shots if s.result.gauge}),
        status_words=STATUS_WORDS,
    )


def shot_page(
    shot: Shot, pictures: Pictures, around: Surroundings, cards: Mapping[str, Card], origin: str
) -> str:
    """All of one shot."""
    result = shot.result
    cases = what_ifs(result)
    shown = pictures if isinstance(pictures, ShownPictures) else None
    then = after_turn_row(result)
    return rendered(
        "shot.html",
        root="../",
        shot=shot,
        card=cards[shot.key],
        cards=cards,
        around=around,
        origin=origin,
        pictures=shown,
        no_pictures=pictures.why if isinstance(pictures, NoPictures) else pictures.complaint,
        to_do=what_to_do(result),
        reasons=[(r, _outcome(r)) for r in result.reasons],
        rows=[*figure_rows(result), *([then] if then else [])],
        drawn=station_plot(result),
        budgets=budgets(result, cases[0].quantity if cases else None),
        cases=cases,
        turning=turning_points(cases[0]) if cases else [],
        status=STATUS_WORDS.get(shot.status or "", ""),
        percent=percent,
    )


def _card(shot: Shot, place: int, pictures: Pictures | None) -> Card:
    worst, probability = shot.worst, shot.probability
    figure = "no figure was judged"
    hangs_on = ""
    if worst is not None:
        hangs_on = NAMES.get(worst.quantity, worst.quantity)
        figure = with_uncertainty(worst.value, worst.expanded_uncertainty, worst.unit)
    return Card(
        shot,
        place,
        f"{SHOTS}/{shot.key}.html",
        pictures.thumb if isinstance(pictures, ShownPictures) else None,
        "no probability" if probability is None else percent(probability),
        hangs_on,
        figure,
        _where(shot),
        _words(shot),
    )


def _where(shot: Shot) -> str:
    """Engine, frame and door, as far as they are known."""
    result, job = shot.result, shot.job
    if job is not None:
        return f"{job.engine}, {job.frame} door {job.door}"
    door = "door not given" if result.door is None else f"door {result.door}"
    return f"{result.frame or 'frame unknown'} {door}"


def _words(shot: Shot) -> str:
    """What a search looks through, in small letters."""
    job = shot.job
    parts = [shot.name, shot.result.photo.name, shot.result.gauge or "", _where(shot)]
    parts += [job.job, job.work_order, job.remark] if job else []
    parts += [f"{r.by} {r.text} {r.word}" for r in shot.rulings]
    parts += [r.code for r in shot.result.reasons]
    return one_line(" ".join(parts).lower(), 2000)


def _outcome(reason: Reason) -> str:
    kind = REASONS.get(reason.code)
    return OUTCOME_WORDS[kind.outcome] if kind else "note"
