"""The socket, read from its barrel: axis from its outline, face from its edge, clock from lines."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.vision.barrel_axis import solve_axis
from rigvision.vision.barrel_scene import BarrelScene
from rigvision.vision.index_lines import clock_of, find_lines
from rigvision.vision.socket_face import find_face


@dataclass(frozen=True, slots=True)
class SocketPlace:
    """The barrel: its axis, its face where visible, its index lines."""

    axis_mm: FloatArray  # (3,) gauge axes, the axis at the socket's nominal face x
    angle_rad: float  # from gauge x to the axis, counter-clockwise
    covariance: FloatArray  # (2, 2) of axis y (mm) and angle (rad)
    outlines_px: tuple[FloatArray, ...]  # each (2, 2): start and end of a visible outline
    face_x_mm: float | None  # where the face's edge was found; None if hidden
    face_u_mm: float | None
    index_angles_rad: tuple[float, ...]  # lines found
    clock_rad: float | None  # nearest line, folded by the drive's symmetry
    clock_u_rad: float | None


def find_socket(
    scene: BarrelScene, shoulder_x_mm: float | None, with_lines: bool
) -> SocketPlace | None:
    """The socket's place, or None where neither outline of the barrel can be found.

    ``shoulder_x_mm`` is the yoke's shoulder, where known: it may touch the socket's face.
    ``with_lines`` says whether yoke and socket carry index lines to read the clock from.
    """
    fit = solve_axis(scene)
    if fit is None:
        return None
    axis = fit.axis
    face = find_face(scene, axis, shoulder_x_mm)
    lines = find_lines(scene, axis) if with_lines else ()
    clock = clock_of(lines, scene.socket.flats)
    return SocketPlace(
        np.array([axis.x_mm, axis.y_mm, axis.z_mm]),
        axis.angle_rad,
        fit.covariance,
        fit.outlines_px,
        face.x_mm if face else None,
        face.u_mm if face else None,
        tuple(line.angle_rad for line in lines),
        clock.angle_rad if clock else None,
        clock.u_rad if clock else None,
    )
