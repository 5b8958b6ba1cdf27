"""One trainee at one quiz: each answer beside what is known of its shot."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from rigvision.decision.result import Verdict
from rigvision.training.answers import Answer, Answers
from rigvision.training.known import Known, must_not_pass, right_call
from rigvision.training.quiz import Quiz


@dataclass(frozen=True, slots=True)
class Answered:
    """``ruling`` is the trainer's word on the shot, None where there is none."""

    answer: Answer
    known: Known
    ruling: Verdict | None

    @property
    def right(self) -> Verdict:
        return right_call(self.known, self.ruling)

    @property
    def must_not_pass(self) -> bool:
        return must_not_pass(self.known, self.ruling)


@dataclass(frozen=True, slots=True)
class Sitting:
    """``shots`` in the quiz's order; ``asked`` is how many the quiz has."""

    trainee: str
    quiz: str
    title: str
    finished_at: str
    asked: int
    shots: tuple[Answered, ...]


def sitting_of(
    answers: Answers, quiz: Quiz, known: Sequence[Known], rulings: Mapping[str, Verdict]
) -> Sitting:
    """``known`` in the order of the quiz's shots, ``rulings`` by record."""
    answered = []
    for answer in sorted(answers.answers, key=lambda a: a.shot):
        record = quiz.shots[answer.shot - 1].record
        ruling = rulings.get(record) if record else None
        answered.append(Answered(answer, known[answer.shot - 1], ruling))
    return Sitting(
        answers.trainee,
        quiz.quiz,
        quiz.title,
        answers.finished_at,
        len(quiz.shots),
        tuple(answered),
    )
