"""One set-up in several hand-made photos: what each view would read of the same places."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from rigvision.metrology.reading import PhotoView
from rigvision.vision.camera_prior import CameraPrior
from rigvision.vision.slot import SlotEdges, StationEdges
from rigvision.vision.view import View
from rigvision.vision.view_problem import SharedPulls
from rigvision.vision.yoke import YokeFeatures
from rigvision.world.frame import Frame
from tests.hand_made import VARIANCES, pose_at, slot_of, socket_place, yoke_place
from tests.views import view_at

#: From above, from below, from the side: none square-on.
VIEWS = (
    view_at(tilt_deg=28.0, azimuth_deg=80.0),
    view_at(tilt_deg=30.0, azimuth_deg=-100.0, roll_deg=-9.0, distance_mm=260.0),
    view_at(tilt_deg=18.0, azimuth_deg=10.0, roll_deg=12.0, distance_mm=300.0),
    view_at(tilt_deg=12.0, azimuth_deg=170.0, roll_deg=80.0, distance_mm=210.0),
)
#: The marks where they are drawn; the phone's focal length and lens no better than ``pose_at``.
PULLS = SharedPulls(np.zeros((11, 16)), np.diag(np.sqrt(VARIANCES))[:, 6:10])
PRIOR = CameraPrior(2600.0, 0.02, (2010.0, 1480.0), 24.0, 0.012, 0.01)


def photo_of(
    frame: Frame,
    key: str,
    view: View = VIEWS[0],
    *,
    gaps_mm: float | np.ndarray = 0.8,
    socket: Any = None,
    yoke: Any = None,
    with_yoke: bool = True,
    **slot: Any,
) -> PhotoView:
    """A photo that reads this gap, and yoke and socket aligned unless given otherwise."""
    gaps = np.broadcast_to(np.asarray(gaps_mm, dtype=float), (len(frame.gap.stations_x_mm),))
    features = YokeFeatures(yoke or yoke_place(4.0, -20.0), socket or socket_place(-20.0))
    return PhotoView(
        key,
        pose_at(view),
        PULLS,
        PRIOR,
        slot_of(frame, gaps, **slot),
        features if with_yoke else None,
    )


def off_plane(slot: SlotEdges, view: View, nearer_mm: float) -> SlotEdges:
    """What this view reads of edges that lie nearer to the camera than they are drawn."""
    x = np.repeat([s.x_mm for s in slot.stations], 2)
    y = np.ravel([[s.sill_y_mm, s.door_y_mm] for s in slot.stations])
    true = np.column_stack([x, y, np.full(len(x), slot.plane_z_mm + nearer_mm)])
    seen_y = view.on_plane_z(view.project(true), slot.plane_z_mm)[:, 1].reshape(-1, 2)
    stations = tuple(
        StationEdges(s.x_mm, float(sill), float(door))
        for s, (sill, door) in zip(slot.stations, seen_y, strict=True)
    )
    return replace(slot, stations=stations)
