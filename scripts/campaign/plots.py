"""Pictures of a campaign: the gap's error against what it may depend on, and against its claim.

Drawn for a phone's screen, in tones and shapes that differ in black and white as well.
Plots need matplotlib, which comes with rigvision.
"""

from __future__ import annotations

import io
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image

from .groups import Groups
from .record import Record

try:
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Drawing
    from matplotlib.ticker import NullLocator
except ImportError:
    sys.exit("Plots need matplotlib: install rigvision whole, pip install ..")

WIDTH_IN, PANEL_IN, DPI = 6.0, 2.9, 150
TEXT = {"font.size": 12, "axes.titlesize": 13, "legend.fontsize": 11}
#: Colours kept in the file: enough for smooth letters, few enough for a small file.
COLOURS = 24
#: With no more pictures than this in a panel, each shows its own uncertainty.
FEW = 90
BINS = 7
LOG_TICKS = (0.25, 0.4, 0.6, 1.0, 1.6, 2.5, 4.0)
#: Fewest pictures of a bin.
LEAST = 5


@dataclass(frozen=True, slots=True)
class Look:
    """How one zone is drawn: told apart by shape and by lightness, not by hue alone."""

    title: str
    colour: str
    marker: str
    line: str


LOOKS = {
    "nominal": Look("nominal", "#0B3C6F", "o", "-"),
    "hard": Look("hard", "#E08A00", "^", "--"),
}
SOURCES = {"quick": "quick scenes", "traced": "path-traced pictures"}


@dataclass(frozen=True, slots=True)
class Against:
    """What the error is drawn against."""

    file: str
    title: str
    value: Callable[[Record], float | None]
    logarithmic: bool = False


def _true_gap(record: Record) -> float | None:
    gap = record.figure("gap")
    return gap.true if gap else None


AGAINST = (
    Against("error-distance", "distance, mm", lambda r: r.view.get("distance_mm")),
    Against("error-tilt", "tilt of the view, degrees", lambda r: r.view.get("tilt_deg")),
    Against("error-gap", "true gap, mm", _true_gap, logarithmic=True),
    Against("error-blur", "blur of the marks' borders, px", lambda r: r.view.get("blur_px")),
)
HISTOGRAMS = {
    "gap": "gap, mean",
    "taper": "taper",
    "lateral": "lateral offset",
    "tilt": "tilt",
    "seat": "seat gap",
    "clock": "clock",
}


def draw_all(groups: Groups, folder: Path) -> None:
    """Draw every plot into a folder; says on standard error what was written."""
    folder.mkdir(parents=True, exist_ok=True)
    panels = _panels(groups)
    if not panels:
        sys.exit("Plots show the zones nominal and hard; there is no picture of either.")
    with matplotlib.rc_context(TEXT):
        for against in AGAINST:
            _save(_errors(panels, against), folder / f"{against.file}.png")
        _save(_histograms(panels), folder / "error-over-uncertainty.png")


def _panels(groups: Groups) -> dict[str, dict[str, list[Record]]]:
    """Records by source, then by zone."""
    panels: dict[str, dict[str, list[Record]]] = {}
    for source in SOURCES:
        zones = {zone: groups.get(f"{source}:{zone}", []) for zone in LOOKS}
        measured = {zone: [r for r in rs if _gap_error(r)] for zone, rs in zones.items()}
        if any(measured.values()):
            panels[source] = {zone: rs for zone, rs in measured.items() if rs}
    return panels


def _gap_error(record: Record) -> tuple[float, float] | None:
    """Error and expanded uncertainty of the mean gap, mm."""
    gap = record.figure("gap")
    if gap is None or gap.error is None or gap.expanded is None:
        return None
    return gap.error, gap.expanded


def _errors(panels: dict[str, dict[str, list[Record]]], against: Against) -> Drawing:
    drawing, axes = pyplot.subplots(
        len(panels),
        figsize=(WIDTH_IN, PANEL_IN * len(panels) + 1.2),
        sharex=True,
        squeeze=False,
        layout="constrained",
    )
    for ax, (source, zones) in zip(axes[:, 0], panels.items(), strict=True):
        for zone, records in zones.items():
            few = sum(map(len, zones.values())) <= FEW
            (_each if few else _binned)(ax, records, LOOKS[zone], against)
        ax.axhline(0.0, color="black", linewidth=0.8)
        ax.set_ylabel("gap: found - true, mm")
        ax.grid(color="#DDDDDD", linewidth=0.6)
        ax.set_axisbelow(True)
        if against.logarithmic:
            ax.set_xscale("log")
            ax.set_xticks(LOG_TICKS)
            ax.xaxis.set_major_formatter("{x:g}")
            ax.xaxis.set_minor_locator(NullLocator())
        legend = ax.legend(
            title=SOURCES[source],
            loc="lower left",
            bbox_to_anchor=(0.0, 1.0),
            ncols=2,
            frameon=False,
            alignment="left",
        )
        legend.get_title().set_fontsize(TEXT["axes.titlesize"])
    axes[-1, 0].set_xlabel(against.title)
    return drawing


def _points(records: Sequence[Record], against: Against) -> np.ndarray:
    """Place, error and expanded uncertainty (N, 3) of the pictures that have all three."""
    points = []
    for record in records:
        at, gap = against.value(record), _gap_error(record)
        if at is not None and gap is not None:
            points.append((at, *gap))
    return np.array(points).reshape(-1, 3)


def _each(ax: Axes, records: Sequence[Record], look: Look, against: Against) -> None:
    """Every picture with the uncertainty claimed for it."""
    at, error, expanded = _points(records, against).T
    ax.errorbar(
        at,
        error,
        expanded,
        fmt=look.marker,
        color=look.colour,
        markersize=5,
        elinewidth=0.9,
        label=f"{look.title}, with U",
    )


def _binned(ax: Axes, records: Sequence[Record], look: Look, against: Against) -> None:
    """Every picture as a dot; bin by bin the RMS of the errors and of the claimed U."""
    points = _points(records, against)
    ax.plot(points[:, 0], points[:, 1], look.marker, color=look.colour, markersize=1.8, alpha=0.35)
    borders = np.quantile(points[:, 0], np.linspace(0.0, 1.0, BINS + 1))
    which = np.clip(np.searchsorted(borders, points[:, 0], side="right") - 1, 0, BINS - 1)
    parts = [points[which == k] for k in range(BINS) if np.sum(which == k) >= LEAST]
    at = [part[:, 0].mean() for part in parts]
    mean = np.array([part[:, 1].mean() for part in parts])
    spread = [part[:, 1].std() for part in parts]
    claimed = np.array([np.sqrt(np.mean(part[:, 2] ** 2)) for part in parts])
    ax.errorbar(
        at,
        mean,
        spread,
        fmt=look.marker,
        color=look.colour,
        markersize=7,
        markeredgecolor="black",
        elinewidth=2.0,
        capsize=4,
        label=f"{look.title}: mean, s.d.",
    )
    ax.plot(
        at, claimed, look.line, color=look.colour, linewidth=1.6, label=f"{look.title}: claimed U"
    )
    ax.plot(at, -claimed, look.line, color=look.colour, linewidth=1.6)


def _histograms(panels: dict[str, dict[str, list[Record]]]) -> Drawing:
    names = [n for n in HISTOGRAMS if any(len(_ratios(z, n)) for z in panels.values())]
    drawing, axes = pyplot.subplots(
        len(names),
        len(panels),
        figsize=(WIDTH_IN, 1.75 * len(names) + 0.4),
        sharex=True,
        squeeze=False,
        layout="constrained",
    )
    for row, name in zip(axes, names, strict=True):
        for ax, (source, zones) in zip(row, panels.items(), strict=True):
            _histogram(
                ax, _ratios(zones, name), f"{HISTOGRAMS[name]}, {SOURCES[source].split()[0]}"
            )
    for ax in axes[-1]:
        ax.set_xlabel("error / u")
    return drawing


def _ratios(zones: dict[str, list[Record]], name: str) -> np.ndarray:
    """Errors over their claimed standard uncertainties."""
    figures = [r.figure(name) for records in zones.values() for r in records]
    ratios = [f.error_over_u for f in figures if f is not None]
    return np.array([ratio for ratio in ratios if ratio is not None])


def _histogram(ax: Axes, ratios: np.ndarray, title: str) -> None:
    """Density of the ratios, those beyond the axis in its outermost bars, and the unit normal."""
    borders = np.linspace(-4.0, 4.0, 33 if len(ratios) > 4 * FEW else 17)
    if len(ratios):
        ax.hist(
            np.clip(ratios, borders[0], borders[-1]),
            borders,
            density=True,
            color="#B8C4D0",
            edgecolor="#44525F",
            linewidth=0.6,
        )
    x = np.linspace(-4.0, 4.0, 161)
    ax.plot(x, np.exp(-0.5 * x * x) / np.sqrt(2.0 * np.pi), color="black", linewidth=1.6)
    ax.set_title(title, loc="left", fontsize=11)
    ax.set_yticks([])
    ax.set_xticks([-4, -2, 0, 2, 4])
    ratio = np.sqrt(np.mean(ratios**2)) if len(ratios) else float("nan")
    ax.text(0.98, 0.95, f"n {len(ratios)}\nRMS {ratio:.2f}", ha="right", va="top",
            transform=ax.transAxes, fontsize=10)  # fmt: skip


def _save(drawing: Drawing, path: Path) -> None:
    """A PNG of few colours; the same records give the same file."""
    raw = io.BytesIO()
    drawing.savefig(raw, format="png", dpi=DPI, metadata={"Software": None})
    pyplot.close(drawing)
    with Image.open(raw) as image:
        few = image.convert("RGB").quantize(COLOURS, method=Image.Quantize.MEDIANCUT, dither=0)
        few.save(path, optimize=True)
    print(f"{path}: {path.stat().st_size / 1000:.0f} kB", file=sys.stderr)
