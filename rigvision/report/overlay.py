"""What was found in the photo, drawn over it: marks, edges, yoke, socket, scale.

Every kind of line differs in colour (Okabe-Ito) and in its pattern, so that a
black-and-white print tells them apart too.
"""

from __future__ import annotations

from math import cos, sin, tan

import numpy as np

from rigvision.decision.result import CheckResult
from rigvision.evidence import Evidence
from rigvision.ground.conventions import FloatArray
from rigvision.report.canvas import INK, WHITE, Canvas, Stroke, font
from rigvision.report.framing import Framing
from rigvision.vision.slot import SlotEdges
from rigvision.vision.view import View
from rigvision.vision.yoke import SocketPlace, YokePlace
from rigvision.world.frame import Socket
from rigvision.world.gauge import Gauge, Yoke

SILL = Stroke((240, 228, 66), 4)
DOOR = Stroke((86, 180, 233), 4, (26.0, 14.0))
YOKE = Stroke((230, 159, 0), 5, (44.0, 12.0, 8.0, 12.0))
SOCKET = Stroke((255, 150, 205), 5, (8.0, 11.0))
INDEX = Stroke(WHITE, 7)
MARK_USED = Stroke((60, 220, 165), 4)
MARK_REFUSED = Stroke((255, 120, 40), 6, (20.0, 12.0))
MARK_UNSEEN = Stroke(WHITE, 3, (5.0, 13.0))

#: How far an axis is drawn beyond the part that shows it.
AXIS_OVERHANG_MM = 4.0
#: A length that is easy to compare with a ruler.
SCALE_BAR_MM = 10.0


def draw_marks(canvas: Canvas, framing: Framing, result: CheckResult, evidence: Evidence) -> None:
    """Used: solid. Refused: dashed with a cross and the id. Not seen: dotted, where it must be."""
    if evidence.marks is None:
        return
    refused = set(result.view.marks_refused) | set(evidence.pose.refused if evidence.pose else ())
    for mark in evidence.marks.measured:
        corners = framing.shown(mark.corners_px)
        if mark.mark_id in refused:
            _draw_refused(canvas, corners, mark.mark_id)
        else:
            canvas.line(_closed(corners), MARK_USED)
    if evidence.pose is None or evidence.gauge is None:
        return
    measured = {m.mark_id for m in evidence.marks.measured}
    for mark_id in sorted(set(evidence.gauge.marks.centres_mm) - measured):
        corners = framing.shown(
            evidence.pose.view.project(evidence.gauge.marks.corners_mm(mark_id))
        )
        if mark_id in refused or mark_id in evidence.marks.unreadable:
            _draw_refused(canvas, corners, mark_id)
        else:
            canvas.line(_closed(corners), MARK_UNSEEN)


def draw_edges(canvas: Canvas, framing: Framing, slot: SlotEdges, view: View) -> None:
    """Sill and door edge through the stations, each line on its own side: the gap stays free."""
    if len(slot.stations) < 2:
        return
    for stroke, ys, outward in (
        (SILL, [s.sill_y_mm for s in slot.stations], 1.0),
        (DOOR, [s.door_y_mm for s in slot.stations], -1.0),
    ):
        points = [[s.x_mm, y, slot.plane_z_mm] for s, y in zip(slot.stations, ys, strict=True)]
        shown = framing.shown(view.project(np.array(points)))
        shown[:, 1] += outward * (stroke.width_px / 2.0 + stroke.edge_px)
        canvas.line(shown, stroke)


def draw_yoke(canvas: Canvas, framing: Framing, place: YokePlace, yoke: Yoke, view: View) -> None:
    """The yoke's centreline, from its back end to beyond its shoulder."""
    along = np.array([cos(place.angle_rad), sin(place.angle_rad), 0.0])
    reach = np.array([[-yoke.body_length_mm], [AXIS_OVERHANG_MM]])
    canvas.line(framing.shown(view.project(place.shoulder_mm + reach * along)), YOKE)


def draw_socket(
    canvas: Canvas,
    framing: Framing,
    place: SocketPlace,
    socket: Socket,
    view: View,
    axis_z_mm: float,
) -> None:
    """The socket's axis and its index lines.

    The axis is drawn at ``axis_z_mm``, the yoke's face: seen at an angle, a line at the
    axis' own depth would look off the yoke's even where the two are in line.
    """
    xs = np.array([socket.face_x_mm - AXIS_OVERHANG_MM, socket.barrel_end_x_mm])
    axis = np.column_stack([xs, _axis_y_mm(place, xs), np.full(2, axis_z_mm)])
    canvas.line(framing.shown(view.project(axis)), SOCKET)
    if socket.index_line_length_mm is None:
        return
    start_mm = place.face_x_mm if place.face_x_mm is not None else socket.face_x_mm
    xs = np.array([start_mm, start_mm + socket.index_line_length_mm])
    for angle_rad in place.index_angles_rad:
        y_mm = _axis_y_mm(place, xs) + socket.radius_mm * sin(angle_rad)
        z_mm = float(place.axis_mm[2]) + socket.radius_mm * cos(angle_rad)
        line = framing.shown(view.project(np.column_stack([xs, y_mm, np.full(2, z_mm)])))
        _bracket(canvas, line)


def draw_scale_bar(canvas: Canvas, framing: Framing, gauge: Gauge, view: View) -> None:
    """10 mm lying in the plane of the marks, between the windows: two halves, dark and light."""
    windows = sorted((gauge.windows.gap_y_mm, gauge.windows.yoke_y_mm))
    y_mm = (windows[0][1] + windows[1][0]) / 2.0
    x_mm = sum(gauge.plate.x_mm) / 2.0
    half, thick = SCALE_BAR_MM / 2.0, SCALE_BAR_MM / 14.0
    rims = [(-half - rim, half + rim, thick + rim, c) for rim, c in ((0.5, INK), (0.25, WHITE))]
    for x0, x1, t, colour in (*rims, (-half, 0.0, thick, INK), (0.0, half, thick, WHITE)):
        corners = [[x0, -t, 0.0], [x1, -t, 0.0], [x1, t, 0.0], [x0, t, 0.0]]
        points = np.array(corners) + np.array([x_mm, y_mm, 0.0])
        canvas.polygon(framing.shown(view.project(points)), colour)
    end = framing.shown(view.project(np.array([[x_mm + half + 2.0, y_mm, 0.0]])))[0]
    label(canvas, float(end[0]), float(end[1]), f"{SCALE_BAR_MM:.0f} mm", 46, anchor="lm")


def label(
    canvas: Canvas,
    x: float,
    y: float,
    words: str,
    size_px: int,
    anchor: str = "mm",
    inverse: bool = False,
) -> None:
    """Text on a plate of its own, so that it reads on any photo."""
    face = font(size_px, bold=True)
    left, top, right, bottom = label_box(x, y, words, size_px, anchor)
    canvas.box(left, top, right, bottom, WHITE if inverse else INK)
    canvas.text(x, y, words, face, INK if inverse else WHITE, anchor)


def label_box(
    x: float, y: float, words: str, size_px: int, anchor: str = "mm"
) -> tuple[int, int, int, int]:
    """Left, top, right, bottom of a label with its plate."""
    left, top, right, bottom = font(size_px, bold=True).getbbox(words, anchor=anchor)
    pad = round(0.16 * size_px)
    return (
        round(x + left) - pad,
        round(y + top) - pad,
        round(x + right) + pad,
        round(y + bottom) + pad,
    )


def _draw_refused(canvas: Canvas, corners: FloatArray, mark_id: int) -> None:
    canvas.line(_closed(corners), MARK_REFUSED)
    for ends in (corners[[0, 2]], corners[[1, 3]]):
        canvas.line(ends, MARK_REFUSED)
    x, y = corners.mean(axis=0)
    label(canvas, float(x), float(y), str(mark_id), 40)


def _bracket(canvas: Canvas, line: FloatArray) -> None:
    """A painted line (2, 2), marked at both ends so that the paint itself stays visible."""
    along = (line[1] - line[0]) / np.linalg.norm(line[1] - line[0])
    across = 13.0 * np.array([-along[1], along[0]])
    for end in line:
        canvas.line(np.stack([end - across, end + across]), INDEX)


def _axis_y_mm(place: SocketPlace, xs_mm: FloatArray) -> FloatArray:
    return np.asarray(place.axis_mm[1] + (xs_mm - place.axis_mm[0]) * tan(place.angle_rad))


def _closed(corners: FloatArray) -> FloatArray:
    return np.concatenate([corners, corners[:1]])
