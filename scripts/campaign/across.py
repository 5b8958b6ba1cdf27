"""Tables across groups: accuracy and coverage zone by zone, wrong passes, flats."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise

from .groups import COVERAGE_AIM, OVER_U_AIM, TITLES, Groups
from .record import Record
from .summary import Statistics, statistics_of, verdicts_of
from .tables import FIGURES, table

#: Figures whose accuracy is set out zone by zone, and the decimals shown of each.
ACROSS = {"gap": 3, "taper": 3, "lateral": 3, "tilt": 2, "seat": 3, "clock": 2, "turns": 4}
#: A true value this near its limit counts as at the limit itself, mm.
AT_LIMIT_MM = 0.01
#: Width and number of the bins of distance from a limit.
LIMIT_BIN_MM, LIMIT_BINS = 0.02, 8
#: Shares of wrong passes that are allowed: of all pictures, and at the limit itself.
WRONG_PASSES_AIM, AT_LIMIT_AIM = 0.01, 0.05
#: Turns further off than this lead to another flat.
WRONG_FLAT_TURNS = 0.1
#: How far gap and clock may be apart, in the drive's own spreads.
SPREADS = (0.0, 1.0, 2.0, 3.0, float("inf"))
#: A scene within so many spreads keeps to the spread, and the share of right flats wanted.
KEEPS_SPREADS, FLATS_AIM = 2.0, 0.999


def zones_table(groups: Groups) -> str:
    """RMS of each figure's error, group by group; the gap's bias and worst error too."""
    head = ["pictures drawn as", "number", "gap: bias, mm", "worst, mm"]
    head += [f"{FIGURES[name][0]}: RMS, {FIGURES[name][1]}" for name in ACROSS]
    rows = []
    for group, records in groups.items():
        found = {name: _statistics(records, name) for name in ACROSS}
        gap = found["gap"]
        row = [TITLES.get(group, group), str(len(records))]
        row += [f"{gap.bias:+.3f}", f"{gap.worst:+.3f}"] if gap else ["-", "-"]
        row += [f"{s.rms:.{ACROSS[name]}f}" if s else "-" for name, s in found.items()]
        rows.append(row)
    return table(head, rows)


def coverage_table(groups: Groups) -> str:
    """Share of true values within U, and error / u; bold outside what is wanted."""
    names = [n for n in FIGURES if any(_statistics(r, n) for r in groups.values())]
    rows = []
    for group, records in groups.items():
        cells = [_coverage(records, name) for name in names]
        rows.append([TITLES.get(group, group), str(len(records)), *cells])
    return table(["pictures drawn as", "number", *(FIGURES[n][0] for n in names)], rows)


def _coverage(records: Sequence[Record], name: str) -> str:
    """A wrong flat is outside U; but error / u is that of right flats, or one wrong is all."""
    found = _statistics(records, name)
    if found is None or found.inside is None:
        return "-"
    rest = _statistics([r for r in records if not _off_by_a_flat(r)], name)
    ratio_value = found.over_u if name != "turns" or rest is None else rest.over_u
    share, ratio = f"{found.inside:.1%}", f"{ratio_value:.2f}"
    if not COVERAGE_AIM[0] <= found.inside <= COVERAGE_AIM[1]:
        share = f"**{share}**"
    if not OVER_U_AIM[0] <= (ratio_value or 0.0) <= OVER_U_AIM[1]:
        ratio = f"**{ratio}**"
    return f"{share}, {ratio}"


def _statistics(records: Iterable[Record], name: str) -> Statistics | None:
    return statistics_of(f for r in records for f in r.relied_on if f.name == name)


def all_verdicts_table(groups: Groups) -> str:
    """Verdicts of each group, one line each."""
    head = ["pictures drawn as", "number", "right", "wrong passes", "needless adjusts"]
    head += ["needless retakes", "missed retakes"]
    rows = []
    for group, records in groups.items():
        v = verdicts_of(records)
        numbers = (v.pictures, v.right, v.wrong_passes, v.needless_adjusts, v.needless_retakes)
        rows.append([TITLES.get(group, group), *map(str, numbers), str(v.missed_retakes)])
    return table(head, rows)


def wrong_passes_table(records: Sequence[Record]) -> str:
    """Passes against how far the worst length lies from its limit, inside and outside."""
    known = [r for r in records if r.outside_mm is not None and r.true_verdict != "retake"]
    edges = [i * LIMIT_BIN_MM for i in range(LIMIT_BINS + 1)]
    bands = [(0.0, AT_LIMIT_MM), *pairwise(edges), (0.0, float("inf"))]
    titles = [f"within {AT_LIMIT_MM:g}: at the limit itself"]
    titles += [f"{low:.2f} to {high:.2f}" for low, high in pairwise(edges)] + ["all"]
    rows = []
    for title, (low, high) in zip(titles, bands, strict=True):
        band = [r for r in known if low <= abs(r.outside_mm or 0.0) < high]
        inside = [r for r in band if r.true_verdict == "pass"]
        outside = [r for r in band if r.true_verdict != "pass"]
        passed, wrong = (sum(r.verdict == "pass" for r in part) for part in (inside, outside))
        rows.append([title, *map(str, (len(inside), passed, len(outside), wrong))])
        rows[-1].append(f"{wrong / len(outside):.1%}" if outside else "-")
    head = ["from the limit, mm", "inside", "passed", "outside", "wrong passes", "share of those"]
    return f"{table(head, rows)}\n\n{_wrong_passes_sentence(known)}"


def _wrong_passes_sentence(records: Sequence[Record]) -> str:
    def told(part: Sequence[Record], aim: float) -> str:
        wrong = sum(r.verdict == "pass" and r.true_verdict != "pass" for r in part)
        share = wrong / len(part) if part else 0.0
        verdict = "reached" if share < aim else "**missed**"
        return f"{wrong} of {len(part)} ({share:.2%}; under {aim:.0%} {verdict})"

    at_limit = [
        r for r in records if abs(r.outside_mm or 0.0) < AT_LIMIT_MM and r.true_verdict != "pass"
    ]
    return (
        f"Wrong passes of all: {told(records, WRONG_PASSES_AIM)}; "
        f"of those outside by less than {AT_LIMIT_MM:g} mm: {told(at_limit, AT_LIMIT_AIM)}."
    )


def flats_table(groups: Groups) -> str:
    """How often the turns lead to the best flat, by how far gap and clock are apart.

    Near a limit the clock was set against the drive on purpose: no part of this.
    """
    head = ["pictures drawn as", *(_spreads_title(*ends) for ends in pairwise(SPREADS))]
    head += [f"all within {KEEPS_SPREADS:g}", f"{FLATS_AIM:.1%}"]
    rows = []
    for group, records in groups.items():
        if group == "quick:near-limit":
            continue
        turned = [(r.left_over_spreads, _right_flat(r)) for r in records]
        known = [(off, right) for off, right in turned if off is not None and right is not None]
        if not known:
            continue
        cells = [
            _share([right for off, right in known if low <= off < high])
            for low, high in pairwise(SPREADS)
        ]
        keeping = [right for off, right in known if off < KEEPS_SPREADS]
        reached = keeping and sum(keeping) / len(keeping) >= FLATS_AIM
        verdict = "reached" if reached else "**missed**"
        rows.append([TITLES.get(group, group), *cells, _share(keeping), verdict])
    return table(head, rows)


def _right_flat(record: Record) -> bool | None:
    """None where no turn was told: a pass, a retake, or nothing measured."""
    turns = record.figure("turns")
    if turns is None or turns.error is None or record.verdict != "adjust":
        return None
    return not _off_by_a_flat(record)


def _off_by_a_flat(record: Record) -> bool:
    turns = record.figure("turns")
    return turns is not None and abs(turns.error or 0.0) >= WRONG_FLAT_TURNS


def _spreads_title(low: float, high: float) -> str:
    return f"{low:g} to {high:g} spreads" if high < float("inf") else f"over {low:g}"


def _share(right: Sequence[bool]) -> str:
    return f"{sum(right)} of {len(right)}" if right else "-"
