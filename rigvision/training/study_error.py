"""What can go wrong with a study, as sentences."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from rigvision.ground.errors import RigvisionError
from rigvision.ground.shown import one_line


class StudyError(RigvisionError):
    """A plan, a shot or a set of readings that a study cannot do with."""


@contextmanager
def writing(path: Path) -> Iterator[None]:
    """What the file system raises meanwhile, as a StudyError about ``path``."""
    try:
        yield
    except OSError as error:
        cause = one_line(error.strerror or str(error))
        raise StudyError(
            "study-unwritten",
            f"{one_line(str(path), 300)} cannot be written: {cause}.",
            "Make room there, or choose a folder that you may write to.",
        ) from error
