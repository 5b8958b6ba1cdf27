"""A study's plots, as SVG. No name that people typed gets into one: codes stand for them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from io import BytesIO
from typing import TYPE_CHECKING, Any

import numpy as np

from rigvision.training.average_range import average_range
from rigvision.training.linearity import LinearityStudy
from rigvision.training.quantity import Limits, Quantity
from rigvision.training.readings import Readings
from rigvision.training.rr import GaugeStudy
from rigvision.training.study_error import StudyError
from rigvision.training.study_findings import StudyFindings

if TYPE_CHECKING:
    from matplotlib.axes import Axes

#: Inches: at 360 px wide the letters are then as large as the page's small print.
_SIZE = (4.4, 3.1)
#: Told apart by eyes that see no red and green (Okabe and Ito), and by sign and line in grey.
_COLOURS = ("#0072b2", "#d55e00", "#009e73", "#cc79a7", "#56b4e9", "#e69f00", "#000000")
_SIGNS = ("o", "s", "^", "D", "v", "P", "X")
_LINES = ("-", "--", "-.", ":")
_FEW_SETTINGS = 25  # as many get a label each

_STYLE = {
    "font.family": "DejaVu Sans",
    "font.size": 9,
    "svg.fonttype": "path",
    "axes.spines.top": False,
    "axes.spines.right": False,
    "legend.frameon": False,
    "legend.fontsize": 8,
}


@dataclass(frozen=True, slots=True)
class Plot:
    """``svg`` is a whole file; ``alternative`` says in words what can be seen."""

    title: str
    alternative: str
    svg: bytes


def person_code(index: int) -> str:
    """A, B, ... Z, AA, AB, ..."""
    letters = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        letters = chr(65 + rest) + letters
    return letters


def study_plots(findings: StudyFindings) -> tuple[Plot, ...]:
    """All that the readings allow."""
    readings, about = findings.readings, findings.study.plan.about
    if readings is None:
        return ()
    found = []
    if findings.gauge is not None:
        found.append(_components(findings.gauge.chosen))
    found.append(_by_setting(readings, about, findings.limits))
    if len(readings.people) > 1:
        found.append(_by_person(readings, about))
        if not readings.nested and len(readings.settings) > 1:
            found.append(_interaction(readings, about))
    found += _ranges(readings, about)
    if findings.bias is not None:
        found.append(_linearity(findings.bias, about))
    return tuple(found)


def _drawn(title: str, alternative: str, draw: Callable[[Axes], None]) -> Plot:
    import matplotlib
    from matplotlib.figure import Figure

    style: Any = {**_STYLE, "svg.hashsalt": title}
    with matplotlib.rc_context(style):
        figure = Figure(figsize=_SIZE, layout="constrained")
        draw(figure.add_subplot())
        content = BytesIO()
        figure.savefig(content, format="svg", metadata={"Date": None, "Creator": None})
    return Plot(title, alternative, content.getvalue())


def _components(study: GaugeStudy) -> Plot:
    parts = [c for c in study.components if c.part != "total"]
    labels = {
        "repeatability": "shot to shot",
        "people": "people",
        "interaction": "interaction",
        "reproducibility": "people in all",
        "gauge": "gauge in all",
        "settings": "settings",
    }
    of_study = [100.0 * (study.share_of_study(c) or 0.0) for c in parts]
    # What settings differ by is the study's choice: beside the tolerance it says nothing.
    of_tolerance = [
        0.0 if c.part == "settings" else 100.0 * (study.share_of_tolerance(c) or 0.0) for c in parts
    ]
    rows = np.arange(len(parts))[::-1]

    def draw(axes: Axes) -> None:
        axes.barh(rows + 0.2, of_study, 0.38, color=_COLOURS[0], label="of the study's spread")
        axes.barh(
            rows - 0.2,
            of_tolerance,
            0.38,
            facecolor="white",
            edgecolor=_COLOURS[1],
            hatch="////",
            label="of the tolerance",
        )
        axes.axvline(10, color="black", lw=0.8, ls=":")
        axes.axvline(30, color="black", lw=0.8, ls="--")
        axes.set_yticks(rows, [labels[c.part] for c in parts])
        axes.set_xlabel("per cent (dotted 10, dashed 30)")
        axes.legend(loc="lower center", bbox_to_anchor=(0.4, 1.0), ncols=2)

    told = "; ".join(
        f"{labels[c.part]} {s:.0f} % of the study's spread"
        + ("" if c.part == "settings" else f", {t:.0f} % of the tolerance")
        for c, s, t in zip(parts, of_study, of_tolerance, strict=True)
    )
    return _drawn("Components", f"{told[0].upper()}{told[1:]}.", draw)


def _by_setting(readings: Readings, about: Quantity, limits: Limits) -> Plot:
    means = np.bincount(readings.setting, readings.values) / np.bincount(readings.setting)
    apart = _beside(len(readings.people))

    def draw(axes: Axes) -> None:
        for person in range(len(readings.people)):
            own = readings.person == person
            axes.plot(
                readings.setting[own] + 1 + apart[person],
                readings.values[own],
                ls="",
                ms=4,
                mfc="none",
                **_look(person),
            )
        axes.plot(np.arange(1, means.size + 1), means, color="black", lw=0.9, marker="_", ms=9)
        _limit_lines(axes, limits, readings)
        _setting_axis(axes, readings, "setting (line: means, dashed: limits)")
        axes.set_ylabel(f"{about.words}, {about.unit}")
        _legend(axes, readings)

    told = (
        f"All readings at each of {means.size} settings, the line joins their means, from "
        f"{about.shown(float(means.min()))} to {about.shown(float(means.max()))}."
    )
    return _drawn("By setting", told, draw)


def _by_person(readings: Readings, about: Quantity) -> Plot:
    """Distances from each setting's mean, so that only people differ."""
    means = np.bincount(readings.setting, readings.values) / np.bincount(readings.setting)
    apart = readings.values if readings.nested else readings.values - means[readings.setting]
    apart = np.round(apart, 9)  # of equal readings 0 is left, not rounding
    people = range(len(readings.people))
    groups = [apart[readings.person == p] for p in people]
    averages = [float(g.mean()) for g in groups]

    def draw(axes: Axes) -> None:
        axes.boxplot(
            groups,
            positions=[p + 1 for p in people],
            widths=0.5,
            showfliers=False,
            medianprops={"color": "black"},
        )
        for person, group in enumerate(groups):
            across = person + 1 + np.linspace(-0.15, 0.15, group.size)
            axes.plot(across, group, ls="", ms=3.5, mfc="none", **_look(person))
        axes.plot([p + 1 for p in people], averages, color="black", lw=0.9, marker="D", ms=4)
        if not readings.nested:
            axes.axhline(0.0, color="black", lw=0.6, ls=":")
        axes.set_xticks([p + 1 for p in people], [person_code(p) for p in people])
        axes.set_xlabel("person (diamond: mean)")
        what = about.words if readings.nested else "from the setting's mean"
        axes.set_ylabel(f"{what}, {about.unit}")

    told = "; ".join(
        f"{person_code(p)} {averages[p]:+.{about.digits}f} {about.unit}" for p in people
    )
    return _drawn("By person", f"Mean of each person: {told}.", draw)


def _interaction(readings: Readings, about: Quantity) -> Plot:
    def draw(axes: Axes) -> None:
        for person in range(len(readings.people)):
            cells = [readings.cell(s, person) for s in range(len(readings.settings))]
            means = [float(c.mean()) if c.size else np.nan for c in cells]
            axes.plot(
                np.arange(1, len(means) + 1),
                means,
                ls=_LINES[person % len(_LINES)],
                lw=1.1,
                ms=4,
                **_look(person),
            )
        _setting_axis(axes, readings)
        axes.set_ylabel(f"mean {about.words}, {about.unit}")
        _legend(axes, readings)

    told = (
        "A line for each person through the means of their shots at each setting. Where lines "
        "run side by side people differ alike everywhere; where they cross, at certain settings."
    )
    return _drawn("Interaction", told, draw)


def _ranges(readings: Readings, about: Quantity) -> list[Plot]:
    """Range of each cell, person after person; the limit where cells are equally filled."""
    ranges: list[tuple[int, float]] = []
    for person in range(len(readings.people)):
        cells = [readings.cell(s, person) for s in range(len(readings.settings))]
        ranges += [(person, float(np.ptp(c))) for c in cells if c.size > 1]
    if not ranges:
        return []
    try:
        limit, mean = (found := average_range(readings)).limit, found.mean_range
    except StudyError:
        limit, mean = None, float(np.mean([r for _, r in ranges]))
    beyond = sum(r > limit for _, r in ranges) if limit is not None else 0

    def draw(axes: Axes) -> None:
        for person in range(len(readings.people)):
            own = [(i, r) for i, (p, r) in enumerate(ranges) if p == person]
            if own:
                axes.plot(*zip(*own, strict=True), lw=0.8, ms=4, **_look(person))
                axes.axvline(own[-1][0] + 0.5, color="black", lw=0.4)
        axes.axhline(mean, color="black", lw=0.8)
        if limit is not None:
            axes.axhline(limit, color="black", lw=0.9, ls="--")
        axes.set_ylim(bottom=0.0)
        axes.set_xticks([])
        axes.set_xlabel("cells, person after person (line: mean, dashed: limit)")
        axes.set_ylabel(f"range in a cell, {about.unit}")
        _legend(axes, readings)

    told = f"Ranges of {len(ranges)} cells, mean {about.shown(mean)}."
    if limit is not None:
        told += f" {beyond} lie beyond the limit of chance, {about.shown(limit)}."
    else:
        told += " Cells are not equally filled: no limit is drawn."
    return [_drawn("Range chart", told, draw)]


def _linearity(study: LinearityStudy, about: Quantity) -> Plot:
    references = np.array([b.reference for b in study.biases])
    biases = np.array([b.bias for b in study.biases])

    def draw(axes: Axes) -> None:
        ends = [b.interval or (b.bias, b.bias) for b in study.biases]
        below = biases - np.array([e[0] for e in ends])
        above = np.array([e[1] for e in ends]) - biases
        axes.errorbar(
            references,
            biases,
            [below, above],
            ls="",
            marker="o",
            ms=5,
            color=_COLOURS[0],
            capsize=3,
        )
        axes.axhline(0.0, color="black", lw=0.8, ls=":")
        if study.line is not None:
            across = np.linspace(references.min(), references.max(), 50)
            band = np.array([study.line.band(float(x)) for x in across])
            middle = [study.line.bias_at(float(x)) for x in across]
            axes.plot(across, middle, color="black", lw=1.0)
            axes.fill_between(across, band[:, 0], band[:, 1], color="0.85", lw=0)
        axes.set_xlabel(f"known {about.words}, {about.unit}")
        axes.set_ylabel(f"bias, {about.unit}")

    told = "; ".join(
        f"at {about.shown(b.reference)} {b.bias:+.{about.digits}f} {about.unit}"
        for b in study.biases
    )
    return _drawn("Bias and linearity", f"Bias {told}.", draw)


def _look(person: int) -> dict[str, Any]:
    return {
        "color": _COLOURS[person % len(_COLOURS)],
        "marker": _SIGNS[person % len(_SIGNS)],
        "label": person_code(person),
    }


def _beside(people: int) -> list[float]:
    """Where people's points lie beside their setting's middle."""
    return [0.0] if people == 1 else np.linspace(-0.2, 0.2, people).tolist()


def _limit_lines(axes: Axes, limits: Limits, readings: Readings) -> None:
    """Limits that lie near the readings; far ones would flatten everything else."""
    low, high = float(readings.values.min()), float(readings.values.max())
    room = max(high - low, 0.25 * (limits[1] - limits[0]))
    for limit in limits:
        if low - room < limit < high + room:
            axes.axhline(limit, color="black", lw=0.9, ls="--")


def _setting_axis(axes: Axes, readings: Readings, label: str = "setting") -> None:
    count = len(readings.settings)
    if count <= _FEW_SETTINGS:
        axes.set_xticks(range(1, count + 1))
        axes.tick_params(axis="x", labelsize=9 if count <= 12 else 6)
    axes.set_xlim(0.5, count + 0.5)
    axes.set_xlabel(label)


def _legend(axes: Axes, readings: Readings) -> None:
    if 1 < len(readings.people) <= 12:
        axes.legend(
            loc="lower center",
            bbox_to_anchor=(0.5, 1.0),
            ncols=min(len(readings.people), 6),
            handlelength=1.5,
        )
