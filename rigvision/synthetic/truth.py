"""What is true of a photo, in the figures of a result (schema ``rigvision.truth/1``)."""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, degrees, radians, sin, tan
from typing import Any

import numpy as np

from rigvision.ground.conventions import CORNER_SIGNS, FloatArray, fold_deg
from rigvision.synthetic.camera import PhoneCamera
from rigvision.synthetic.scene import Scene
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge

SCHEMA = "rigvision.truth/1"


@dataclass(frozen=True, slots=True)
class YokeTruth:
    lateral_offset_mm: float
    tilt_deg: float
    seat_gap_mm: float
    #: None where socket or yoke carries no index line to read it from.
    clock_deg: float | None
    engaged: bool


def truth_of(scene: Scene, camera: PhoneCamera, gauge: Gauge, frame: Frame) -> dict[str, Any]:
    """The truth of a photo, ready for JSON; figures the rig does not have are None."""
    gaps_mm = station_gaps_mm(scene, frame)
    yoke = yoke_truth(scene, gauge, frame)
    stations = zip(frame.gap.stations_x_mm, gaps_mm, strict=True)
    return {
        "schema": SCHEMA,
        "gauge": gauge.name,
        "frame": frame.name,
        "door": scene.door,
        "gap": {
            "mean_mm": sum(gaps_mm) / len(gaps_mm),
            "taper_mm": scene.taper_mm / cos(radians(scene.sill_tilt_deg)),
            "stations": [{"x_mm": x, "gap_mm": g} for x, g in stations],
        },
        "yoke": _yoke_json(yoke),
        "turns": _turns_json(sum(gaps_mm) / len(gaps_mm), scene, yoke, frame),
        "view": {
            "distance_mm": camera.distance_mm,
            "tilt_deg": camera.tilt_deg,
            "focal_px": camera.lens_px,
            "principal_point_px": list(camera.principal_point_px),
            "k1": camera.k1,
            **({"k2": camera.k2} if camera.k2 else {}),
        },
        "sill": {"offset_mm": scene.sill_offset_mm, "tilt_deg": scene.sill_tilt_deg},
        "marks": mark_corners_px(scene, camera, gauge),
        "covered_marks": sorted(scene.covered_marks),
    }


def station_gaps_mm(scene: Scene, frame: Frame) -> list[float]:
    """Gap square to the sill where the sill passes each station's gauge x."""
    c = cos(radians(scene.sill_tilt_deg))
    slope = scene.taper_slope(frame) / c
    return [scene.gap_mm + slope * x for x in frame.gap.stations_x_mm]


def yoke_truth(scene: Scene, gauge: Gauge, frame: Frame) -> YokeTruth | None:
    """The yoke's figures; None where gauge or frame has no yoke or socket."""
    if gauge.yoke is None or frame.socket is None:
        return None
    face_x, face_y = scene.gauge_from_frame(
        frame, frame.socket.face_x_mm, frame.socket.axis_y_mm + scene.socket_offset_y_mm
    )
    shoulder_x, shoulder_y = scene.yoke_shoulder_mm
    socket_rad = radians(scene.socket_tilt_deg + scene.sill_tilt_deg)
    yoke_rad = radians(scene.yoke_tilt_deg)
    along_mm = (face_x - shoulder_x) * cos(socket_rad) + (face_y - shoulder_y) * sin(socket_rad)
    seat_gap_mm = along_mm / cos(yoke_rad - socket_rad) * cos(yoke_rad)
    readable = (frame.socket.index_line_width_mm and gauge.yoke.index_line_width_mm) is not None
    clock_deg = fold_deg(scene.clock_deg, 360.0 / frame.socket.flats)
    return YokeTruth(
        lateral_offset_mm=face_y - shoulder_y - tan(yoke_rad) * (face_x - shoulder_x),
        tilt_deg=degrees(socket_rad - yoke_rad),
        seat_gap_mm=seat_gap_mm,
        clock_deg=clock_deg if readable else None,
        engaged=seat_gap_mm < gauge.yoke.tang_length_mm,
    )


def _yoke_json(yoke: YokeTruth | None) -> dict[str, float | bool | None]:
    keys = ("lateral_offset_mm", "tilt_deg", "seat_gap_mm", "clock_deg", "engaged")
    return {key: getattr(yoke, key) if yoke else None for key in keys}


def conforms(mean_gap_mm: float, scene: Scene, yoke: YokeTruth | None, frame: Frame) -> bool:
    """Whether every true figure lies inside its limits."""
    gaps = [*station_gaps_mm(scene, frame), mean_gap_mm]
    inside = frame.gap.lower_mm <= min(gaps) and max(gaps) <= frame.gap.upper_mm
    inside = inside and abs(scene.taper_mm) <= frame.gap.taper_limit_mm
    if yoke is None or frame.yoke_limits is None:
        return inside
    limits = frame.yoke_limits
    return (
        inside
        and abs(yoke.lateral_offset_mm) <= limits.lateral_offset_mm
        and abs(yoke.tilt_deg) <= limits.tilt_deg
        and abs(yoke.seat_gap_mm) <= limits.seat_gap_mm
        and abs(yoke.clock_deg or 0.0) <= limits.clock_deg
    )


def _turns_json(
    mean_gap_mm: float, scene: Scene, yoke: YokeTruth | None, frame: Frame
) -> dict[str, float | bool | str]:
    """Turns of the wrench, positive closes: 0 where all is inside, else as the drive has it."""
    clock_deg = yoke.clock_deg if yoke else None
    needed = turns_to_nominal(mean_gap_mm, clock_deg, frame)
    conforming = conforms(mean_gap_mm, scene, yoke, frame)
    return {
        "value": 0.0 if conforming else needed,
        "to_best_flat": needed,
        "source": "gap" if clock_deg is None else "gap+clock",
        "conforming": conforming,
    }


def turns_to_nominal(mean_gap_mm: float, clock_deg: float | None, frame: Frame) -> float:
    """Turns that bring the gap nearest to nominal, the socket on a flat where a clock is known."""
    wanted = (mean_gap_mm - frame.gap.nominal_mm) / frame.drive.gap_per_socket_turn_mm
    if clock_deg is None or frame.socket is None:
        return wanted
    sign = 1.0 if frame.drive.opening_moves_socket_front == "+y" else -1.0
    first = sign * clock_deg / 360.0
    return first + round((wanted - first) * frame.socket.flats) / frame.socket.flats


def mark_corners_px(
    scene: Scene, camera: PhoneCamera, gauge: Gauge
) -> dict[str, list[list[float]]]:
    """Corners of every tag, yoke's included: top-left, top-right, bottom-right, bottom-left."""
    half_mm = gauge.marks.size_mm / 2
    outlines = {
        mark: _level(np.asarray(centre) + CORNER_SIGNS * half_mm, 0.0)
        for mark, centre in gauge.marks.centres_mm.items()
    }
    yoke = gauge.yoke
    if yoke and yoke.tag_id is not None and yoke.tag_centre_mm and yoke.tag_size_mm:
        c, s = cos(radians(scene.yoke_tilt_deg)), sin(radians(scene.yoke_tilt_deg))
        own = np.asarray(yoke.tag_centre_mm) + CORNER_SIGNS * yoke.tag_size_mm / 2
        turned = own @ np.array([[c, s], [-s, c]]) + np.asarray(scene.yoke_shoulder_mm)
        outlines[yoke.tag_id] = _level(turned, yoke.face_z_mm)
    return {str(mark): camera.project_px(corners).tolist() for mark, corners in outlines.items()}


def _level(points_mm: FloatArray, z_mm: float) -> FloatArray:
    return np.column_stack([points_mm, np.full(len(points_mm), z_mm)])
