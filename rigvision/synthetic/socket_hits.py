"""What rays meet of the socket: a barrel with painted lines, its face and its bore."""

from __future__ import annotations

from math import cos, radians, sin

import numpy as np
import numpy.typing as npt

from rigvision.synthetic.camera import F32
from rigvision.synthetic.rig import Rig
from rigvision.synthetic.surface import FINE, Hits, Rays, Surface
from rigvision.world.frame import Socket


def add_socket(rig: Rig, socket: Socket, framed: Rays, hits: Hits) -> None:
    """The drive's barrel, its index lines, its face and its bore, in the socket's axes."""
    origin = (socket.face_x_mm, socket.axis_y_mm + rig.scene.socket_offset_y_mm)
    rays = framed.turned(origin, rig.scene.socket_tilt_deg)
    x, y = rays.at(socket.axis_z_mm)
    length = socket.barrel_end_x_mm - socket.face_x_mm
    reach = 4 * socket.radius_mm
    near = np.flatnonzero((np.abs(y) < reach) & (x > -reach) & (x < length + reach))
    some = rays.some(near)
    hits.put(near, _barrel_hits(rig, socket, some, length))
    hits.put(near, _socket_face_hits(rig, socket, some))


def _barrel_hits(rig: Rig, socket: Socket, rays: Rays, length_mm: float) -> Hits:
    """The round of the barrel: a circle in the y-z plane of the socket's axes."""
    hits = Hits.none(len(rays.mx))
    axis_depth = rays.eye[2] - socket.axis_z_mm
    radius = socket.radius_mm
    # From the point where the ray passes the axis' height, tau is depth counted upwards.
    y0 = rays.eye[1] + axis_depth * rays.my
    m2 = 1.0 + rays.my * rays.my
    square = (y0 * rays.my) ** 2 - m2 * (y0 * y0 - radius**2)
    tau = (y0 * rays.my + np.sqrt(np.maximum(square, 0.0))) / m2
    depth = axis_depth - tau
    x = rays.eye[0] + depth * rays.mx
    met = np.flatnonzero((square > 0) & (x >= 0) & (x <= length_mm))
    y = y0[met] - tau[met] * rays.my[met]
    hits.depth[met] = depth[met]
    hits.a[met], hits.ny[met] = x[met], y / np.float32(radius)
    angle_rad = np.asarray(np.arctan2(y, tau[met]), np.float32)
    hits.b[met] = radius * angle_rad
    surface = np.full(len(met), Surface.BARREL, np.uint8)
    surface[_on_index_line(rig, socket, np.asarray(x[met], np.float32), angle_rad)] = (
        Surface.BARREL_LINE
    )
    surface[x[met] < rig.guard_mm] |= FINE
    hits.surface[met] = surface
    return hits


def _on_index_line(rig: Rig, socket: Socket, x: F32, angle_rad: F32) -> npt.NDArray[np.bool_]:
    """Where the barrel carries paint; angles from the barrel's top (+z) towards +y."""
    if socket.index_line_width_mm is None or socket.index_line_length_mm is None:
        return np.zeros(len(x), np.bool_)
    period = np.float32(2 * np.pi / socket.flats)
    off = angle_rad - np.float32(radians(rig.scene.clock_deg))
    off -= period * np.round(off / period)
    on = np.abs(off) * socket.radius_mm < socket.index_line_width_mm / 2
    return np.asarray(on & (x < socket.index_line_length_mm))


def _socket_face_hits(rig: Rig, socket: Socket, rays: Rays) -> Hits:
    """The barrel's end towards the yoke: a disc with a square bore that turns with it."""
    hits = Hits.none(len(rays.mx))
    ahead = np.flatnonzero(rays.mx > 1e-7)
    if rays.eye[0] >= 0 or not len(ahead):
        return hits
    depth = np.float32(-rays.eye[0]) / rays.mx[ahead]
    y = rays.eye[1] + depth * rays.my[ahead]
    z = np.float32(rays.eye[2] - socket.axis_z_mm) - depth
    on = np.flatnonzero(y * y + z * z <= socket.radius_mm**2)
    y, z, at = y[on], z[on], ahead[on]
    c, s = (np.float32(f(radians(rig.scene.clock_deg))) for f in (cos, sin))
    across = np.maximum(np.abs(c * y - s * z), np.abs(s * y + c * z))
    bore = across < np.float32(socket.bore_mm / 2)
    hits.surface[at] = np.where(bore, np.uint8(Surface.BORE), np.uint8(Surface.SOCKET_FACE))
    hits.surface[at] |= FINE
    hits.depth[at] = depth[on]
    hits.a[at], hits.b[at] = y, z
    return hits
