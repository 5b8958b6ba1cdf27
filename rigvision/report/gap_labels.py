"""The gap's millimetres at each station, on the photo: above the door's edge, in rows.

Labels never cover the gap, and rows are added until no label covers another.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigvision.decision.result import CheckResult, StationResult
from rigvision.report.canvas import INK, WHITE, Canvas, Stroke
from rigvision.report.framing import Framing
from rigvision.report.overlay import label, label_box
from rigvision.vision.slot import SlotEdges
from rigvision.vision.view import View

SIZES_PX = (66, 56, 46, 38)
MOST_ROWS = 2
LEADER = Stroke(WHITE, 3, (), 2)


@dataclass(frozen=True, slots=True)
class GapLabel:
    """One station's label: where its leader starts and what it says."""

    x: float
    door_y: float
    sill_y: float
    words: str
    worst: bool


def worst_station(result: CheckResult) -> StationResult | None:
    """The measured station furthest from the middle of the limits."""
    if result.gap is None:
        return None
    middle = (result.gap.lower_mm + result.gap.upper_mm) / 2.0
    measured = [(abs(s.gap_mm - middle), s) for s in result.gap.stations if s.gap_mm is not None]
    return max(measured, key=lambda pair: pair[0])[1] if measured else None


def draw_gap_labels(
    canvas: Canvas, framing: Framing, result: CheckResult, slot: SlotEdges, view: View
) -> None:
    """Leaders and values of all measured stations; lost ones get a question mark."""
    labels = _labels(framing, result, slot, view)
    if not labels:
        return
    size_px, rows = _rows(labels)
    highest = min(item.door_y for item in labels)
    for item, row in zip(labels, rows, strict=True):
        y = highest - 1.3 * size_px * (row + 1)
        _leader(canvas, item, y)
    for item, row in zip(labels, rows, strict=True):
        label(
            canvas,
            item.x,
            highest - 1.3 * size_px * (row + 1),
            item.words,
            size_px,
            "mm",
            item.worst,
        )


def _labels(framing: Framing, result: CheckResult, slot: SlotEdges, view: View) -> list[GapLabel]:
    if result.gap is None or not slot.stations:
        return []
    worst = worst_station(result)
    read = {s.x_mm: s for s in slot.stations}
    xs = np.array([s.x_mm for s in slot.stations])
    labels = []
    for station in result.gap.stations:
        near = read.get(station.x_mm, slot.stations[int(np.argmin(np.abs(xs - station.x_mm)))])
        ends = [[station.x_mm, y, slot.plane_z_mm] for y in (near.sill_y_mm, near.door_y_mm)]
        (x0, sill_y), (x1, door_y) = framing.shown(view.project(np.array(ends)))
        words = "?" if station.gap_mm is None else f"{station.gap_mm:.2f}"
        middle = float(x0 + x1) / 2.0
        labels.append(GapLabel(middle, float(door_y), float(sill_y), words, station == worst))
    return labels


def _rows(labels: list[GapLabel]) -> tuple[int, list[int]]:
    """The largest text for which few rows hold all labels, and each label's row."""
    for size_px in SIZES_PX:
        rows = _rows_at(labels, size_px)
        if max(rows) < MOST_ROWS:
            return size_px, rows
    return SIZES_PX[-1], _rows_at(labels, SIZES_PX[-1])


def _rows_at(labels: list[GapLabel], size_px: int) -> list[int]:
    """Row of each label, left to right: the lowest in which it touches no other."""
    ends: list[float] = []
    rows = []
    for item in labels:
        left, _, right, _ = label_box(item.x, 0.0, item.words, size_px)
        row = next((i for i, end in enumerate(ends) if left > end + 8), len(ends))
        ends[row : row + 1] = [right]
        rows.append(row)
    return rows


def _leader(canvas: Canvas, item: GapLabel, label_y: float) -> None:
    """From the label down to the door's edge, and an arrow up to the sill's: a dimension."""
    canvas.line(np.array([[item.x, label_y], [item.x, item.door_y - 14.0]]), LEADER)
    canvas.line(np.array([[item.x, item.sill_y + 60.0], [item.x, item.sill_y + 14.0]]), LEADER)
    for tip, towards in ((item.door_y - 10.0, -1.0), (item.sill_y + 10.0, 1.0)):
        for grow, colour in ((5.0, INK), (0.0, WHITE)):
            back = tip + towards * (22.0 + grow)
            head = [
                [item.x, tip - towards * grow],
                [item.x - 10.0 - grow, back],
                [item.x + 10.0 + grow, back],
            ]
            canvas.polygon(np.array(head), colour)
