"""The gap along the sill as a drawing: where each mark of the plot lies, in its own units."""

from __future__ import annotations

from dataclasses import dataclass
from math import floor, log10

from rigvision.decision.result import GapResult, StationResult
from rigvision.report.figures import signed_zero
from rigvision.report.saved_result import SavedResult

WIDTH, HEIGHT = 640.0, 280.0
LEFT, RIGHT, TOP, BOTTOM = 62.0, 18.0, 18.0, 46.0
#: Between the axis' ends and the outermost stations.
INSET = 20.0
#: Empty room above and below what is drawn, in parts of it.
ROOM = 0.12
_TICKS = 5


@dataclass(frozen=True, slots=True)
class PlottedStation:
    """``y``, ``top`` and ``bottom`` of its expanded uncertainty are None where nothing was read."""

    x: float
    label: str
    y: float | None
    top: float | None
    bottom: float | None
    words: str


@dataclass(frozen=True, slots=True)
class Level:
    """A horizontal line: a limit, or a tick of the axis."""

    y: float
    label: str


@dataclass(frozen=True, slots=True)
class StationPlot:
    """``limits``: the upper, then the lower; ``accepted``: top and height of the band in which the
    mean is accepted, None where there is none."""

    stations: tuple[PlottedStation, ...]
    limits: tuple[Level, Level]
    ticks: tuple[Level, ...]
    mean: Level | None
    accepted: tuple[float, float] | None
    width: float = WIDTH
    height: float = HEIGHT
    left: float = LEFT
    right: float = WIDTH - RIGHT
    top: float = TOP
    bottom: float = HEIGHT - BOTTOM


@dataclass(frozen=True, slots=True)
class _Axes:
    """Millimetres to places in the drawing."""

    low_mm: float
    high_mm: float
    first_x_mm: float
    last_x_mm: float

    def y(self, gap_mm: float) -> float:
        part = (self.high_mm - gap_mm) / (self.high_mm - self.low_mm)
        return round(TOP + part * (HEIGHT - TOP - BOTTOM), 2)

    def x(self, x_mm: float) -> float:
        reach = max(self.last_x_mm - self.first_x_mm, 1.0)
        inner = WIDTH - LEFT - RIGHT - 2.0 * INSET
        return round(LEFT + INSET + (x_mm - self.first_x_mm) / reach * inner, 2)

    def level(self, gap_mm: float) -> Level:
        return Level(self.y(gap_mm), f"{gap_mm:.2f}")


def station_plot(result: SavedResult) -> StationPlot | None:
    """None where there is no station, or none was read."""
    gap = result.gap
    if gap is None or not any(s.gap_mm is not None for s in gap.stations):
        return None
    axes = _axes(gap)
    return StationPlot(
        tuple(_plotted(s, axes) for s in gap.stations),
        (axes.level(gap.upper_mm), axes.level(gap.lower_mm)),
        tuple(Level(axes.y(at), text) for at, text in _ticks(axes.low_mm, axes.high_mm)),
        None if gap.mean_mm is None else axes.level(gap.mean_mm),
        _accepted(gap, axes),
    )


def _axes(gap: GapResult) -> _Axes:
    """Wide enough for the limits and all that was read."""
    values = [gap.lower_mm, gap.upper_mm]
    for s in gap.stations:
        if s.gap_mm is not None:
            around = s.expanded_uncertainty_mm or 0.0
            values += [s.gap_mm - around, s.gap_mm + around]
    room = ROOM * max(max(values) - min(values), 1e-3)
    xs = [s.x_mm for s in gap.stations]
    return _Axes(min(values) - room, max(values) + room, min(xs), max(xs))


def _plotted(station: StationResult, axes: _Axes) -> PlottedStation:
    x, label = axes.x(station.x_mm), signed_zero(station.x_mm, 0)
    place = f"x = {station.x_mm:g} mm"
    value, around = station.gap_mm, station.expanded_uncertainty_mm
    if value is None:
        return PlottedStation(x, label, None, None, None, f"{place}: not read")
    if around is None:
        return PlottedStation(x, label, axes.y(value), None, None, f"{place}: {value:.3f} mm")
    top, bottom = axes.y(value + around), axes.y(value - around)
    words = f"{place}: {value:.3f} ± {around:.3f} mm"
    return PlottedStation(x, label, axes.y(value), top, bottom, words)


def _accepted(gap: GapResult, axes: _Axes) -> tuple[float, float] | None:
    low, high = gap.acceptance_lower_mm, gap.acceptance_upper_mm
    if low is None or high is None or high <= low:
        return None
    return axes.y(high), round(axes.y(low) - axes.y(high), 2)


def _ticks(low: float, high: float) -> list[tuple[float, str]]:
    """Round values between the two, some five of them."""
    rough = (high - low) / _TICKS
    power = 10.0 ** floor(log10(rough))
    step = next(m * power for m in (1.0, 2.0, 5.0, 10.0) if m * power >= rough)
    decimals = max(0, -floor(log10(step) + 1e-9))
    first, last = int(-(-low // step)), int(high // step)
    return [(at * step, signed_zero(at * step, decimals)) for at in range(first, last + 1)]
