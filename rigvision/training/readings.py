"""What was read in a study: one quantity, at settings, by people, as often as was managed."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rigvision.ground.conventions import FloatArray
from rigvision.training.study_error import StudyError

IntArray = npt.NDArray[np.int64]
#: The arithmetic handles matrices of this size squared.
MOST_READINGS = 2000


@dataclass(frozen=True, slots=True)
class Readings:
    """A row a shot: ``setting`` and ``person`` are indices into the names, ``values`` (N,).

    Settings and people without a reading are not among the names.
    """

    settings: tuple[str, ...]
    people: tuple[str, ...]
    setting: IntArray
    person: IntArray
    values: FloatArray

    @property
    def counts(self) -> IntArray:
        """How many readings each cell has. (settings, people)"""
        found = np.zeros((len(self.settings), len(self.people)), dtype=np.int64)
        np.add.at(found, (self.setting, self.person), 1)
        return found

    @property
    def balanced(self) -> bool:
        """Every cell has as many readings as any other."""
        return bool(np.all(self.counts == self.counts.flat[0]))

    @property
    def nested(self) -> bool:
        """No setting was read by two people, though there are several people."""
        return len(self.people) > 1 and bool(np.all((self.counts > 0).sum(axis=1) == 1))

    def cell(self, setting: int, person: int) -> FloatArray:
        """One person's readings of one setting, in the order given."""
        return np.asarray(self.values[(self.setting == setting) & (self.person == person)])


def readings_of(
    rows: Iterable[tuple[str, str, float]],
    settings: Iterable[str] = (),
    people: Iterable[str] = (),
) -> Readings:
    """Readings from (setting, person, value). Names keep the order given, else of appearance.

    Raises StudyError where there are none, too many, or one that is not finite.
    """
    kept = list(rows)
    if not kept:
        raise StudyError(
            "no-readings", "There is no reading to work with.", "Take photos into the study first."
        )
    if len(kept) > MOST_READINGS:
        raise StudyError(
            "too-many-readings",
            f"A study is worked out from at most {MOST_READINGS} readings; here are {len(kept)}.",
            "Split it.",
        )
    setting_names = _in_order(settings, (s for s, _, _ in kept))
    person_names = _in_order(people, (p for _, p, _ in kept))
    values = np.array([v for _, _, v in kept], dtype=np.float64)
    if not np.all(np.isfinite(values)):
        raise StudyError(
            "unfit-reading", "A reading is no finite number.", "Leave it out, or read it again."
        )
    return Readings(
        setting_names,
        person_names,
        np.array([setting_names.index(s) for s, _, _ in kept], dtype=np.int64),
        np.array([person_names.index(p) for _, p, _ in kept], dtype=np.int64),
        values,
    )


def _in_order(first: Iterable[str], seen: Iterable[str]) -> tuple[str, ...]:
    found = dict.fromkeys(seen)
    known = [name for name in dict.fromkeys(first) if name in found]
    return tuple(known + [name for name in found if name not in set(known)])
