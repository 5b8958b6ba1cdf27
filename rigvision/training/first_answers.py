"""Which files of answers count: each person's first sitting at a quiz, and that once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rigvision.records.person import folded
from rigvision.training.answers import Answers


@dataclass(frozen=True, slots=True)
class Remark:
    """A sentence for the trainer; ``trainee`` None where it is about all."""

    trainee: str | None
    text: str


@dataclass(frozen=True, slots=True)
class FirstAnswers:
    """``remarks`` say what does not count and why."""

    counted: tuple[Answers, ...]
    remarks: tuple[Remark, ...]


def first_answers(given: Sequence[tuple[str, Answers]]) -> FirstAnswers:
    """Of answers with the names of their files. People are told by name alone.

    Of one sitting saved several times the fullest counts; a later sitting at the same quiz does
    not, as the readings have been seen.
    """
    counted: dict[tuple[str, str], Answers] = {}
    remarks = []
    for name, answers in sorted(given, key=lambda g: (g[1].begun_at, -len(g[1].answers))):
        earlier = counted.setdefault((folded(answers.trainee), answers.quiz), answers)
        if earlier is answers:
            continue
        remarks.append(Remark(answers.trainee, _again(name, earlier, answers)))
    return FirstAnswers(tuple(counted.values()), tuple(remarks))


def _again(name: str, earlier: Answers, answers: Answers) -> str:
    if earlier.begun_at == answers.begun_at:
        return f"{name} is of a sitting that is there already; it counts once."
    return (
        f"{name} is a later sitting of {answers.trainee}'s at quiz {answers.quiz}, whose readings "
        "were known by then; it does not count."
    )


def still_open(answers: Answers, asked: int) -> Remark | None:
    """The remark on a sitting that was broken off; None where all is answered."""
    left = asked - len(answers.answers)
    if not left:
        return None
    text = (
        f"{answers.trainee} left {left} of {asked} shots of quiz {answers.quiz} open; "
        "what was answered is scored."
    )
    return Remark(answers.trainee, text)
