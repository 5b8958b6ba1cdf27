"""Disturbances of the marks, the yoke and the socket: dirt, covers, false borders."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from rigvision.synthetic.camera import F32
from rigvision.synthetic.case import Case
from rigvision.synthetic.disturbed_light import with_films
from rigvision.synthetic.edge_films import ramp, stretch
from rigvision.synthetic.film import ON_PLATE, Drawing, Field, Film, Sheet, moved
from rigvision.synthetic.staging import Circumstances, Disturbance
from rigvision.world.model import Range

#: Modules along one side of a tag of the family 36h11, border included.
MODULES = 8


def some_marks(c: Circumstances, number: int) -> list[int]:
    """Ids of so many marks of the plate, at random."""
    marks = sorted(c.gauge.marks.centres_mm)
    return [int(m) for m in c.rng.choice(marks, min(number, len(marks)), replace=False)]


def _dirty(case: Case, c: Circumstances) -> Case:
    films = [_patch(c, mark) for mark in some_marks(c, c.of(2, 4, 6))]
    return with_films(case, *films)


def _patch(c: Circumstances, mark: int) -> Film:
    """A smear with lobes and a soft border over part of one mark: dark grease or pale dust."""
    half = c.gauge.marks.size_mm / 2
    radius_mm, hides = half * c.of(0.55, 0.8, 1.3), c.of(0.35, 0.6, 0.92)
    centre = np.asarray(c.gauge.marks.centres_mm[mark]) + c.rng.uniform(-half, half, 2)
    reach = 1.8 * radius_mm
    phase, soft = c.between(0.0, 2 * np.pi), c.between(0.1, 0.6) * radius_mm

    def smear(x: F32, y: F32) -> F32:
        around = np.arctan2(y, x)
        lobes = 1 + 0.25 * np.sin(3 * around + phase) + 0.12 * np.sin(7 * around - phase)
        return np.asarray(
            hides * ramp(np.asarray(radius_mm * lobes - np.hypot(x, y), np.float32), soft),
            np.float32,
        )

    field = Field((-reach, reach), (-reach, reach), (0.1, 0.1), (centre[0], centre[1]))
    albedo = c.between(0.04, 0.12) if c.either() else c.between(0.3, 0.55)
    return Film.drawn(field, ON_PLATE, opacity=smear, albedo=albedo)


def _covered(case: Case, c: Circumstances) -> Case:
    marks = some_marks(c, int(c.rng.choice(c.of((1,), (2, 3), (4,)))))
    return replace(case, scene=replace(case.scene, covered_marks=tuple(sorted(marks))))


def _false_border(case: Case, c: Circumstances) -> Case:
    """Something as dark as ink beside a border, or as bright as the pad on it."""
    films = [_strip(case, c, mark) for mark in some_marks(c, c.of(1, 2, 3))]
    return with_films(case, *films)


def _strip(case: Case, c: Circumstances, mark: int) -> Film:
    half = c.gauge.marks.size_mm / 2
    module_mm = c.gauge.marks.size_mm / MODULES
    dark = c.either()
    modules = c.between(*c.of((0.5, 0.7), (0.6, 1.0), (1.0, 2.0)))
    # A bright strip may not hide the whole border: the tag would no longer decode.
    width_mm = module_mm * (modules if dark else min(modules, 0.85))
    inner, outer = (half, half + width_mm) if dark else (half - width_mm, half + 0.1)
    from_x, to_x = _stretch_of_side(c, half, outer)

    def strip(x: F32, y: F32) -> F32:
        return stretch(x, from_x, to_x, 0.04) * stretch(y, inner, outer, 0.04)

    reach = half + 2.5 * module_mm
    field = Field(
        (-reach, reach),
        (inner - 0.3, outer + 0.3),
        (0.05, 0.02),
        c.gauge.marks.centres_mm[mark],
        90.0 * float(c.rng.integers(4)),
    )
    surfaces = case.scene.surfaces
    albedo = surfaces.ink if dark else surfaces.pad
    return Film.drawn(field, ON_PLATE, opacity=strip, albedo=albedo, fine=True)


def _stretch_of_side(c: Circumstances, half: float, outer: float) -> Range:
    """The whole side with its corners, or the third of it at one corner."""
    if c.rng.random() < 0.6:
        return -outer, outer
    at_end = half / 3, max(half, outer)
    return at_end if c.either() else (-at_end[1], -at_end[0])


def _hidden(
    case: Case, c: Circumstances, field: Field, outline: Drawing, above_mm: float = 0.5
) -> Case:
    """A rag in front of the plate that hides what ``field`` outlines, seen from the camera."""
    x, y = field.grid()
    sheet = Sheet(moved(field, above_mm, case.camera.eye_mm), outline(x, y))
    return replace(case, scene=replace(case.scene, sheets=(*case.scene.sheets, sheet)))


def _rag(x_mm: Range, y_mm: Range, phase: float) -> Drawing:
    """A rectangle with wavy borders that reach at most 0.4 mm past it."""

    def outline(x: F32, y: F32) -> F32:
        wave_x, wave_y = 0.4 * np.sin(0.8 * y + phase), 0.4 * np.sin(0.6 * x - phase)
        across = np.minimum(x - x_mm[0] + wave_x, x_mm[1] - x + wave_x)
        return np.asarray(
            np.minimum(across, np.minimum(y - y_mm[0] + wave_y, y_mm[1] - y + wave_y)), np.float32
        )

    return outline


def _yoke_hidden(case: Case, c: Circumstances) -> Case:
    """From the yoke's far end on: up to its tag, up to the tag's border, all of the tag."""
    yoke = c.gauge.yoke
    if yoke is None or yoke.tag_centre_mm is None or not yoke.tag_pad_mm or not yoke.tag_size_mm:
        return case
    tag_x = yoke.tag_centre_mm[0]
    pad, size = yoke.tag_pad_mm / 2, yoke.tag_size_mm / 2
    until = c.of(tag_x - pad - 1.0, tag_x - size - 0.9, tag_x + pad)
    half = yoke.body_width_mm / 2 + 1.5
    start = -yoke.body_length_mm - 3.0
    field = Field(
        (start - 1.0, until + 1.0),
        (-half - 1.0, half + 1.0),
        (0.1, 0.1),
        case.scene.yoke_shoulder_mm,
        case.scene.yoke_tilt_deg,
        yoke.face_z_mm,
    )
    return _hidden(case, c, field, _rag((start, until), (-half, half), c.between(0.0, 6.0)))


def _socket_hidden(case: Case, c: Circumstances) -> Case:
    """The barrel's far third, all of one limb, all but its face."""
    socket = c.frame.socket
    if socket is None:
        return case
    scene, radius = case.scene, socket.radius_mm
    origin = scene.gauge_from_frame(
        c.frame, socket.face_x_mm, socket.axis_y_mm + scene.socket_offset_y_mm
    )
    length = socket.barrel_end_x_mm - socket.face_x_mm
    side = 1.0 if c.either() else -1.0
    limb = (0.45 * radius, radius + 2.0) if side > 0 else (-radius - 2.0, -0.45 * radius)
    whole = (-radius - 2.0, radius + 2.0)
    x_mm = c.of((0.67 * length, length + 1.0), (-1.0, length + 1.0), (2.0, length + 1.0))
    y_mm = c.of(whole, limb, whole)
    field = Field(
        (x_mm[0] - 1.0, x_mm[1] + 1.0),
        (y_mm[0] - 1.0, y_mm[1] + 1.0),
        (0.1, 0.1),
        origin,
        scene.socket_tilt_deg + scene.sill_tilt_deg,
        socket.axis_z_mm + radius,
    )
    return _hidden(case, c, field, _rag(x_mm, y_mm, c.between(0.0, 6.0)))


MARKS = (
    Disturbance(
        name="marks-dirty",
        says="Grease or dust lies on part of several marks.",
        strengths=(
            "2 marks, patches 8 mm across that hide 35 % of the contrast",
            "4 marks, 11 mm, 60 %",
            "6 marks, 18 mm, 92 %",
        ),
        accepted_codes=("too-few-marks", "no-gauge", "marks-disagree"),
        scene=_dirty,
    ),
    Disturbance(
        name="marks-covered",
        says="Something lies over whole marks.",
        strengths=("one mark of 8", "2 or 3 marks", "4 marks"),
        accepted_codes=("too-few-marks", "no-gauge"),
        scene=_covered,
    ),
    Disturbance(
        name="false-border",
        says="Something as dark as ink or as bright as a pad shifts the border of marks.",
        strengths=(
            "one mark by 0.5 to 0.7 modules",
            "2 marks by 0.6 to 1 modules",
            "3 marks by 1 to 2 modules",
        ),
        accepted_codes=("marks-disagree", "too-few-marks", "no-gauge", "ambiguous-view"),
        scene=_false_border,
    ),
    Disturbance(
        name="yoke-covered",
        says="A rag lies over the yoke.",
        strengths=("up to its tag", "up to the border of its tag", "over the whole tag"),
        accepted_codes=("yoke-hidden",),
        scene=_yoke_hidden,
    ),
    Disturbance(
        name="socket-covered",
        says="A rag lies over the socket.",
        strengths=("over its far third", "over one of its limbs", "over all but its face"),
        accepted_codes=("yoke-hidden", "uncertainty-too-large"),
        scene=_socket_hidden,
    ),
)
