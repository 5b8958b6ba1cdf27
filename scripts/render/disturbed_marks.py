"""Disturbances of marks, yoke and socket: dirt, tape, rags."""

from __future__ import annotations

from .disturbed import (
    RAG_Z_MM,
    Circumstances,
    Disturbance,
    looked,
    metal_around,
    staged,
    strip_beside,
    toward_eye,
)
from .shots import Shot
from .staged import Patch, Sheet


def _marks_dirty(shot: Shot, c: Circumstances) -> Shot:
    half, patches = c.rig.mark_size / 2, []
    for _, x, y in c.marks(c.of(2, 4, 6)):
        radius = half * c.of(0.55, 0.8, 1.3)
        albedo = c.between(0.04, 0.12) if c.rng.random() < 0.5 else c.between(0.3, 0.55)
        centre = (x + c.between(-half, half), y + c.between(-half, half))
        size, turn = (2 * radius, 2 * radius * c.between(0.6, 1.0)), c.between(0, 180)
        patches.append(
            Patch(
                centre, size, turn, albedo, c.of(0.35, 0.6, 0.92), True, metal_around(x, y, c.rig)
            )
        )
    return staged(shot, patches=tuple(patches))


def _marks_covered(shot: Shot, c: Circumstances) -> Shot:
    marks = c.marks(c.of(1, 3, 4))
    cover = tuple((tag, "tape" if c.rng.random() < 0.5 else "rag") for tag, _, _ in marks)
    return looked(shot, cover=cover)


def _false_border(shot: Shot, c: Circumstances) -> Shot:
    marks = c.marks(c.of(1, 2, 3))
    return staged(shot, patches=tuple(strip_beside(m, c.rig, c) for m in marks))


def _yoke_covered(shot: Shot, c: Circumstances) -> Shot:
    """From the yoke's far end to its tag, to the border of its tag, over all of the tag."""
    tag_x, y = c.rig.yoke_tag_centre[0], c.rig.yoke_axis_y
    pad, size = c.rig.yoke_tag_pad / 2, c.rig.yoke_tag_size / 2
    shoulder = c.rig.socket_face_x - shot.state.seat_gap
    # A rag's border wanders by a twentieth of its size; what it must leave free, it leaves.
    until = shoulder + c.of(tag_x - pad - 2.5, tag_x - size - 0.9, tag_x + pad + 2.0)
    start = shoulder - c.rig.yoke_body_length - 9.0
    seen = ((start + until) / 2, y)
    place = toward_eye(shot.view, seen, RAG_Z_MM, c.rig.yoke_face_z)
    return staged(shot, sheets=(Sheet(place, (until - start, 26.0), RAG_Z_MM, fold_mm=1.5),))


def _socket_covered(shot: Shot, c: Circumstances) -> Shot:
    """The barrel's far third, one of its limbs, all but its face."""
    face, end, radius = c.rig.socket_face_x, c.rig.barrel_end_x, c.rig.socket_radius
    x0 = face + c.of(0.67 * (end - face), -1.0, 3.0)
    side = c.sign()
    low, high = c.of((-1.4, 1.4), (0.45, 1.5), (-1.4, 1.4))
    y0, y1 = sorted((side * low * radius, side * high * radius))
    seen = ((x0 + end + 8) / 2, c.rig.socket_axis_y + (y0 + y1) / 2)
    place = toward_eye(shot.view, seen, RAG_Z_MM, c.rig.socket_axis_z + radius)
    return staged(shot, sheets=(Sheet(place, (end + 8 - x0, y1 - y0), RAG_Z_MM, fold_mm=1.5),))


MARKS = (
    Disturbance(
        name="marks-dirty",
        strengths=(
            "2 marks, patches of 8 mm that hide 35 %",
            "4 marks, 11 mm, 60 %",
            "6 marks, 18 mm, 92 %",
        ),
        accepted_codes=("too-few-marks", "no-gauge", "marks-disagree"),
        change=_marks_dirty,
    ),
    Disturbance(
        name="marks-covered",
        strengths=("1 mark of 8", "3 marks", "4 marks"),
        accepted_codes=("too-few-marks", "no-gauge"),
        change=_marks_covered,
    ),
    Disturbance(
        name="false-border",
        strengths=(
            "tape moves a border of 1 mark by 0.5 to 0.7 modules",
            "of 2 marks by 0.6 to 1",
            "of 3 marks by 1 to 2",
        ),
        accepted_codes=("marks-disagree", "too-few-marks", "no-gauge", "ambiguous-view"),
        change=_false_border,
    ),
    Disturbance(
        name="yoke-covered",
        strengths=("a rag up to its tag", "up to its tag's border", "over its whole tag"),
        accepted_codes=("yoke-hidden",),
        change=_yoke_covered,
    ),
    Disturbance(
        name="socket-covered",
        strengths=("a rag over the barrel's far third", "over one limb", "over all but its face"),
        accepted_codes=("yoke-hidden", "uncertainty-too-large"),
        change=_socket_covered,
    ),
)
