"""Yoke and socket in the lower window. (dataclasses first)"""

from __future__ import annotations

from dataclasses import dataclass

from rigvision.ground.conventions import FloatArray


@dataclass(frozen=True, slots=True)
class YokePlace:
    """The yoke on its slide: middle of its shoulder, and its centreline's direction."""

    shoulder_mm: FloatArray  # (3,) gauge axes
    angle_rad: float  # from gauge x to the centreline, counter-clockwise
    covariance: FloatArray  # (3, 3) of shoulder x, shoulder y (mm) and angle (rad)


@dataclass(frozen=True, slots=True)
class SocketPlace:
    """The barrel: its axis, its face where visible, its index lines."""

    axis_mm: FloatArray  # (3,) gauge axes, the axis at the socket's nominal face x
    angle_rad: float  # from gauge x to the axis, counter-clockwise
    covariance: FloatArray  # (2, 2) of axis y (mm) and angle (rad)
    outlines_px: tuple[FloatArray, ...]  # each (2, 2): start and end of a visible outline
    face_x_mm: float | None  # where the face's edge was found, on the axis; None if hidden
    face_u_mm: float | None
    index_angles_rad: tuple[float, ...]  # lines found, from +z towards +y about the axis
    clock_rad: float | None  # nearest line, folded by the drive's symmetry
    clock_u_rad: float | None


@dataclass(frozen=True, slots=True)
class YokeFeatures:
    """What was found in the lower window; None for what is hidden or not on this gauge."""

    yoke: YokePlace | None
    socket: SocketPlace | None
