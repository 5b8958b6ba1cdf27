"""What can go wrong with quizzes, answers and practice, as sentences."""

from __future__ import annotations

from rigvision.ground.errors import RigvisionError


class QuizError(RigvisionError):
    """A quiz that cannot be made or is not as it was made. Nothing can be scored with it."""


class AnswersError(RigvisionError):
    """A file of answers that cannot count. The others are still scored."""
