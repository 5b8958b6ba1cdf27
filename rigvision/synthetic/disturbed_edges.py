"""Disturbances of the gap and its edges: what covers, dirties, scratches or polishes them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from rigvision.synthetic.bloom import bloomed
from rigvision.synthetic.camera import F32, PhoneCamera
from rigvision.synthetic.case import Case
from rigvision.synthetic.disturbed_light import with_films
from rigvision.synthetic.edge_films import along_door, along_sill, stretch, uneven
from rigvision.synthetic.film import (
    FACES,
    ROUNDS,
    SLOT,
    Drawing,
    Field,
    Film,
    Sheet,
    moved,
)
from rigvision.synthetic.staging import STATED_WIDTH_PX, Circumstances, Disturbance

#: Half of what a rag leaves hidden beyond the outermost station it covers, mm.
RAG_PAST_STATION_MM = 4.0


def stations_covered(strength: int) -> int:
    return (1, 3, 6)[strength - 1]


def _rag_over_gap(case: Case, c: Circumstances) -> Case:
    """A finger or a rag just in front of the plate, hiding whole stations from the eye."""
    stations = c.frame.gap.stations_x_mm
    number = min(stations_covered(c.strength), len(stations))
    first = int(c.rng.integers(0, len(stations) - number + 1))
    low, high = stations[first], stations[first + number - 1]
    middle, half = (low + high) / 2, (high - low) / 2 + RAG_PAST_STATION_MM
    y0, y1 = c.frame.sill.edge_y_mm - 6.0, c.gauge.windows.gap_y_mm[1] - 0.5
    at_gap = Field(
        (-half - 1.0, half + 1.0), (y0, y1), (0.1, 0.1), (middle, 0.0), 0.0, c.frame.sill.face_z_mm
    )
    wave = [c.between(0.0, 2 * np.pi) for _ in range(2)]

    def outline(x: F32, y: F32) -> F32:
        side = half - 0.5 + 0.5 * np.sin(y * 0.9 + wave[0])
        end = y0 + 1.5 + np.sin(x * 0.5 + wave[1]) + 2.5 * (x / half) ** 6
        return np.asarray(np.minimum(side - np.abs(x), y - end), np.float32)

    x, y = at_gap.grid()
    sheet = Sheet(moved(at_gap, 1.0, case.camera.eye_mm), outline(x, y))
    return replace(case, scene=replace(case.scene, sheets=(*case.scene.sheets, sheet)))


def _grease(case: Case, c: Circumstances) -> Case:
    """Thick grease over part of one edge, reaching into the gap."""
    length_mm, hides = c.of((8.0, 0.5), (20.0, 0.85), (55.0, 1.0))
    at_x = c.between(-36.0 + length_mm / 2, 36.0 - length_mm / 2)
    into_gap_mm = c.between(0.2, 0.8) * case.scene.gap_mm
    on_face_mm = c.between(1.0, 3.0)
    on_door = c.either()
    along = along_door if on_door else along_sill
    field = along(case.scene, c.frame, (-4.0, 4.0), (0.1, 0.04), c.frame.sill.face_z_mm)
    outwards = 1.0 if on_door else -1.0
    soft_mm = c.between(0.1, 0.4)
    x, y = field.grid()
    wavy_mm = 0.35 * uneven(x, c.rng, 9.0) + 0.65
    patch = stretch(x, at_x - length_mm / 2, at_x + length_mm / 2, 0.25 * length_mm)
    across = stretch(outwards * y / wavy_mm, -into_gap_mm, on_face_mm, soft_mm)
    film = Film(
        field=field,
        surfaces=FACES | ROUNDS | SLOT,
        opacity=np.asarray(hides * patch * across, np.float32),
        albedo=c.between(0.08, 0.3),
        bridging=True,
    )
    return with_films(case, film)


def _scratches(case: Case, c: Circumstances) -> Case:
    """Pairs of a dark and a bright line on the faces, nearly parallel to the edges."""
    pairs, width_mm, depth = c.of((1, 0.1, 0.3), (2, 0.2, 0.55), (4, 0.3, 0.8))
    films = []
    for number in range(pairs):
        on_door = c.either() if pairs == 1 else number % 2 == 0
        along = along_door if on_door else along_sill
        field = along(case.scene, c.frame, (-4.5, 4.5), (0.1, 0.02))
        field = replace(field, angle_deg=field.angle_deg + c.between(-0.3, 0.3))
        away_mm = (1.0 if on_door else -1.0) * c.between(0.7, 3.0)
        length_mm = c.of(30.0, 60.0, 90.0)
        at_x = c.between(-0.5, 0.5) * (90.0 - length_mm)
        films.append(
            Film.drawn(
                field,
                FACES,
                gain=_scratch(away_mm, width_mm, depth, (at_x, length_mm), c),
                fine=True,
            )
        )
    return with_films(case, *films)


def _scratch(
    away_mm: float, width_mm: float, depth: float, where: tuple[float, float], c: Circumstances
) -> Drawing:
    bright_first = 1.0 if c.either() else -1.0
    at_x, length_mm = where

    def gain(x: F32, y: F32) -> F32:
        here = stretch(x, at_x - length_mm / 2, at_x + length_mm / 2, 4.0)
        worn = here * (0.6 + 0.4 * uneven(x, c.rng, 12.0))
        dark = stretch(y - away_mm, -width_mm / 2, width_mm / 2, 0.04)
        bright_at = away_mm + bright_first * width_mm
        bright = stretch(y - bright_at, -width_mm / 2, width_mm / 2, 0.04)
        return np.asarray(1.0 + worn * depth * (2.5 * bright - dark), np.float32)

    return gain


def _bright_edges(case: Case, c: Circumstances) -> Case:
    """Broken edges worn to a mirror, with a lamp in it: on both edges, brighter on one."""
    width_mm, times = c.of((0.1, 1.0), (0.2, 2.5), (0.3, 7.0))
    face = 0.3  # what metal faces send back, in units of a white pad
    films = []
    for along, outwards, part in ((along_door, 1.0, 1.0), (along_sill, -1.0, c.between(0.0, 1.0))):
        field = along(case.scene, c.frame, (-0.6, 0.6), (0.1, 0.01))
        x, y = field.grid()
        at_mm = outwards * c.between(0.0, 0.15)
        line = stretch(y - at_mm, -width_mm / 2, width_mm / 2, 0.05)
        along_it = 0.3 + 0.7 * uneven(x, c.rng, 25.0)
        glow = np.asarray(part * times * face * along_it * line, np.float32)
        films.append(Film(field=field, surfaces=FACES | ROUNDS, glow=glow, fine=True))
    return with_films(case, *films)


def _slight_bloom(linear: F32, camera: PhoneCamera, c: Circumstances) -> F32:
    scale = max(camera.width_px, camera.height_px) / STATED_WIDTH_PX
    return bloomed(linear, c.of(0.005, 0.01, 0.03), scale)


def _dust(case: Case, c: Circumstances) -> Case:
    """Grains that lie across the edges."""
    number, largest_mm = c.of((15, 0.15), (60, 0.3), (200, 0.6))
    films = []
    for along in (along_door, along_sill):
        field = along(case.scene, c.frame, (-1.5, 1.5), (0.03, 0.03), c.frame.sill.face_z_mm)
        opacity = np.zeros_like(field.grid()[0])
        for _ in range(number):
            _add_grain(opacity, field, c, largest_mm)
        films.append(
            Film(
                field=field,
                surfaces=FACES | ROUNDS | SLOT,
                opacity=opacity,
                albedo=c.between(0.15, 0.6),
                bridging=True,
                fine=True,
            )
        )
    return with_films(case, *films)


def _add_grain(opacity: F32, field: Field, c: Circumstances, largest_mm: float) -> None:
    """One more oval grain into a raster, in place."""
    radius_mm = largest_mm * c.between(0.25, 1.0)
    x_mm, y_mm = c.between(*field.x_mm), c.rng.normal(0.0, 0.35)
    step = field.step_mm[0]
    column, row = (x_mm - field.x_mm[0]) / step, (y_mm - field.y_mm[0]) / step
    reach = int(2 * radius_mm / step) + 2
    left, low = max(0, int(column) - reach), max(0, int(row) - reach)
    part = opacity[low : int(row) + reach + 1, left : int(column) + reach + 1]
    rows, columns = np.indices(part.shape, np.float32)
    dx, dy = (columns + left - column) * step, (rows + low - row) * step
    angle, flat = c.between(0.0, np.pi), c.between(0.5, 1.0)
    u, v = np.cos(angle) * dx + np.sin(angle) * dy, np.cos(angle) * dy - np.sin(angle) * dx
    grain = np.clip((radius_mm - np.hypot(u, v / flat)) / (2 * step) + 0.5, 0, 1)
    np.maximum(part, grain, out=part)


def _light_duct(case: Case, c: Circumstances) -> Case:
    """Daylight in the duct: what is seen through the gap is bright, by the door's brightness."""
    scene = case.scene
    times = c.of(0.5, 0.9, 1.6) * c.between(0.95, 1.05)
    surfaces = replace(scene.surfaces, door=max(scene.surfaces.door, c.between(0.35, 0.6)))
    field = along_sill(scene, c.frame, (-2.0, scene.gap_mm + 2.0), (1.0, 0.1))
    field = replace(field, z_mm=c.frame.sill.face_z_mm)
    bright = Film.drawn(
        field,
        SLOT,
        opacity=lambda x, _: np.ones_like(x),
        albedo=times * surfaces.door,
        bridging=True,
    )
    return with_films(replace(case, scene=replace(scene, surfaces=surfaces)), bright)


def _dark_door(case: Case, c: Circumstances) -> Case:
    surfaces = replace(
        case.scene.surfaces,
        door=c.of(0.10, 0.06, 0.035),
        door_painted=True,
        door_slot=c.of(0.04, 0.03, 0.02),
        gloss=min(case.scene.surfaces.gloss, 0.15),
    )
    return replace(case, scene=replace(case.scene, surfaces=surfaces))


EDGES = (
    Disturbance(
        name="rag-over-gap",
        says="A finger or a rag hides part of the gap.",
        strengths=("one station of 7", "3 stations", "6 stations"),
        accepted_codes=("edge-hidden",),
        scene=_rag_over_gap,
    ),
    Disturbance(
        name="grease-on-edge",
        says="Grease swallows part of an edge and reaches into the gap.",
        strengths=(
            "over 8 mm, hiding half of the contrast",
            "over 20 mm, hiding 85 %",
            "over 55 mm, hiding it all",
        ),
        accepted_codes=("edge-hidden", "uncertainty-too-large"),
        scene=_grease,
    ),
    Disturbance(
        name="scratches",
        says="Scratches run along the gap, 0.7 to 3 mm from an edge.",
        strengths=(
            "one pair of lines 0.1 mm wide and 30 mm long, 30 % deep",
            "two pairs 0.2 mm wide and 60 mm long, 55 % deep",
            "four pairs 0.3 mm wide all along, 80 % deep",
        ),
        accepted_codes=("edge-hidden", "uncertainty-too-large"),
        scene=_scratches,
    ),
    Disturbance(
        name="bright-edges",
        says="The broken edges are worn bright and mirror a lamp.",
        strengths=(
            "a line 0.1 mm wide, as bright as the faces",
            "0.2 mm wide, 2.5 times as bright",
            "0.3 mm wide, 7 times as bright",
        ),
        accepted_codes=("glare", "edge-hidden", "uncertainty-too-large"),
        scene=_bright_edges,
        light=_slight_bloom,
    ),
    Disturbance(
        name="dust-on-edges",
        says="Grains lie across the edges.",
        strengths=(
            "15 grains an edge, up to 0.3 mm across",
            "60 grains, up to 0.6 mm",
            "200 grains, up to 1.2 mm",
        ),
        accepted_codes=("edge-hidden", "uncertainty-too-large"),
        scene=_dust,
    ),
    Disturbance(
        name="light-duct",
        says="The duct behind a light door is light too.",
        strengths=(
            "half as bright as the door",
            "0.9 times as bright",
            "1.6 times as bright",
        ),
        accepted_codes=("edge-hidden", "uncertainty-too-large"),
        scene=_light_duct,
    ),
    Disturbance(
        name="dark-door",
        says="A dark primer-coated door stands before a dark duct.",
        strengths=("the door reflects 10 %", "6 %", "3.5 %"),
        accepted_codes=("edge-hidden", "too-dark", "uncertainty-too-large"),
        scene=_dark_door,
    ),
)
