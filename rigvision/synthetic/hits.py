"""What each ray meets first, from the plate's front face down to the duct.

Solids are met in their own axes: the plate and its windows in gauge axes, the yoke in
yoke axes, sill, door and pocket in frame axes, the barrel in the socket's.
"""

from __future__ import annotations

import numpy as np

from rigvision.synthetic.frame_hits import frame_hits
from rigvision.synthetic.gauge_hits import add_yoke, paint_plate, window_walls
from rigvision.synthetic.rig import Rig
from rigvision.synthetic.scene import Scene
from rigvision.synthetic.socket_hits import add_socket
from rigvision.synthetic.surface import FINE, Hits, Rays, Surface, within
from rigvision.world.model import Range


def first_hits(rig: Rig, rays: Rays) -> Hits:
    """What each ray meets first; BACKGROUND where it passes the gauge."""
    hits = Hits.none(len(rays.mx))
    hits.a, hits.b = rays.at(0.0)
    plate, windows = rig.gauge.plate, rig.gauge.windows
    through_gap = within(hits.a, hits.b, windows.gap_x_mm, windows.gap_y_mm)
    through_yoke = within(hits.a, hits.b, windows.yoke_x_mm, windows.yoke_y_mm)
    on_plate = within(hits.a, hits.b, plate.x_mm, plate.y_mm) & ~(through_gap | through_yoke)
    paint_plate(rig, rays.eye[2], hits, np.flatnonzero(on_plate))
    for through, x_mm, y_mm in (
        (through_gap, windows.gap_x_mm, windows.gap_y_mm),
        (through_yoke & ~through_gap, windows.yoke_x_mm, windows.yoke_y_mm),
    ):
        index = np.flatnonzero(through)
        if len(index):
            hits.put(index, _through_window(rig, rays.some(index), x_mm, y_mm))
    _lay_over(rig.scene, rays, hits)
    return hits


def _lay_over(scene: Scene, rays: Rays, hits: Hits) -> None:
    """Solids in front of the rig, and a mark where films have fine details."""
    for sheet in scene.sheets:
        sheet.add_to(rays, hits, Surface.COVER)
    for film in scene.films:
        if film.fine:
            index, _, _ = film.where(rays, hits, hits.surface & np.uint8(FINE - 1))
            hits.surface[index] |= FINE


def _through_window(rig: Rig, rays: Rays, x_mm: Range, y_mm: Range) -> Hits:
    """First hits of rays that pass a window in the plate's front face."""
    hits = window_walls(rays, x_mm, y_mm, rig.gauge.plate.z_mm[0])
    everything = np.arange(len(rays.mx))
    if rig.gauge.yoke is not None:
        own = rays.turned(rig.scene.yoke_shoulder_mm, rig.scene.yoke_tilt_deg)
        add_yoke(rig, rig.gauge.yoke, own, hits)
    scene = rig.scene
    framed = rays.turned((0.0, scene.frame_shift_y_mm(rig.frame)), scene.sill_tilt_deg)
    if rig.frame.socket is not None:
        add_socket(rig, rig.frame.socket, framed, hits)
    hits.put(everything, frame_hits(rig, framed))
    return hits
