"""Below the photo: the key to the lines, the figures, where the picture comes from, the caution."""

from __future__ import annotations

import numpy as np

from rigvision.decision.result import CheckResult
from rigvision.evidence import Evidence
from rigvision.ground.conventions import FloatArray
from rigvision.ground.shown import one_line
from rigvision.report.canvas import (
    GREY,
    INK,
    WHITE,
    Canvas,
    Colour,
    Stroke,
    font,
    shortened,
    wrapped,
)
from rigvision.report.figure_rows import FigureRow, figure_rows
from rigvision.report.overlay import (
    DOOR,
    INDEX,
    MARK_REFUSED,
    MARK_UNSEEN,
    MARK_USED,
    SILL,
    SOCKET,
    YOKE,
)
from rigvision.report.wording import CAUTION, place, title

KEY_PX, FIGURE_PX, ORIGIN_PX = 42, 46, 42
PAD_PX = 40
ORIGIN_GROUND: Colour = (46, 46, 50)


def draw_key(result: CheckResult, evidence: Evidence, width_px: int) -> Canvas:
    """A sample of every kind of line that is drawn on this photo, with its name."""
    rows: list[list[tuple[str, Stroke]]] = [[]]
    x = float(PAD_PX)
    for name, stroke in _kinds(result, evidence):
        needed = 130 + font(KEY_PX).getlength(name) + 50
        if x + needed > width_px and rows[-1]:
            rows.append([])
            x = float(PAD_PX)
        rows[-1].append((name, stroke))
        x += needed
    canvas = Canvas(width_px, round(1.45 * KEY_PX * len(rows)) + 24 if rows[0] else 1)
    for index, row in enumerate(rows):
        _draw_key_row(canvas, row, 12 + 1.45 * KEY_PX * (index + 0.5))
    return canvas


def _draw_key_row(canvas: Canvas, row: list[tuple[str, Stroke]], y: float) -> None:
    x = float(PAD_PX)
    for name, stroke in row:
        for piece in _sample(stroke, x, y):
            canvas.line(piece, stroke)
        canvas.text(x + 130.0, y, name, font(KEY_PX), WHITE, anchor="lm")
        x += 130.0 + font(KEY_PX).getlength(name) + 50.0


def _sample(stroke: Stroke, x: float, y: float) -> list[FloatArray]:
    """A piece of the line; for index lines the two ticks that stand at their ends."""
    if stroke is not INDEX:
        return [np.array([[x, y], [x + 110.0, y]])]
    return [np.array([[x + at, y - 13.0], [x + at, y + 13.0]]) for at in (12.0, 98.0)]


def _kinds(result: CheckResult, evidence: Evidence) -> list[tuple[str, Stroke]]:
    kinds: list[tuple[str, Stroke]] = []
    if evidence.slot and len(evidence.slot.stations) > 1:
        kinds += [("door edge", DOOR), ("sill edge", SILL)]
    if evidence.yoke and evidence.yoke.yoke:
        kinds.append(("yoke centreline", YOKE))
    if evidence.yoke and evidence.yoke.socket:
        kinds.append(("socket axis", SOCKET))
        if evidence.yoke.socket.index_angles_rad:
            kinds.append(("socket's index line", INDEX))
    if evidence.marks and evidence.marks.measured:
        kinds.append(("mark used" if evidence.pose else "mark found", MARK_USED))
    if result.view.marks_refused or (evidence.marks and evidence.marks.unreadable):
        kinds.append(("mark refused", MARK_REFUSED))
    if evidence.marks and evidence.pose and evidence.gauge:
        seen = {*evidence.marks.ids, *evidence.marks.unreadable, *result.view.marks_refused}
        if set(evidence.gauge.marks.centres_mm) - seen:
            kinds.append(("mark not seen", MARK_UNSEEN))
    return kinds


def draw_figures(result: CheckResult, width_px: int, height_px: int) -> Canvas:
    """Name, value and limit of every figure; what is out is marked and bold."""
    canvas = Canvas(width_px, height_px)
    rows = figure_rows(result)
    step = min(1.5 * FIGURE_PX, height_px / max(1, len(rows)))
    for index, row in enumerate(rows):
        _draw_figure(canvas, row, step * (index + 0.5))
    return canvas


def _draw_figure(canvas: Canvas, row: FigureRow, y: float) -> None:
    name, value = font(FIGURE_PX, row.out), font(FIGURE_PX, row.out)
    canvas.text(0, y, "◆" if row.out else "", name, WHITE, anchor="lm")
    canvas.text(54, y, row.short_name, name, WHITE if row.out else GREY, anchor="lm")
    canvas.text(270, y, row.value, value, WHITE, anchor="lm")
    canvas.text(canvas.width_px - PAD_PX, y, row.short_limit, font(40), GREY, anchor="rm")


def draw_strip(result: CheckResult, width_px: int) -> Canvas:
    """Frame, door, gauge, time; hash, version, file; and the caution."""
    room = width_px - 2 * PAD_PX
    face = font(ORIGIN_PX)
    lines = [shortened(one_line(words), face, room) for words in _origin(result)]
    caution = wrapped(CAUTION, font(ORIGIN_PX, True), room)
    step = 1.4 * ORIGIN_PX
    canvas = Canvas(width_px, round(step * (len(lines) + len(caution))) + 76, ORIGIN_GROUND)
    y = 26.0
    for line in lines:
        canvas.text(PAD_PX, y, line, face, WHITE)
        y += step
    caution_top = round(y + 8)
    canvas.box(0, caution_top, width_px, canvas.height_px, WHITE)
    for index, line in enumerate(caution):
        canvas.text(PAD_PX, caution_top + 14 + step * index, line, font(ORIGIN_PX, True), INK)
    return canvas


def _origin(result: CheckResult) -> tuple[str, ...]:
    taken_at = result.photo.taken_at
    taken = f"taken {taken_at.replace('T', ' ')}" if taken_at else "time taken unknown"
    name = result.photo.name
    if title(result) != name:
        name = f"{name}, one of {title(result)}"
    return (
        f"{place(result)}   {taken}",
        f"photo {result.photo.sha256[:12]}   rigvision {result.version}   {name}",
    )
