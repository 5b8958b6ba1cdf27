"""The rig's numbers, in mm and degrees, in gauge axes (x right, y up, z to the camera)."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path

Pair = tuple[float, float]
MODELS = Path(__file__).resolve().parents[2] / "models"


@dataclass(frozen=True)
class Rig:
    """Every dimension of the gauge, the door frame and its drive that a picture shows."""

    gauge: str
    frame: str
    # frame
    face_z: float
    sill_edge_y: float
    edge_radius: float
    door_thickness: float
    sill_thickness: float
    door_span_x: Pair
    duct_back_z: float
    pocket_x: Pair
    pocket_y: Pair
    pocket_floor_z: float
    # gauge
    plate_x: Pair
    plate_y: Pair
    plate_z: Pair
    window_gap_x: Pair
    window_gap_y: Pair
    window_yoke_x: Pair
    window_yoke_y: Pair
    mark_size: float
    mark_pad: float
    mark_centres: tuple[tuple[int, float, float], ...]
    # yoke
    yoke_tag: int
    yoke_tag_size: float
    yoke_tag_pad: float
    yoke_tag_centre: Pair
    yoke_axis_y: float
    yoke_face_z: float
    yoke_body_length: float
    yoke_body_width: float
    tang_length: float
    tang_width: float
    yoke_line_width: float
    yoke_line_length: float
    # socket
    socket_axis_y: float
    socket_axis_z: float
    socket_radius: float
    socket_face_x: float
    barrel_end_x: float
    bore: float
    flats: int
    socket_line_width: float
    socket_line_length: float
    # gap and limits
    stations_x: tuple[float, ...]
    gap_nominal: float
    gap_lower: float
    gap_upper: float
    taper_limit: float
    lateral_limit: float
    tilt_limit_deg: float
    seat_limit: float
    clock_limit_deg: float
    gap_per_socket_turn: float
    gap_clock_spread: float


def load_rig(gauge: str = "RG-10", frame: str = "DF-10") -> Rig:
    """Read the gauge's and the frame's files under ``models/``."""
    return Rig(gauge=gauge, frame=frame, **_gauge_numbers(gauge), **_frame_numbers(frame))


def _read(kind: str, name: str) -> dict:
    with (MODELS / kind / f"{name}.toml").open("rb") as file:
        return tomllib.load(file)


def _gauge_numbers(name: str) -> dict:
    data = _read("gauges", name)
    plate, windows, marks, yoke = (data[k] for k in ("plate", "windows", "marks", "yoke"))
    centres = marks["centres_mm"].items()
    return {
        "plate_x": tuple(plate["x_mm"]),
        "plate_y": tuple(plate["y_mm"]),
        "plate_z": tuple(plate["z_mm"]),
        "window_gap_x": tuple(windows["gap_x_mm"]),
        "window_gap_y": tuple(windows["gap_y_mm"]),
        "window_yoke_x": tuple(windows["yoke_x_mm"]),
        "window_yoke_y": tuple(windows["yoke_y_mm"]),
        "mark_size": marks["size_mm"],
        "mark_pad": marks["pad_mm"],
        "mark_centres": tuple((int(tag), x, y) for tag, (x, y) in centres),
        "yoke_tag": yoke["tag_id"],
        "yoke_tag_size": yoke["tag_size_mm"],
        "yoke_tag_pad": yoke["tag_pad_mm"],
        "yoke_tag_centre": tuple(yoke["tag_centre_mm"]),
        "yoke_axis_y": yoke["axis_y_mm"],
        "yoke_face_z": yoke["face_z_mm"],
        "yoke_body_length": yoke["body_length_mm"],
        "yoke_body_width": yoke["body_width_mm"],
        "tang_length": yoke["tang_length_mm"],
        "tang_width": yoke["tang_width_mm"],
        "yoke_line_width": yoke["index_line_width_mm"],
        "yoke_line_length": yoke["index_line_length_mm"],
    }


def _frame_numbers(name: str) -> dict:
    data = _read("frames", name)
    sill, door, around = data["sill"], data["door"], data["surroundings"]
    socket, gap, drive = data["socket"], data["gap"], data["drive"]
    limits = data["yoke_limits"]
    lead = drive["screw_lead_mm"] / drive["socket_turns_per_screw_turn"]
    return {
        "face_z": sill["face_z_mm"],
        "sill_edge_y": sill["edge_y_mm"],
        "edge_radius": sill["edge_radius_mm"],
        "door_thickness": door["thickness_mm"],
        "sill_thickness": sill["thickness_mm"],
        "door_span_x": tuple(door["span_x_mm"]),
        "duct_back_z": around["duct_back_z_mm"],
        "pocket_x": tuple(around["pocket_x_mm"]),
        "pocket_y": tuple(around["pocket_y_mm"]),
        "pocket_floor_z": around["pocket_floor_z_mm"],
        "socket_axis_y": socket["axis_y_mm"],
        "socket_axis_z": socket["axis_z_mm"],
        "socket_radius": socket["radius_mm"],
        "socket_face_x": socket["face_x_mm"],
        "barrel_end_x": socket["barrel_end_x_mm"],
        "bore": socket["bore_mm"],
        "flats": socket["flats"],
        "socket_line_width": socket["index_line_width_mm"],
        "socket_line_length": socket["index_line_length_mm"],
        "stations_x": tuple(gap["stations_x_mm"]),
        "gap_nominal": gap["nominal_mm"],
        "gap_lower": gap["lower_mm"],
        "gap_upper": gap["upper_mm"],
        "taper_limit": gap["taper_limit_mm"],
        "lateral_limit": limits["lateral_offset_mm"],
        "tilt_limit_deg": limits["tilt_deg"],
        "seat_limit": limits["seat_gap_mm"],
        "clock_limit_deg": limits["clock_deg"],
        "gap_per_socket_turn": lead * drive["door_motion_ratio"],
        "gap_clock_spread": drive["gap_clock_spread_mm"],
    }
