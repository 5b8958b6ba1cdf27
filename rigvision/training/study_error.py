"""What can go wrong with a study, as sentences."""

from __future__ import annotations

from rigvision.ground.errors import RigvisionError


class StudyError(RigvisionError):
    """A plan, a shot or a set of readings that a study cannot do with."""
