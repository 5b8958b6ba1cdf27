"""Scenes in which one characteristic lies near its limit and every other one well inside.

Only then does a verdict hang on that one figure: a door that merely follows its drive to a
gap near a limit has its socket turned far off the clock, and is an *adjust* whatever the gap.
"""

from __future__ import annotations

from dataclasses import replace
from math import radians, tan

import numpy as np

from rigvision.synthetic.scene import Scene, random_scene
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge

#: Half width of the band around a limit, mm.
NEAR_LIMIT_MM = 0.15
#: What is drawn near a limit; the gap, which is what the rig is for, four times in seven.
_DRAWN = ("gap-low", "gap-high", "gap-low", "gap-high", "taper", "lateral", "seat")
#: How far everything else may stand from its nominal value, as part of its limit.
_WELL_INSIDE = 0.4


def near_limit_scene(gauge: Gauge, frame: Frame, rng: np.random.Generator) -> Scene:
    """A scene with one length within ``NEAR_LIMIT_MM`` of a limit, on either side of it."""
    limits, gap = frame.yoke_limits, frame.gap
    has_yoke = limits is not None and gauge.yoke is not None and frame.socket is not None
    near = str(rng.choice(_DRAWN if has_yoke else _DRAWN[:5]))
    off_mm = float(rng.uniform(-NEAR_LIMIT_MM, NEAR_LIMIT_MM))
    inside = rng.uniform(-_WELL_INSIDE, _WELL_INSIDE, size=5)
    side = float(rng.choice([-1.0, 1.0]))

    def length_mm(name: str, limit_mm: float, at: int) -> float:
        """The limit and a little, to either side, if drawn; else well inside."""
        return side * (limit_mm + off_mm) if name == near else float(inside[at]) * limit_mm

    half_mm = (gap.upper_mm - gap.lower_mm) / 2
    gap_mm = {"gap-low": gap.lower_mm + off_mm, "gap-high": gap.upper_mm + off_mm}.get(
        near, (gap.upper_mm + gap.lower_mm) / 2 + float(inside[0]) * half_mm / 2
    )
    scene = replace(
        random_scene(gauge, frame, rng, max(0.05, gap_mm)),
        taper_mm=length_mm("taper", gap.taper_limit_mm, 1),
    )
    if not has_yoke:
        return scene
    assert limits is not None
    scene = replace(
        scene,
        clock_deg=float(inside[2]) * limits.clock_deg,
        socket_tilt_deg=float(rng.normal(0.0, 0.1)) * limits.tilt_deg,
        yoke_tilt_deg=float(rng.normal(0.0, 0.1)) * limits.tilt_deg,
    )
    seat_mm = abs(length_mm("seat", limits.seat_gap_mm, 3))
    return _with_yoke(scene, frame, seat_mm, length_mm("lateral", limits.lateral_offset_mm, 4))


def _with_yoke(scene: Scene, frame: Frame, seat_mm: float, lateral_mm: float) -> Scene:
    """The yoke's shoulder put where the two figures want it."""
    assert frame.socket is not None
    face_x, face_y = scene.gauge_from_frame(
        frame, frame.socket.face_x_mm, frame.socket.axis_y_mm + scene.socket_offset_y_mm
    )
    y_mm = face_y - lateral_mm - tan(radians(scene.yoke_tilt_deg)) * seat_mm
    return replace(scene, yoke_shoulder_mm=(face_x - seat_mm, y_mm))
