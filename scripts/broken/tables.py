"""What came of damaged files, as Markdown."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from itertools import groupby

from broken.trial import Trial


def by_format(trials: Iterable[Trial]) -> str:
    """One row a format, and one for all."""
    ordered = sorted(trials, key=lambda t: t.form)
    rows = [(form, list(group)) for form, group in groupby(ordered, lambda t: t.form)]
    head = (
        "| format | files | refused | read, same pixels | other pixels | checked | retake | "
        "measured | off by more than *U* | damaged by OpenCV's word | crashes, errors | hangs | "
        "slowest, s | memory, MB |"
    )
    lines = [head, "| --- " + "| ---: " * 13 + "|"]
    return "\n".join([*lines, *(_row(name, group) for name, group in [*rows, ("all", ordered)])])


def _row(name: str, trials: Sequence[Trial]) -> str:
    counts = Counter(t.outcome for t in trials)
    checked = [t for t in trials if t.outcome in ("retake", "measured")]
    cells = [
        name,
        len(trials),
        counts["refused"],
        counts["same"],
        counts["read"] + len(checked),
        len(checked),
        counts["retake"],
        counts["measured"],
        sum(is_wrong(t) for t in trials),
        sum(t.complaint for t in trials),
        sum(t.outcome == "error" and not is_hang(t) for t in trials),
        sum(is_hang(t) for t in trials),
        f"{max(t.seconds for t in trials):.2f}",
        f"{max(t.peak_mb for t in trials):.0f}",
    ]
    return f"| {' | '.join(map(str, cells))} |"


def by_code(trials: Iterable[Trial]) -> str:
    """How often each sentence of refusal was the answer."""
    codes = Counter(t.code for t in trials if t.outcome == "refused")
    rows = [f"| `{code}` | {count} |" for code, count in codes.most_common()]
    return "\n".join(["| refused as | files |", "| --- | ---: |", *rows])


def by_damage(trials: Iterable[Trial]) -> str:
    """How much of each damage is noticed."""
    ordered = sorted(trials, key=lambda t: t.damage)
    lines = ["| damage | files | refused | same pixels | other pixels | measured, off |"]
    lines.append("| --- " + "| ---: " * 5 + "|")
    for name, group in groupby(ordered, lambda t: t.damage):
        some = list(group)
        counts = Counter(t.outcome for t in some)
        other = counts["read"] + counts["retake"] + counts["measured"]
        wrong = sum(is_wrong(t) for t in some)
        cells = [name, len(some), counts["refused"], counts["same"], other, wrong]
        lines.append(f"| {' | '.join(map(str, cells))} |")
    return "\n".join(lines)


def is_wrong(trial: Trial) -> bool:
    """A number from a damaged file that the whole one contradicts."""
    return trial.outcome == "measured" and trial.off is not None and trial.off > 1.0


def is_hang(trial: Trial) -> bool:
    return trial.outcome == "error" and trial.code.startswith("hang")


def is_finding(trial: Trial) -> bool:
    return trial.outcome == "error" or trial.complaint or is_wrong(trial)
