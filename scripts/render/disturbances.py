"""The table of disturbances: names as in rigvision's own synthetic photographs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from .disturbed import (
    Circumstances,
    Disturbance,
    lens,
    looked,
    marks_outside,
    phoned,
    px,
    smaller,
    staged,
    strip_beside,
    toward_eye,
    viewed,
    whole_gauge,
)
from .shots import Shot
from .staged import (
    Bead,
    EdgeShadow,
    Glare,
    Gouge,
    Grains,
    HalfShadow,
    Panel,
    Patch,
    Sheet,
    Spot,
    StripLamp,
)

#: How far in front of the marks plane a rag's lowest folds lie, mm.
RAG_Z_MM = 0.6
#: How much further than the outermost station it hides a rag reaches, mm.
RAG_PAST_MM = 4.5


def _rag_over_gap(shot: Shot, c: Circumstances) -> Shot:
    stations, number = c.rig.stations_x, c.of(1, 3, 6)
    first = int(c.rng.integers(0, len(stations) - number + 1))
    low, high = stations[first], stations[first + number - 1]
    y0, y1 = c.rig.sill_edge_y - 5.0, c.rig.window_gap_y[1] + 6.0
    seen = ((low + high) / 2, (y0 + y1) / 2)
    place = toward_eye(shot.view, seen, RAG_Z_MM, c.rig.face_z)
    rag = Sheet(place, (high - low + 2 * RAG_PAST_MM, y1 - y0), RAG_Z_MM)
    return staged(shot, sheets=(rag,))


def _grease(shot: Shot, c: Circumstances) -> Shot:
    length = c.of(8.0, 20.0, 55.0)
    bead = Bead(
        body=c.body(),
        at_x_mm=c.between(-36 + length / 2, 36 - length / 2),
        length_mm=length,
        into_gap_mm=c.of(0.15, 0.35, 0.6) * shot.state.gap,
        on_face_mm=c.of(1.0, 2.0, 3.0),
        height_mm=c.of(0.15, 0.3, 0.5),
    )
    return staged(shot, beads=(bead,))


def _scratches(shot: Shot, c: Circumstances) -> Shot:
    gouges = []
    for _ in range(c.of(1, 2, 5)):
        length = c.of(30.0, 60.0, 80.0)
        gouges.append(
            Gouge(
                c.body(),
                c.between(0.7, 3.0),
                c.between(-0.006, 0.006),
                c.between(-0.5, 0.5) * (84.0 - length),
                length,
                c.of(0.1, 0.2, 0.35),
                c.of(0.03, 0.08, 0.15),
            )
        )
    return staged(shot, gouges=tuple(gouges))


def _bright_edges(shot: Shot, c: Circumstances) -> Shot:
    shot = looked(shot, soil="clean")
    lamp = StripLamp(c.sign(), c.of(0.7, 2.0, 5.0))
    return staged(shot, polish_mm=c.of(0.1, 0.2, 0.35), lighting=lamp)


def _dust(shot: Shot, c: Circumstances) -> Shot:
    return staged(shot, grains=Grains(c.of(30, 120, 400), c.of(0.15, 0.3, 0.6)))


def _shadow_along_edge(shot: Shot, c: Circumstances) -> Shot:
    away = c.between(*c.of((2.5, 4.0), (1.0, 2.5), (0.3, 1.2)))
    shadow = EdgeShadow(c.body(), away, c.of(40.0, 14.0, 6.0), c.of(0.7, 0.22, 0.07))
    return staged(shot, lighting=shadow)


def _glare_on_edges(shot: Shot, c: Circumstances) -> Shot:
    shot = looked(shot, sill=str(c.rng.choice(["machined", "brushed"])), soil="clean")
    glare = Glare(c.between(-25, 25), c.of(1.0, 4.0, 14.0), c.of(8.0, 16.0, 40.0))
    return phoned(staged(shot, lighting=glare), exposure_ev=c.of(0.0, 0.2, 0.4))


def _reflection(shot: Shot, c: Circumstances) -> Shot:
    shot = looked(shot, door="dark paint", soil="clean", light="hangar")
    panel = Panel(c.between(1.0, 7.0), 2.5)
    return staged(shot, coat_ior=c.of(1.9, 3.0, 4.0), panel=panel)


def _light_duct(shot: Shot, c: Circumstances) -> Shot:
    shot = looked(shot, door="grey paint", slot="white")
    return staged(shot, door_albedo=c.between(0.4, 0.6), duct_over_door=c.of(0.5, 0.9, 1.6))


def _dark_door(shot: Shot, c: Circumstances) -> Shot:
    shot = looked(shot, door="dark paint", slot="sooted")
    return staged(shot, door_albedo=c.of(0.10, 0.06, 0.035))


def _marks_dirty(shot: Shot, c: Circumstances) -> Shot:
    half, patches = c.rig.mark_size / 2, []
    for _, x, y in c.marks(c.of(2, 4, 6)):
        radius = half * c.of(0.55, 0.8, 1.3)
        albedo = c.between(0.04, 0.12) if c.rng.random() < 0.5 else c.between(0.3, 0.55)
        centre = (x + c.between(-half, half), y + c.between(-half, half))
        size, turn = (2 * radius, 2 * radius * c.between(0.6, 1.0)), c.between(0, 180)
        patches.append(Patch(centre, size, turn, albedo, c.of(0.35, 0.6, 0.92), ragged=True))
    return staged(shot, patches=tuple(patches))


def _marks_covered(shot: Shot, c: Circumstances) -> Shot:
    marks = c.marks(c.of(1, 3, 4))
    cover = tuple((tag, "tape" if c.rng.random() < 0.5 else "rag") for tag, _, _ in marks)
    return looked(shot, cover=cover)


def _false_border(shot: Shot, c: Circumstances) -> Shot:
    marks = c.marks(c.of(1, 2, 3))
    return staged(shot, patches=tuple(strip_beside(m, c.rig, c) for m in marks))


def _shadow_across(shot: Shot, c: Circumstances) -> Shot:
    through = (c.between(-15, 15), c.between(-10, 10))
    return staged(
        shot,
        lighting=HalfShadow(
            through, c.between(-180, 180), c.of(3.0, 1.0, 0.4), c.of(0.9, 0.3, 0.08)
        ),
    )


def _torch_spot(shot: Shot, c: Circumstances) -> Shot:
    centre = (c.between(-10, 10), c.between(0, 20))
    return staged(shot, lighting=Spot(centre, c.of(60.0, 35.0, 18.0), c.of(0.12, 0.06, 0.02)))


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


def _defocus(shot: Shot, c: Circumstances) -> Shot:
    return viewed(shot, defocus_mm=shot.view.focus_beyond_mm(px(shot, c.of(5.0, 10.0, 28.0))))


def _motion_blur(shot: Shot, c: Circumstances) -> Shot:
    length = px(shot, c.of(2.0, 5.0, 16.0))
    return phoned(shot, motion_px=length, motion_deg=c.between(0, 180))


def _over_exposed(shot: Shot, c: Circumstances) -> Shot:
    """The phone puts pads at 0.8 of full scale at most."""
    return phoned(shot, exposure_ev=float(np.log2(c.of(1.15, 2.0, 5.0) / 0.8)))


def _dark(shot: Shot, c: Circumstances) -> Shot:
    ev = float(np.log2(c.of(0.20, 0.07, 0.02) / 0.8))
    return phoned(shot, exposure_ev=ev, iso=c.of(400, 800, 1600))


def _far(shot: Shot, c: Circumstances) -> Shot:
    return viewed(shot, distance_mm=c.of(480.0, 700.0, 1100.0) * c.between(0.93, 1.07))


def _oblique(shot: Shot, c: Circumstances) -> Shot:
    view = replace(
        shot.view,
        tilt_deg=c.of(36.0, 46.0, 60.0) + c.between(-2, 2),
        distance_mm=c.between(200, 280),
    )
    return replace(shot, view=whole_gauge(view, c.rig))


def _wide_lens(shot: Shot, c: Circumstances) -> Shot:
    focal, near, k1 = c.of((16, 130.0, -0.02), (14, 105.0, -0.03), (13, 80.0, -0.04))
    return replace(shot, view=lens(shot.view, focal, near, k1, c.rig))


def _cut_off(shot: Shot, c: Circumstances) -> Shot:
    """Aimed away until so many marks are outside, some random way or else any that does."""
    wanted = c.of((1,), (2, 3), (4, 5))
    near = replace(shot.view, distance_mm=min(shot.view.distance_mm, c.between(190, 240)))
    start = c.between(0, 2 * np.pi)
    for way in start + np.radians(np.arange(0, 360, 7.0)):
        for away in np.arange(0, 140, 1.5):
            aim = (float(away * np.cos(way)), float(away * np.sin(way)))
            view = replace(near, aim_mm=aim)
            if len(marks_outside(view, c.rig)) in wanted:
                return replace(shot, view=view)
    raise ValueError("no aim leaves so many marks outside the picture")


def _recompressed(shot: Shot, c: Circumstances) -> Shot:
    quality = c.of(60, 35, 15)
    return phoned(shot, earlier_quality=quality, quality=quality)


def _messenger(shot: Shot, c: Circumstances) -> Shot:
    width, quality = c.of((1600, 75), (1280, 65), (960, 50))
    return phoned(smaller(shot, width), quality=quality, exif=False, blur_px=0.45)


def _exif_missing(shot: Shot, c: Circumstances) -> Shot:
    if c.strength == 1:
        return phoned(shot, exif_focal=False)
    if c.strength == 3:
        view = lens(shot.view, int(c.rng.integers(15, 19)), 130.0, 0.0, c.rig)
        shot = replace(shot, view=view)
    return phoned(shot, exif=False)


EDGES = (
    Disturbance(
        name="rag-over-gap",
        strengths=("a rag hides 1 station of 7", "3 stations", "6 stations"),
        accepted_codes=("edge-hidden",),
        change=_rag_over_gap,
    ),
    Disturbance(
        name="grease-on-edge",
        strengths=(
            "a bead over 8 mm of an edge, 15 % into the gap",
            "over 20 mm, 35 % into it",
            "over 55 mm, 60 % into it",
        ),
        accepted_codes=("edge-hidden", "uncertainty-too-large"),
        change=_grease,
    ),
    Disturbance(
        name="scratches",
        strengths=(
            "one along the gap, 0.1 mm wide and 30 mm long",
            "two, 0.2 mm wide and 60 mm long",
            "five, 0.35 mm wide and 80 mm long",
        ),
        accepted_codes=("edge-hidden", "uncertainty-too-large"),
        change=_scratches,
    ),
    Disturbance(
        name="bright-edges",
        strengths=("polished over 0.1 mm under a strong lamp", "over 0.2 mm", "over 0.35 mm"),
        accepted_codes=("glare", "edge-hidden", "uncertainty-too-large"),
        change=_bright_edges,
    ),
    Disturbance(
        name="dust-on-edges",
        strengths=(
            "30 grains an edge, up to 0.3 mm across",
            "120 grains, up to 0.6 mm",
            "400 grains, up to 1.2 mm",
        ),
        accepted_codes=("edge-hidden", "uncertainty-too-large"),
        change=_dust,
    ),
    Disturbance(
        name="light-duct",
        strengths=("a duct 0.5 times as bright as the light door", "0.9 times", "1.6 times"),
        accepted_codes=("edge-hidden", "uncertainty-too-large"),
        change=_light_duct,
    ),
    Disturbance(
        name="dark-door",
        strengths=("the primer reflects 10 % before a dark duct", "6 %", "3.5 %"),
        accepted_codes=("edge-hidden", "too-dark", "uncertainty-too-large"),
        change=_dark_door,
    ),
)

LIGHT = (
    Disturbance(
        name="shadow-along-edge",
        strengths=(
            "its border 2.5 to 4 mm off an edge, soft, half light beside it",
            "1 to 2.5 mm off",
            "0.3 to 1.2 mm off, sharp, hardly any light beside it",
        ),
        accepted_codes=("edge-hidden", "too-dark", "uncertainty-too-large"),
        change=_shadow_along_edge,
    ),
    Disturbance(
        name="glare-on-edges",
        strengths=("a lamp's mirror image on the faces", "4 times the light", "14 times"),
        accepted_codes=("glare", "edge-hidden", "uncertainty-too-large", "too-bright"),
        change=_glare_on_edges,
    ),
    Disturbance(
        name="reflection",
        strengths=("a clear coat mirrors 10 %", "25 %", "36 %"),
        accepted_codes=("edge-hidden", "glare", "uncertainty-too-large"),
        change=_reflection,
    ),
    Disturbance(
        name="shadow-across",
        strengths=("half the gauge in soft shade", "in deep shade", "nearly black"),
        accepted_codes=("too-dark", "too-few-marks", "edge-hidden", "yoke-hidden"),
        change=_shadow_across,
    ),
    Disturbance(
        name="torch-spot",
        strengths=("half the torch's light 60 mm off its middle", "35 mm off", "18 mm off"),
        accepted_codes=("too-dark", "too-few-marks", "no-gauge", "edge-hidden", "yoke-hidden"),
        change=_torch_spot,
    ),
)

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

PHONE = (
    Disturbance(
        name="defocus",
        strengths=("a blur spot of 5 px at 4000 px width", "10 px", "28 px, or as much as can be"),
        accepted_codes=("blurred", "no-gauge", "too-few-marks", "uncertainty-too-large"),
        change=_defocus,
    ),
    Disturbance(
        name="motion-blur",
        strengths=("moved by 2 px at 4000 px width", "5 px", "16 px"),
        accepted_codes=("blurred", "no-gauge", "too-few-marks", "uncertainty-too-large"),
        change=_motion_blur,
    ),
    Disturbance(
        name="over-exposed",
        strengths=("pads at 1.15 of full scale", "at 2", "at 5"),
        accepted_codes=("too-bright", "glare", "edge-hidden", "no-gauge", "too-few-marks"),
        change=_over_exposed,
    ),
    Disturbance(
        name="dark",
        strengths=("pads at 20 % of full scale at most", "at 7 %", "at 2 %"),
        accepted_codes=("too-dark", "no-gauge", "too-few-marks", "uncertainty-too-large"),
        change=_dark,
    ),
)

VIEW = (
    Disturbance(
        name="far",
        strengths=("480 mm away", "700 mm", "1100 mm"),
        accepted_codes=("too-far", "no-gauge", "too-few-marks", "uncertainty-too-large"),
        change=_far,
    ),
    Disturbance(
        name="oblique",
        strengths=("36 deg off square", "46 deg", "60 deg"),
        accepted_codes=("too-oblique", "no-gauge", "too-few-marks", "edge-hidden", "yoke-hidden"),
        change=_oblique,
    ),
    Disturbance(
        name="wide-lens",
        strengths=(
            "16 mm equivalent, k1 -0.02, from about 130 mm",
            "14 mm, k1 -0.03, about 105 mm",
            "13 mm, k1 -0.04, about 80 mm",
        ),
        accepted_codes=("marks-disagree", "uncertainty-too-large", "too-few-marks", "too-oblique"),
        change=_wide_lens,
    ),
    Disturbance(
        name="cut-off",
        strengths=("1 mark of 8 outside", "2 or 3 marks", "4 or 5 marks"),
        accepted_codes=(
            "gauge-cut-off",
            "too-few-marks",
            "no-gauge",
            "edge-hidden",
            "yoke-hidden",
            "uncertainty-too-large",
        ),
        change=_cut_off,
    ),
)

FILE = (
    Disturbance(
        name="recompressed",
        strengths=("twice at quality 60", "at 35", "at 15"),
        accepted_codes=(
            "recompressed",
            "blurred",
            "marks-disagree",
            "edge-hidden",
            "uncertainty-too-large",
        ),
        change=_recompressed,
    ),
    Disturbance(
        name="messenger",
        strengths=("1600 px, quality 75, no EXIF", "1280 px, 65", "960 px, 50"),
        accepted_codes=(
            "too-far",
            "recompressed",
            "blurred",
            "no-gauge",
            "uncertainty-too-large",
        ),
        change=_messenger,
    ),
    Disturbance(
        name="exif-missing",
        strengths=("no focal length", "no EXIF", "no EXIF, and a wide lens"),
        accepted_codes=("uncertainty-too-large", "too-far", "marks-disagree"),
        change=_exif_missing,
    ),
)

DISTURBANCES: tuple[Disturbance, ...] = (*EDGES, *LIGHT, *MARKS, *PHONE, *VIEW, *FILE)
