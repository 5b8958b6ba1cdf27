"""Disturbances of the gap's edges: what covers, dirties, scratches or polishes them."""

from __future__ import annotations

from .disturbed import RAG_Z_MM, Circumstances, Disturbance, looked, staged, toward_eye
from .shots import Shot
from .staged import Bead, Gouge, Grains, Sheet, StripLamp

#: How much further than the outermost station it hides a rag reaches, mm.
RAG_PAST_MM = 4.5


def _rag_over_gap(shot: Shot, c: Circumstances) -> Shot:
    stations, number = c.rig.stations_x, c.of(1, 3, 6)
    first = int(c.rng.integers(0, len(stations) - number + 1))
    low, high = stations[first], stations[first + number - 1]
    y0, y1 = c.rig.sill_edge_y - 5.0, c.rig.window_gap_y[1] - 1.0
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


def _light_duct(shot: Shot, c: Circumstances) -> Shot:
    shot = looked(shot, door="grey paint", slot="white")
    return staged(shot, door_albedo=c.between(0.4, 0.6), duct_over_door=c.of(0.5, 0.9, 1.6))


def _dark_door(shot: Shot, c: Circumstances) -> Shot:
    shot = looked(shot, door="dark paint", slot="sooted")
    return staged(shot, door_albedo=c.of(0.10, 0.06, 0.035))


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
