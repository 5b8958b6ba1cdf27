"""Single bytes changed at random in all that the promise is about: is each change noticed?"""

from __future__ import annotations

import sys
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from random import Random

from recorded.house import House
from recorded.subjects import FOUND, MAKERS, NOTHING, REMARK, UNPROVEN, Subject

#: A change of which nothing is said, though what is kept is no longer the same.
MISSED = "**missed**"
#: One at which the program fell over its own feet.
CRASHED = "**crashed**"
#: One that leaves all that is kept as it was: in room that holds nothing, say.
NO_MATTER = "changes nothing that is kept"


@dataclass(slots=True)
class Changes:
    """How many changes of each subject ended how; ``missed`` names places."""

    outcomes: dict[str, Counter[str]] = field(default_factory=dict)
    missed: list[str] = field(default_factory=list)

    def table(self) -> str:
        """As Markdown, a line a subject."""
        columns = (FOUND, REMARK, UNPROVEN, NO_MATTER, MISSED, CRASHED)
        lines = [
            f"| changed | bytes | {' | '.join(columns)} |",
            f"| --- {'| ---: ' * (len(columns) + 1)}|",
        ]
        for name, counts in self.outcomes.items():
            cells = " | ".join(str(counts[column]) for column in columns)
            lines.append(f"| {name} | {counts.total()} | {cells} |")
        total = sum(self.outcomes.values(), Counter())
        cells = " | ".join(str(total[column]) for column in columns)
        return "\n".join([*lines, f"| all | {total.total()} | {cells} |"])


def campaign(house: House, changes: int, seed: int) -> Changes:
    """Change one byte at a time, ask, put it back."""
    random, found = Random(seed), Changes()
    subjects = [subject for maker in MAKERS for subject in maker(house)]
    for subject in subjects:
        found.outcomes.setdefault(subject.name, Counter())
        if subject.said() not in (NOTHING, UNPROVEN):
            raise RuntimeError(f"{subject.name} is not intact to begin with")
    kept = {id(subject): subject.kept() for subject in subjects}
    shares = [subject.share for subject in subjects]
    for number in range(1, changes + 1):
        subject = random.choices(subjects, shares)[0]
        at, outcome = _one_change(subject, kept[id(subject)], random)
        found.outcomes[subject.name][outcome] += 1
        if outcome in (MISSED, CRASHED):
            found.missed.append(f"{subject.name}: byte {at} of {subject.path.name}")
        if number % 100 == 0:
            print(f"{number} changes", file=sys.stderr)
    return found


def _one_change(subject: Subject, kept: object, random: Random) -> tuple[int, str]:
    whole = subject.path.read_bytes()
    at = random.randrange(len(whole))
    changed = bytearray(whole)
    changed[at] ^= random.randrange(1, 256)
    _put(subject.path, bytes(changed))
    try:
        outcome = subject.said()
        if outcome == NOTHING:
            outcome = NO_MATTER if subject.kept() == kept else MISSED
    except Exception as error:
        print(f"{subject.name}, byte {at}: {error!r}", file=sys.stderr)
        outcome = CRASHED
    finally:
        _put(subject.path, whole)
    return at, outcome


def _put(path: Path, content: bytes) -> None:
    """In place, with whatever rights the file has."""
    mode = path.stat().st_mode
    path.chmod(0o600)
    path.write_bytes(content)
    path.chmod(mode)
