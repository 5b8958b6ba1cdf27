"""Disturbances of the light: glare, shadows, reflections, a torch's spot."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from rigvision.synthetic.bloom import bloomed
from rigvision.synthetic.camera import F32, PhoneCamera
from rigvision.synthetic.case import Case
from rigvision.synthetic.edge_films import along_door, along_sill, bell, ramp, stretch
from rigvision.synthetic.film import EVERYTHING, FACES, ON_PLATE, ROUNDS, SLOT, Field, Film
from rigvision.synthetic.scene import Light
from rigvision.synthetic.staging import STATED_WIDTH_PX, Circumstances, Disturbance
from rigvision.synthetic.surface import Surface

#: Luminance of what a glossy door mirrors, in units of the brightest pad.
SKY, PLATE_BACK = 0.8, 0.05


def with_films(case: Case, *films: Film) -> Case:
    return replace(case, scene=replace(case.scene, films=(*case.scene.films, *films)))


def _glare_on_edges(case: Case, c: Circumstances) -> Case:
    along_mm, across_mm = c.of((4.0, 2.5), (10.0, 4.0), (25.0, 6.0))
    peak = c.of(1.5, 4.0, 12.0)
    at_x, at_y = c.between(-34.0, 34.0), c.between(-1.5, 1.5)
    field = along_door(case.scene, c.frame, (-20.0, 20.0), (0.25, 0.1))
    spot = Film.drawn(
        field,
        FACES | ROUNDS,
        glow=lambda x, y: peak * bell(x - at_x, along_mm) * bell(y - at_y, across_mm),
    )
    return with_films(case, spot)


def _bloom(linear: F32, camera: PhoneCamera, c: Circumstances) -> F32:
    scale = max(camera.width_px, camera.height_px) / STATED_WIDTH_PX
    return bloomed(linear, c.of(0.01, 0.02, 0.05), scale)


def _glare_on_marks(case: Case, c: Circumstances) -> Case:
    marks = list(c.gauge.marks.centres_mm.values())
    spots = []
    for at in c.rng.choice(len(marks), c.of(1, 2, 4), replace=False):
        centre = np.asarray(marks[at]) + c.rng.uniform(-5.0, 5.0, 2)
        spots.append(_spot(tuple(centre), c.of(4.0, 8.0, 15.0), c.of(0.6, 2.0, 6.0)))
    return with_films(case, *spots)


def _spot(centre_mm: tuple[float, ...], sigma_mm: float, peak: float) -> Film:
    reach = 4 * sigma_mm
    field = Field((-reach, reach), (-reach, reach), (0.2, 0.2), (centre_mm[0], centre_mm[1]))
    return Film.drawn(field, ON_PLATE, glow=lambda x, y: peak * bell(np.hypot(x, y), sigma_mm))


def _shadow_along_edge(case: Case, c: Circumstances) -> Case:
    """On the door or on the sill, the dark on either side of its border."""
    on_door = c.either()
    far_side_dark = c.either()
    away_mm = c.between(*c.of((2.5, 4.0), (1.0, 3.0), (0.3, 1.5)))
    blur_mm, depth = c.of(0.35, 0.15, 0.05), c.of(0.35, 0.55, 0.8)
    along = along_door if on_door else along_sill
    field = along(case.scene, c.frame, (-40.0, 40.0), (1.0, 0.02))
    field = replace(field, angle_deg=field.angle_deg + c.between(-0.4, 0.4))
    outwards = 1.0 if on_door else -1.0
    side = 1.0 if far_side_dark else -1.0
    border = Film.drawn(
        field,
        FACES | ROUNDS | SLOT | {Surface.JAMB},
        gain=lambda _, y: 1.0 - depth * ramp(side * (outwards * y - away_mm), blur_mm),
    )
    return with_films(case, border)


def _shadow_across(case: Case, c: Circumstances) -> Case:
    depth, blur_mm = c.of(0.5, 0.75, 0.92), c.of(3.0, 1.0, 0.4)
    origin = (c.between(-15.0, 15.0), c.between(-10.0, 10.0))
    field = Field((-400.0, 400.0), (-400.0, 400.0), (100.0, 0.1), origin, c.between(0.0, 360.0))
    half = Film.drawn(field, EVERYTHING, gain=lambda _, y: 1.0 - depth * ramp(y, blur_mm))
    return with_films(case, half)


def _torch_spot(case: Case, c: Circumstances) -> Case:
    light = Light(
        ambient=c.of(0.12, 0.06, 0.02),
        torch=1.0,
        torch_offset=(c.between(-0.2, 0.2), c.between(0.0, 0.4)),
        torch_radius_mm=c.of(60.0, 35.0, 18.0),
        side=0.0,
    )
    return replace(case, scene=replace(case.scene, light=light))


def _reflection(case: Case, c: Circumstances) -> Case:
    """What the door mirrors: the back of the plate around its window, and a bright panel above.

    Followed straight on, a ray meets the mirror images of what it would meet reflected.
    """
    share = c.of(0.10, 0.25, 0.50)
    face_z = c.frame.sill.face_z_mm
    back_z = 2 * face_z - c.gauge.plate.z_mm[0]
    w = c.gauge.windows
    dimmed = Film.drawn(
        Field((-90.0, 90.0), (-90.0, 90.0), (90.0, 90.0)),
        frozenset({Surface.DOOR}),
        gain=lambda x, _: np.full_like(x, 1.0 - share),
    )

    def frame_of_window(x: F32, y: F32) -> F32:
        inside = stretch(x, *w.gap_x_mm, 0.1) * stretch(y, *w.gap_y_mm, 0.1)
        return np.asarray(share * (PLATE_BACK + (SKY - PLATE_BACK) * inside), np.float32)

    plate = Film.drawn(
        Field((-90.0, 90.0), (-60.0, 90.0), (0.5, 0.05), z_mm=back_z),
        frozenset({Surface.DOOR}),
        glow=frame_of_window,
    )
    return with_films(case, dimmed, plate, _panel(case, c, share))


def _panel(case: Case, c: Circumstances, share: float) -> Film:
    """The mirror image of a panel 150 mm above, whose lower border is seen near the gap."""
    scene, eye = case.scene, case.camera.eye_mm
    face_z = c.frame.sill.face_z_mm
    panel_z = face_z - 150.0
    edge_y = c.frame.sill.edge_y_mm + scene.gap_mm + c.between(1.0, 7.0)
    seen_y = eye[1] + (edge_y - eye[1]) * (eye[2] - panel_z) / (eye[2] - face_z)
    field = Field((-400.0, 400.0), (-60.0, 400.0), (100.0, 0.1), (0.0, seen_y), z_mm=panel_z)
    field = replace(field, angle_deg=c.between(-2.0, 2.0))
    return Film.drawn(
        field, frozenset({Surface.DOOR}), glow=lambda _, y: 0.7 * share * ramp(y, 0.6)
    )


LIGHT = (
    Disturbance(
        name="glare-on-edges",
        says="A lamp's mirror image lies on the edges of the gap.",
        strengths=(
            "a spot of sigma 4 mm along the gap, 1.5 times as bright as a white pad",
            "10 mm, 4 times",
            "25 mm, 12 times",
        ),
        accepted_codes=("glare", "too-bright", "edge-hidden", "uncertainty-too-large"),
        scene=_glare_on_edges,
        light=_bloom,
    ),
    Disturbance(
        name="glare-on-marks",
        says="Lamps' mirror images lie on some of the marks.",
        strengths=(
            "one mark, sigma 4 mm, 0.6 times as bright as a white pad",
            "2 marks, 8 mm, 2 times",
            "4 marks, 15 mm, 6 times",
        ),
        accepted_codes=("glare", "too-bright", "too-few-marks", "no-gauge", "marks-disagree"),
        scene=_glare_on_marks,
        light=_bloom,
    ),
    Disturbance(
        name="shadow-along-edge",
        says="A shadow's border runs along the gap on the door or on the sill.",
        strengths=(
            "2.5 to 4 mm off the edge, 35 % deep, 0.35 mm soft",
            "1 to 3 mm off, 55 % deep, 0.15 mm soft",
            "0.3 to 1.5 mm off, 80 % deep, 0.05 mm soft",
        ),
        accepted_codes=("edge-hidden", "uncertainty-too-large", "too-dark"),
        scene=_shadow_along_edge,
    ),
    Disturbance(
        name="shadow-across",
        says="Half of the gauge lies in the shade.",
        strengths=("half the light is left there", "a quarter", "a twelfth"),
        accepted_codes=("too-dark", "too-few-marks", "edge-hidden", "yoke-hidden"),
        scene=_shadow_across,
    ),
    Disturbance(
        name="torch-spot",
        says="Only a torch lights the middle, and all around it is dark.",
        strengths=(
            "half the torch's light 60 mm from the middle",
            "35 mm from the middle",
            "18 mm from the middle",
        ),
        accepted_codes=("too-dark", "too-few-marks", "no-gauge", "edge-hidden", "yoke-hidden"),
        scene=_torch_spot,
    ),
    Disturbance(
        name="reflection",
        says="The glossy door mirrors the gauge's window and a bright panel.",
        strengths=("10 % mirrored", "25 %", "50 %"),
        accepted_codes=("edge-hidden", "glare", "uncertainty-too-large"),
        scene=_reflection,
    ),
)
