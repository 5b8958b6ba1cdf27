"""The truth beside a picture, from the scene's own poses, in the contract's figures."""

from __future__ import annotations

import numpy as np
from mathutils import Matrix, Vector

from .assembly import (
    axis_tilt_deg,
    door_in_frame,
    frame_in_gauge,
    socket_in_frame,
    yoke_in_gauge,
)
from .disturbed import disturbance_of, marks_outside
from .rig import Rig
from .shots import Shot, State


def gap_figures(rig: Rig, state: State) -> dict[str, object]:
    """Return gap at each station, square to the sill, between the tangent planes (mm)."""
    door = door_in_frame(rig, state)
    edge, along = door.translation, door.to_3x3().col[0]
    gaps = [edge.y + along.y / along.x * x - rig.sill_edge_y for x in rig.stations_x]
    return {
        "mean_mm": round(float(np.mean(gaps)), 5),
        "taper_mm": round(gaps[-1] - gaps[0], 5),
        "stations": [
            {"x_mm": x, "gap_mm": round(g, 5)} for x, g in zip(rig.stations_x, gaps, strict=True)
        ],
    }


def yoke_figures(rig: Rig, state: State) -> dict[str, object]:
    """Return the yoke against the socket, in the gauge's axes (mm, degrees).

    ``engaged`` means that the tang is inside the bore.
    """
    socket = frame_in_gauge(rig, state) @ socket_in_frame(rig, state)
    yoke = yoke_in_gauge(rig, state)
    face, shoulder = socket.translation, yoke.translation
    along = yoke.to_3x3().col[0]
    lateral = face.y - (shoulder.y + along.y / along.x * (face.x - shoulder.x))
    return {
        "lateral_offset_mm": round(lateral, 5),
        "tilt_deg": round(axis_tilt_deg(socket) - axis_tilt_deg(yoke), 5),
        "seat_gap_mm": round(state.seat_gap, 5),
        "clock_deg": round(state.clock_deg, 5),
        "engaged": state.seat_gap < rig.tang_length,
    }


def adjust_codes(rig: Rig, gap: dict, yoke: dict) -> list[str]:
    """Return the code of each figure that is outside its limits."""
    checks = {
        "gap-high": gap["mean_mm"] > rig.gap_upper,
        "gap-low": gap["mean_mm"] < rig.gap_lower,
        "taper": abs(gap["taper_mm"]) > rig.taper_limit,
        "yoke-offset": abs(yoke["lateral_offset_mm"]) > rig.lateral_limit,
        "yoke-tilt": abs(yoke["tilt_deg"]) > rig.tilt_limit_deg,
        "yoke-not-seated": yoke["seat_gap_mm"] > rig.seat_limit,
        "clock-off": abs(yoke["clock_deg"]) > rig.clock_limit_deg,
    }
    return [code for code, outside in checks.items() if outside]


def turns_value(rig: Rig, gap_mm: float, clock_deg: float) -> float:
    """Return turns at the socket (positive closes) to the flat whose gap is nearest nominal."""
    choices = [clock_deg / 360 + k / rig.flats for k in range(-40, 41)]
    return min(choices, key=lambda t: abs(gap_mm - t * rig.gap_per_socket_turn - rig.gap_nominal))


def mark_corners(rig: Rig, shot: Shot) -> dict[str, list[list[float]]]:
    """Return each uncovered mark's border corners in pixels: TL, TR, BR, BL of the upright tag."""
    covered = {tag for tag, _ in shot.look.cover}
    placed = [
        (tag, Matrix.Translation((x, y, rig.plate_z[1])), rig.mark_size)
        for tag, x, y in rig.mark_centres
        if tag not in covered
    ]
    tag_place = Matrix.Translation((*rig.yoke_tag_centre, rig.yoke_face_z))
    placed.append((rig.yoke_tag, yoke_in_gauge(rig, shot.state) @ tag_place, rig.yoke_tag_size))
    marks = {}
    for tag, pose, size in placed:
        half = size / 2
        corners = [
            pose @ Vector((sx * half, sy * half, 0.0))
            for sx, sy in ((-1, 1), (1, 1), (1, -1), (-1, -1))
        ]
        pixels = shot.view.project(np.array(corners))
        marks[str(tag + shot.look.mark_shift)] = [[round(float(v), 4) for v in p] for p in pixels]
    return marks


def truth_of(rig: Rig, shot: Shot) -> dict[str, object]:
    """Return the whole truth file of a shot."""
    state, view, look = shot.state, shot.view, shot.look
    gap, yoke = gap_figures(rig, state), yoke_figures(rig, state)
    codes = adjust_codes(rig, gap, yoke)
    verdict = "retake" if shot.retake else "adjust" if codes else "pass"
    zone = {"zone": shot.zone} if shot.zone else {}
    turns = 0.0 if not codes else turns_value(rig, gap["mean_mm"], yoke["clock_deg"])
    return {
        "schema": "rigvision.truth/1",
        "gauge": rig.gauge if not look.mark_shift else "RG-20",
        "frame": rig.frame,
        "door": shot.seed % 10 + 1,
        "verdict": verdict,
        "codes": list(shot.retake) or codes,
        "gap": gap,
        "yoke": yoke,
        "turns": {"value": round(turns, 5)},
        "view": {
            "distance_mm": view.distance_mm,
            "tilt_deg": view.tilt_deg,
            "focal_px": round(view.focal_px, 3),
            "principal_point_px": [round(float(v), 3) for v in view.principal_px],
            "k1": view.k1,
        },
        "sill": {"offset_mm": state.sill_offset, "tilt_deg": state.sill_tilt_deg},
        "marks": mark_corners(rig, shot),
        "marks_covered": [tag for tag, _ in look.cover],
        **({"marks_outside": sorted(outside)} if (outside := marks_outside(view, rig)) else {}),
        "condition": shot.condition,
        **zone,
        **disturbance_of(shot),
        "light": look.light,
        "surface": (
            f"sill {look.sill}, door {look.door}, slot {look.slot}, gauge {look.gauge}, {look.soil}"
        ),
    }
