"""What a study can be about: figures of a check with two limits in the frame's file."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from rigvision.report.saved_result import SavedResult
from rigvision.world.frame import Frame

QuantityName = Literal["gap", "taper", "lateral", "tilt", "seat-gap", "clock"]
Limits = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Quantity:
    """``read`` gives value, expanded uncertainty, coverage factor; None for what is unknown.

    ``limits`` come from the frame; None where it has none.
    """

    name: QuantityName
    words: str
    unit: str
    digits: int
    read: Callable[[SavedResult], tuple[float | None, float | None, float | None]]
    limits: Callable[[Frame], Limits | None]

    def value(self, result: SavedResult) -> float | None:
        return self.read(result)[0]

    def standard_uncertainty(self, result: SavedResult) -> float | None:
        """As the check itself claims it."""
        _, expanded, factor = self.read(result)
        return expanded / factor if expanded is not None and factor else None

    def shown(self, value: float) -> str:
        return f"{value:.{self.digits}f} {self.unit}"


def _gap(result: SavedResult) -> tuple[float | None, float | None, float | None]:
    gap = result.gap
    return (gap.mean_mm, gap.expanded_uncertainty_mm, gap.coverage_factor) if gap else (None,) * 3


def _taper(result: SavedResult) -> tuple[float | None, float | None, float | None]:
    gap = result.gap
    if gap is None:
        return None, None, None
    return gap.taper_mm, gap.taper_expanded_uncertainty_mm, gap.taper_coverage_factor


def _both_ways(limit: float | None) -> Limits | None:
    return None if limit is None else (-limit, limit)


def _yoke(field: str) -> Callable[[Frame], Limits | None]:
    def limits(frame: Frame) -> Limits | None:
        return _both_ways(getattr(frame.yoke_limits, field) if frame.yoke_limits else None)

    return limits


_ALL = (
    Quantity("gap", "gap", "mm", 3, _gap, lambda f: (f.gap.lower_mm, f.gap.upper_mm)),
    Quantity("taper", "taper", "mm", 3, _taper, lambda f: _both_ways(f.gap.taper_limit_mm)),
    Quantity(
        "lateral",
        "yoke to the side",
        "mm",
        3,
        lambda r: (
            r.yoke.lateral_offset_mm,
            r.yoke.lateral_offset_expanded_uncertainty_mm,
            r.yoke.lateral_offset_coverage_factor,
        ),
        _yoke("lateral_offset_mm"),
    ),
    Quantity(
        "tilt",
        "yoke tilt",
        "deg",
        2,
        lambda r: (
            r.yoke.tilt_deg,
            r.yoke.tilt_expanded_uncertainty_deg,
            r.yoke.tilt_coverage_factor,
        ),
        _yoke("tilt_deg"),
    ),
    Quantity(
        "seat-gap",
        "yoke seat gap",
        "mm",
        3,
        lambda r: (
            r.yoke.seat_gap_mm,
            r.yoke.seat_gap_expanded_uncertainty_mm,
            r.yoke.seat_gap_coverage_factor,
        ),
        _yoke("seat_gap_mm"),
    ),
    Quantity(
        "clock",
        "clock",
        "deg",
        2,
        lambda r: (
            r.yoke.clock_deg,
            r.yoke.clock_expanded_uncertainty_deg,
            r.yoke.clock_coverage_factor,
        ),
        _yoke("clock_deg"),
    ),
)
QUANTITIES: dict[QuantityName, Quantity] = {q.name: q for q in _ALL}
