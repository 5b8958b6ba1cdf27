"""The figures of a saved result, one after another: value, expanded uncertainty, coverage."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from rigvision.report.saved_result import SavedResult

#: Names as people read them, as in ``YokeResult``, and their unit.
_YOKE = (
    ("Yoke to the side", "lateral_offset", "mm"),
    ("Yoke tilt", "tilt", "deg"),
    ("Yoke seat gap", "seat_gap", "mm"),
    ("Clock", "clock", "deg"),
)


@dataclass(frozen=True, slots=True)
class Figure:
    """``key`` is the same in all results, ``unit`` mm, deg or turn; None where not measured."""

    key: str
    name: str
    unit: str
    value: float | None
    expanded_uncertainty: float | None
    coverage_factor: float | None

    @property
    def standard_uncertainty(self) -> float | None:
        """Expanded over coverage factor; None where either is not known."""
        if self.expanded_uncertainty is None or not self.coverage_factor:
            return None
        return self.expanded_uncertainty / self.coverage_factor


def figures_of(result: SavedResult) -> list[Figure]:
    """Gap, taper, yoke, turns, then the stations. What has no place in this result is missing."""
    return [*_gap(result), *_yoke(result), _turns(result), *_stations(result)]


def _gap(result: SavedResult) -> Iterator[Figure]:
    gap = result.gap
    if gap is None:
        return
    yield Figure("gap", "Gap", "mm", gap.mean_mm, gap.expanded_uncertainty_mm, gap.coverage_factor)
    yield Figure(
        "taper",
        "Taper",
        "mm",
        gap.taper_mm,
        gap.taper_expanded_uncertainty_mm,
        gap.taper_coverage_factor,
    )


def _stations(result: SavedResult) -> Iterator[Figure]:
    for station in result.gap.stations if result.gap else ():
        place = f"{station.x_mm:g}"
        yield Figure(
            f"gap at {place}",
            f"Gap at x = {place}",
            "mm",
            station.gap_mm,
            station.expanded_uncertainty_mm,
            station.coverage_factor,
        )


def _yoke(result: SavedResult) -> Iterator[Figure]:
    for name, key, unit in _YOKE:
        yield Figure(
            key,
            name,
            unit,
            getattr(result.yoke, f"{key}_{unit}"),
            getattr(result.yoke, f"{key}_expanded_uncertainty_{unit}"),
            getattr(result.yoke, f"{key}_coverage_factor"),
        )


def _turns(result: SavedResult) -> Figure:
    turns = result.turns
    return Figure(
        "turns", "Turns", "turn", turns.value, turns.expanded_uncertainty, turns.coverage_factor
    )
