"""What came of disturbed photos, as tables and against what is wanted."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np

from rigvision.decision.reasons import REASONS
from rigvision.synthetic.disturbance import DISTURBANCES, UNDISTURBED

from .record import Record
from .tables import table

#: What is wanted, as parts of all: coverage, reading at strengths 1 and 2, reading or the
#: right reason at strength 3, and needless retakes of undisturbed photos at most.
COVERAGE, READ, READ_OR_REASON, NEEDLESS = 0.95, 0.97, 0.95, 0.02

#: A photo of a screen shows nothing that can be relied on, however good it is: to refuse it is
#: right at every strength.
TO_BE_REFUSED = ("screen",)

Cells = dict[tuple[str, int], list[Record]]


def cells_of(records: Iterable[Record]) -> Cells:
    """Records by disturbance and strength: undisturbed first, then in the order of the table."""
    order = {name: place for place, name in enumerate((UNDISTURBED, *DISTURBANCES))}
    cells: Cells = {}
    for record in records:
        _, name, strength = record.group.split(":")
        cells.setdefault((name, int(strength)), []).append(record)
    last = len(order)
    return dict(sorted(cells.items(), key=lambda c: (order.get(c[0][0], last), *c[0])))


@dataclass(frozen=True, slots=True)
class Tally:
    """Counts of some disturbed photos."""

    photos: int
    read: int  # a verdict other than retake, the gap measured
    right_verdict: int
    wrong_passes: int
    needless_adjusts: int  # read; all is inside, but that was not proven
    right_reason: int  # refused, and an accepted reason was named
    wrong_reason: int  # refused without
    figures: int  # of those that were read
    inside: int  # of these, within their expanded uncertainty
    gap_rms_mm: float | None
    gap_worst_mm: float | None


def tally_of(records: Sequence[Record]) -> Tally:
    read = [r for r in records if is_read(r)]
    refused = [r for r in records if not is_read(r)]
    figures = [f for r in read for f in r.relied_on if f.error is not None and f.expanded]
    gaps = np.array([f.error for f in figures if f.name == "gap"], dtype=float)
    right = sum(names_right_reason(r) for r in refused)
    return Tally(
        len(records),
        len(read),
        sum(r.verdict == r.true_verdict for r in records),
        sum(r.verdict == "pass" and r.true_verdict != "pass" for r in records),
        sum(r.verdict == "adjust" and r.true_verdict == "pass" for r in records),
        right,
        len(refused) - right,
        len(figures),
        sum(abs(f.error or 0.0) <= (f.expanded or 0.0) for f in figures),
        sqrt(float(np.mean(gaps**2))) if len(gaps) else None,
        float(gaps[np.argmax(np.abs(gaps))]) if len(gaps) else None,
    )


def is_read(record: Record) -> bool:
    gap = record.figure("gap")
    return record.verdict in ("pass", "adjust") and gap is not None and gap.found is not None


def retake_codes(record: Record) -> tuple[str, ...]:
    """The codes of a refusal: those of reasons that lead to a retake, or of a file's error."""
    return tuple(c for c in record.codes if c not in REASONS or REASONS[c].outcome == "retake")


def names_right_reason(record: Record) -> bool:
    return not set(retake_codes(record)).isdisjoint(record.accepted_codes)


def cells_table(cells: Cells) -> str:
    """One line for each disturbance and strength."""
    head = ["disturbance", "strength", "photos", "read", "right verdict", "wrong passes"]
    head += ["needless adjusts", "right reason", "wrong reason", "inside U", "gap RMS, mm"]
    head += ["gap worst, mm"]
    rows = []
    for (name, strength), records in cells.items():
        t = tally_of(records)
        counts = [t.photos, t.read, t.right_verdict, _bad(t.wrong_passes), t.needless_adjusts]
        rms = "-" if t.gap_rms_mm is None else f"{t.gap_rms_mm:.3f}"
        worst = "-" if t.gap_worst_mm is None else f"{t.gap_worst_mm:+.3f}"
        counts += [t.right_reason, _bad(t.wrong_reason)]
        rows.append([name, str(strength), *map(str, counts), _part(t.inside, t.figures), rms])
        rows[-1].append(worst)
    return table(head, rows)


def _bad(count: int) -> str:
    return f"**{count}**" if count else "0"


def _part(some: int, of: int) -> str:
    return f"{some / of:.1%}" if of else "-"


def aims_table(cells: Cells) -> str:
    """Totals against what is wanted."""
    everything = [r for records in cells.values() for r in records]
    light = [r for (_, strength), rs in cells.items() if strength in (1, 2) for r in rs]
    meant = [r for r in light if r.group.split(":")[1] not in TO_BE_REFUSED]
    gross = [r for (_, strength), rs in cells.items() if strength == 3 for r in rs]
    controls = [r for (name, _), rs in cells.items() if name == UNDISTURBED for r in rs]
    total = tally_of(everything)
    answered = sum(is_read(r) or names_right_reason(r) for r in gross)
    needless = sum(
        r.verdict in ("retake", "error") and r.true_verdict != "retake" for r in controls
    )
    read, meant_read = sum(map(is_read, light)), sum(map(is_read, meant))
    rows = [
        ["wrong passes", str(total.wrong_passes), str(total.photos)],
        ["figures inside U", _part(total.inside, total.figures), str(total.figures)],
        ["read at strengths 1 and 2", _part(read, len(light)), str(len(light))],
        ["the same without photos of a screen", _part(meant_read, len(meant)), str(len(meant))],
        ["read or right reason at strength 3", _part(answered, len(gross)), str(len(gross))],
        ["needless retakes, undisturbed", _part(needless, len(controls)), str(len(controls))],
    ]
    reached = [
        total.wrong_passes == 0,
        total.inside >= COVERAGE * total.figures,
        read >= READ * len(light),
        meant_read >= READ * len(meant),
        answered >= READ_OR_REASON * len(gross),
        needless < NEEDLESS * max(1, len(controls)),
    ]
    wanted = ["none", f"at least {COVERAGE:.0%}", *[f"at least {READ:.0%}"] * 2]
    wanted += [f"at least {READ_OR_REASON:.0%}", f"under {NEEDLESS:.0%}"]
    rows = [
        [*row, aim, "reached" if is_so else "**missed**"]
        for row, aim, is_so in zip(rows, wanted, reached, strict=True)
    ]
    return table(["", "found", "of", "wanted", ""], rows)


def meanings_table() -> str:
    """What each disturbance is, and what its strengths mean."""
    rows = [[d.name, d.says, *d.strengths] for d in DISTURBANCES.values()]
    return table(["disturbance", "what it is", "strength 1", "strength 2", "strength 3"], rows)


def reasons_table(cells: Cells) -> str:
    """Refusals without a right reason: what they said instead."""
    rows = []
    for (name, strength), records in cells.items():
        said: dict[str, int] = {}
        for r in records:
            if not is_read(r) and not names_right_reason(r):
                codes = ", ".join(retake_codes(r)) or "nothing"
                said[codes] = said.get(codes, 0) + 1
        for codes, count in sorted(said.items(), key=lambda item: -item[1]):
            rows.append([f"{name} {strength}", codes, str(count)])
    return table(["disturbance", "said", "photos"], rows)


def wrong_passes_table(records: Iterable[Record]) -> str:
    """Every wrong pass by name, with the gap's error."""
    rows = []
    for r in records:
        if r.verdict == "pass" and r.true_verdict != "pass":
            gap = r.figure("gap")
            known = gap is not None and gap.error is not None and gap.expanded is not None
            true = f"{gap.true:.3f}" if gap else "-"
            found = f"{gap.error:+.3f} ± {gap.expanded:.3f}" if gap and known else "-"
            out = "-" if r.outside_mm is None else f"{r.outside_mm:.3f}"
            rows.append([r.name, true, found, out])
    return table(["picture", "true gap, mm", "gap's error, mm", "outside a limit by, mm"], rows)


def time_line(records: Iterable[Record]) -> str:
    seconds = [r.seconds for r in records if r.seconds is not None]
    if not seconds:
        return ""
    median, most = np.median(seconds), max(seconds)
    return f"A check took {median:.2f} s in the median, {most:.2f} s at most."
