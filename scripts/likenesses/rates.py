"""What pairs of photos were taken for, counted."""

from __future__ import annotations

import itertools
import sqlite3
from collections import Counter
from collections.abc import Iterable, Sequence
from contextlib import closing
from dataclasses import asdict, dataclass

from rigvision.records import schema
from rigvision.records.bodies import Likeness
from rigvision.records.likeness_index import candidates, row_of
from rigvision.records.sameness import Sameness, compare

from .copies import _WORKS
from .set_ups import Likenesses

KINDS = "same-photo", "same-setup", "same-parts", "different", "unknown"
#: Against the first photo: what is honest, and what a flag may come from.
SAME_SETUP = "again", "again, other light", "next, still hand"
HONEST = (
    "after a turn",
    "after a flat's turn",
    "after a fiftieth of a turn",
    "gauge seated anew",
    "other door, rigged alike",
)


@dataclass(frozen=True, slots=True)
class Row:
    """Pairs of one sort: what they were taken for, and how many had no view to compare."""

    name: str
    kinds: Counter[str]
    unseen: int = 0
    indexed: int | None = None  # pairs of which the index finds the first, asked by the second

    @property
    def pairs(self) -> int:
        return sum(self.kinds.values())


def rows(found: Sequence[Likenesses]) -> dict[str, list[Row]]:
    """Copies, other photos of the set-up, honest ones; each photo against the first."""
    return {
        "copies": [_row(name, found) for name in _WORKS],
        "same set-up": [_row(name, found) for name in SAME_SETUP],
        "honest": [*(_row(name, found) for name in HONEST), _others(found)],
    }


def _row(name: str, found: Sequence[Likenesses]) -> Row:
    pairs = [(a, b) for one in found if (a := one["first"]) and (b := one[name])]
    kinds = Counter(compare(a, b).kind for a, b in pairs)
    return Row(name, kinds, len(found) - len(pairs), sum(_is_found(a, b) for a, b in pairs))


def _is_found(earlier: Likeness, now: Likeness) -> bool:
    """Whether the index alone finds an earlier likeness."""
    with closing(sqlite3.connect(":memory:")) as connection:
        connection.executescript(schema.INDEX)
        row = {"sequence": 1, "record": "first"} | row_of(asdict(earlier))
        columns, marks = ", ".join(row), ", ".join("?" * len(row))
        values = tuple(row.values())
        connection.execute(f"INSERT INTO likeness ({columns}) VALUES ({marks})", values)
        return candidates(connection, now) == [1]


def _others(found: Sequence[Likenesses]) -> Row:
    """Each set-up's photos against all other set-ups'."""
    named = ("first", "again", "again, other light", "after a turn")
    kinds: Counter[str] = Counter()
    for one, other in itertools.combinations(found, 2):
        kinds.update(s.kind for s in _compared(_all(one, named), _all(other, named)))
    return Row("other doors", kinds)


def _all(one: Likenesses, names: Iterable[str]) -> list[Likeness]:
    return [seen for name in names if (seen := one[name]) is not None]


def _compared(some: Sequence[Likeness], others: Sequence[Likeness]) -> Iterable[Sameness]:
    return (compare(a, b) for a, b in itertools.product(some, others))


def table(groups: dict[str, list[Row]]) -> str:
    heads = ["photo against the first", "pairs", *KINDS, "no view", "found by the index"]
    lines = [f"| {' | '.join(heads)} |", f"| --- {'| ---: ' * (len(heads) - 1)}|"]
    for title, group in groups.items():
        lines.append(f"| **{title}** {'| ' * (len(heads) - 1)}|")
        for row in group:
            counts = [str(row.kinds[kind] or "") for kind in KINDS]
            indexed = "" if row.indexed is None else str(row.indexed)
            cells = [row.name, str(row.pairs), *counts, str(row.unseen or ""), indexed]
            lines.append(f"| {' | '.join(cells)} |")
    return "\n".join(lines)
