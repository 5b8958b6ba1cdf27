"""The socket, read from its barrel: axis from its outline, face from its edge, clock from lines."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.vision.barrel_axis import outlines_px, refine_axis, search_axis
from rigvision.vision.barrel_scene import BarrelScene
from rigvision.vision.index_lines import first_line_rad, read_lines, solve_clock
from rigvision.vision.socket_face import find_face
from rigvision.vision.unrolled import UnrollTuning, unroll

#: Enough to know which limbs an index line comes near to.
ROUGH = UnrollTuning(parts=1, columns=8, every_px=1.0)


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
    clock_u_rad: float | None  # of the lines' reading alone
    clock_by_axis_rad_per_mm: float = 0.0  # how the clock goes with an error of the axis' y


def find_socket(
    scene: BarrelScene, shoulder_x_mm: float | None, with_lines: bool
) -> SocketPlace | None:
    """The socket's place, or None where neither outline of the barrel can be found.

    ``shoulder_x_mm`` is the yoke's shoulder, where known: it may touch the socket's face.
    ``with_lines`` says whether yoke and socket carry index lines to read the clock from.
    """
    coarse = search_axis(scene)
    if coarse is None:
        return None
    flats = scene.socket.flats
    unrolled = unroll(scene, coarse.axis, ROUGH)
    fit = refine_axis(scene, coarse, first_line_rad(unrolled, flats) if unrolled else None)
    axis, covariance = fit.axis, fit.covariance
    clock = None
    unrolled = unroll(scene, axis) if with_lines else None
    if unrolled is not None and (first := first_line_rad(unrolled, flats)) is not None:
        readings = read_lines(unrolled, first, flats)
        clock = solve_clock(unrolled, readings, first, covariance, flats)
    clock_u, by_axis = None, 0.0
    if clock is not None:
        axis, covariance = clock.axis, clock.covariance[:2, :2]
        by_axis = float(clock.covariance[0, 2] / clock.covariance[0, 0])
        clock_u = float(np.sqrt(clock.covariance[2, 2] - by_axis**2 * clock.covariance[0, 0]))
    face = find_face(scene, axis, shoulder_x_mm)
    return SocketPlace(
        np.array([axis.x_mm, axis.y_mm, axis.z_mm]),
        axis.angle_rad,
        covariance,
        outlines_px(scene, axis),
        face.x_mm if face else None,
        face.u_mm if face else None,
        clock.angles_rad if clock else (),
        clock.clock_rad if clock else None,
        clock_u,
        by_axis,
    )
