"""The gap under a magnifying glass, at the station furthest from the middle of the limits."""

from __future__ import annotations

import numpy as np

from rigvision.decision.result import CheckResult, StationResult
from rigvision.report.canvas import GREY, WHITE, Canvas, Stroke, font
from rigvision.report.figures import signed_zero, with_uncertainty
from rigvision.report.framing import Framing, Pixels, around_point
from rigvision.report.gap_labels import worst_station
from rigvision.report.overlay import DOOR, SILL, label, label_box
from rigvision.vision.slot import SlotEdges, StationEdges
from rigvision.vision.view import View

#: Enlargement of the photo's own pixels; less only where the gap would not fit.
MOST, LEAST = 10.0, 2.0
#: Part of the inset's height that the gap may fill.
GAP_PART = 0.42
#: Part of the inset, around the station, where the photo shows without lines on it.
FREE_PART = 0.26
TITLE_PX, VALUE_PX = 42, 60


def draw_inset(
    photo: Pixels,
    result: CheckResult,
    slot: SlotEdges,
    view: View,
    width_px: int,
    height_px: int,
) -> Canvas | None:
    """The magnified gap with its edges; None where no station could be read."""
    worst = worst_station(result)
    if worst is None or not slot.stations:
        return None
    edges = min(slot.stations, key=lambda s: abs(s.x_mm - worst.x_mm))
    canvas = Canvas(width_px, height_px)
    title_height = round(1.5 * TITLE_PX)
    framing = _framing(edges, slot, view, width_px, height_px - title_height)
    glass = Canvas(width_px, height_px - title_height)
    glass.paste(framing.cut(photo), 0, 0)
    _draw_edges(glass, framing, edges, slot, view)
    _draw_dimension(glass, framing, worst, edges, slot, view)
    canvas.paste(glass.pixels, 0, title_height)
    title = f"Gap at x = {signed_zero(worst.x_mm, 0)} mm, photo {framing.scale:.0f} times larger"
    canvas.text(0, title_height / 2.0, title, font(TITLE_PX), GREY, anchor="lm")
    return canvas


def _framing(
    edges: StationEdges, slot: SlotEdges, view: View, width_px: int, height_px: int
) -> Framing:
    middle = np.array([edges.x_mm, (edges.sill_y_mm + edges.door_y_mm) / 2.0, slot.plane_z_mm])
    ends = view.project(_ends(edges, slot))
    gap_px = max(1.0, float(np.linalg.norm(ends[1] - ends[0])))
    scale = float(np.clip(GAP_PART * height_px / gap_px, LEAST, MOST))
    return around_point(view, middle, scale, width_px, height_px)


def _draw_edges(
    glass: Canvas, framing: Framing, edges: StationEdges, slot: SlotEdges, view: View
) -> None:
    """Both edges as found, each line on its own side; left free around the station itself."""
    ends = view.project(_ends(edges, slot))
    px_per_mm = float(np.linalg.norm(ends[1] - ends[0])) / (edges.door_y_mm - edges.sill_y_mm)
    half_mm = 0.5 * glass.width_px / (framing.scale * max(px_per_mm, 0.1))
    for stroke, y_mm, outward in ((SILL, edges.sill_y_mm, 1.0), (DOOR, edges.door_y_mm, -1.0)):
        for side in (-1.0, 1.0):
            xs = edges.x_mm + side * half_mm * np.array([1.0, FREE_PART])
            line = np.column_stack([xs, np.full(2, y_mm), np.full(2, slot.plane_z_mm)])
            shown = framing.shown(view.project(line))
            shown[:, 1] += outward * (stroke.width_px / 2.0 + stroke.edge_px)
            glass.line(shown, stroke)


def _draw_dimension(
    glass: Canvas,
    framing: Framing,
    worst: StationResult,
    edges: StationEdges,
    slot: SlotEdges,
    view: View,
) -> None:
    """Arrows from outside onto both edges; the upper one hangs from the value."""
    sill, door = framing.shown(view.project(_ends(edges, slot)))
    for tip, towards, length in ((sill, 1.0, 78.0), (door, -1.0, float(door[1]) - VALUE_PX)):
        shaft = np.array([[0.0, 14.0 * towards], [0.0, length * towards]])
        glass.line(tip + shaft, Stroke(WHITE, 6))
        head = np.array([[0.0, 10.0], [-17.0, 44.0], [17.0, 44.0]]) * (1.0, towards)
        glass.polygon(tip + head, WHITE)
    words = with_uncertainty(worst.gap_mm, worst.expanded_uncertainty_mm, "mm")
    left, _, right, _ = label_box(0.0, 0.0, words, VALUE_PX)
    x = float(np.clip(door[0], -left, glass.width_px - right))
    label(glass, x, 0.75 * VALUE_PX, words, VALUE_PX)


def _ends(edges: StationEdges, slot: SlotEdges) -> np.ndarray:
    """Sill and door edge (2, 3) at the station, gauge axes."""
    return np.array([[edges.x_mm, y, slot.plane_z_mm] for y in (edges.sill_y_mm, edges.door_y_mm)])
