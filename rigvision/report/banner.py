"""The verdict on top of the analysed image: a shape, a word, what to do, why.

Circle with a tick, diamond with a turning arrow, octagon with a cross: told apart by
outline alone, at thumbnail size, without colour.
"""

from __future__ import annotations

from math import cos, pi, sin
from typing import TYPE_CHECKING, Protocol

import numpy as np

from rigvision.decision.result import CheckResult
from rigvision.ground.conventions import FloatArray
from rigvision.ground.shown import one_line
from rigvision.report.canvas import WHITE, Canvas, Colour, Stroke, font, wrapped
from rigvision.report.figures import percent
from rigvision.report.wording import LOOKS, deciding_reason, what_to_do

if TYPE_CHECKING:
    from rigvision.report.saved_result import SavedResult

PAD_PX = 40
SHAPE_RADIUS_PX = 112
WORD_PX, ACTION_PX, REASON_PX = 136, 74, 52


class Surface(Protocol):
    """What shapes can be drawn on: pixels or a page."""

    def disc(self, x: float, y: float, radius_px: float, fill: Colour) -> None: ...
    def polygon(self, points: FloatArray, fill: Colour) -> None: ...
    def line(self, points: FloatArray, stroke: Stroke) -> None: ...


def draw_banner(result: CheckResult, width_px: int) -> Canvas:
    """A strip in the verdict's colour, as high as its words need."""
    look = LOOKS[result.verdict]
    left = 2 * PAD_PX + 2 * SHAPE_RADIUS_PX
    action = wrapped(one_line(what_to_do(result)), font(ACTION_PX, True), width_px - 2 * PAD_PX)
    reason = wrapped(_why(result), font(REASON_PX), width_px - 2 * PAD_PX)
    top = PAD_PX + 2 * SHAPE_RADIUS_PX
    height_px = top + round(1.3 * (ACTION_PX * len(action) + REASON_PX * len(reason))) + PAD_PX
    canvas = Canvas(width_px, height_px, look.colour)
    middle = PAD_PX + SHAPE_RADIUS_PX
    draw_shape(canvas, PAD_PX + SHAPE_RADIUS_PX, middle, SHAPE_RADIUS_PX, result)
    side_note = borderline_words(result)
    canvas.text(
        left, middle - (30 if side_note else 0), look.word, font(WORD_PX, True), anchor="lm"
    )
    canvas.text(left + 8, middle + 72, side_note, font(REASON_PX), anchor="lm")
    y = top + PAD_PX / 2.0
    for line, size_px, bold in [
        *((line, ACTION_PX, True) for line in action),
        *((line, REASON_PX, False) for line in reason),
    ]:
        canvas.text(PAD_PX, y, line, font(size_px, bold))
        y += 1.3 * size_px
    return canvas


def draw_shape(
    canvas: Surface,
    x: float,
    y: float,
    radius_px: float,
    result: CheckResult | SavedResult,
    colour: Colour | None = None,
) -> None:
    """The verdict's shape in white, its sign in the verdict's colour or the one given."""
    colour = colour or LOOKS[result.verdict].colour
    if result.verdict == "pass":
        canvas.disc(x, y, radius_px, WHITE)
        tick = np.array([[-0.50, 0.04], [-0.14, 0.40], [0.52, -0.36]])
        canvas.line(np.array([x, y]) + radius_px * tick, _sign(colour, radius_px))
    elif result.verdict == "adjust":
        canvas.polygon(_corners(x, y, radius_px, 4, 0.0), WHITE)
        _turning_arrow(canvas, x, y, 0.36 * radius_px, colour, clockwise=_clockwise(result))
    else:
        canvas.polygon(_corners(x, y, radius_px, 8, pi / 8.0), WHITE)
        for slope in (1.0, -1.0):
            arm = radius_px * 0.40 * np.array([[-1.0, -slope], [1.0, slope]])
            canvas.line(np.array([x, y]) + arm, _sign(colour, radius_px))


def _why(result: CheckResult) -> str:
    reason = deciding_reason(result)
    return one_line(reason.text) if reason else ""


def borderline_words(result: CheckResult | SavedResult) -> str:
    """What makes a verdict borderline; nothing where it is not."""
    if not result.borderline:
        return ""
    if result.gap is None or result.gap.conformance_probability is None:
        return "borderline"
    return f"borderline: gap inside with {percent(result.gap.conformance_probability)}"


def _clockwise(result: CheckResult | SavedResult) -> bool:
    """Which way the arrow turns; clockwise also where no turn is called for."""
    return "counter-clockwise" not in result.turns.instruction.split(",")[0]


def _corners(x: float, y: float, radius_px: float, count: int, start_rad: float) -> np.ndarray:
    angles = start_rad + 2.0 * pi * np.arange(count) / count
    return np.column_stack([x + radius_px * np.cos(angles), y + radius_px * np.sin(angles)])


def _sign(colour: Colour, radius_px: float) -> Stroke:
    return Stroke(colour, round(0.2 * radius_px), edge_px=0)


def _turning_arrow(
    canvas: Surface, x: float, y: float, radius_px: float, colour: Colour, *, clockwise: bool
) -> None:
    """Three quarters of a circle with a head at its end."""
    mirror = 1.0 if clockwise else -1.0
    angles = np.radians(np.linspace(-215.0, 30.0, 40))
    arc = np.column_stack([x + mirror * radius_px * np.cos(angles), y + radius_px * np.sin(angles)])
    canvas.line(arc, Stroke(colour, round(0.34 * radius_px), edge_px=0))
    end_rad, wide = float(angles[-1]), 0.56 * radius_px
    outward = np.array([mirror * cos(end_rad), sin(end_rad)])
    ahead = np.array([-mirror * sin(end_rad), cos(end_rad)])
    head = np.array([wide * outward, -wide * outward, 1.1 * wide * ahead])
    canvas.polygon(arc[-1] + head, colour)
