"""The slot between sill and door: its two edges at each station.

Original pixels are averaged along a few millimetres of edge (``slot_profiles``), the profile
is cut roughly into sill face, slot and door face (``coarse_slot``), and each broken edge is
read where the cut says it is (``broken_edge``).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.photo.picture import Picture
from rigvision.vision.broken_edge import read_edges
from rigvision.vision.coarse_slot import coarse_edges
from rigvision.vision.pose import Pose
from rigvision.vision.slot_profiles import edge_plane_z_mm, slot_profiles
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge


@dataclass(frozen=True, slots=True)
class StationEdges:
    """Both edges at one station, as tangent planes in gauge axes."""

    x_mm: float
    sill_y_mm: float
    door_y_mm: float


@dataclass(frozen=True, slots=True)
class LostStation:
    """A station that could not be read, and why."""

    x_mm: float
    cause: str


@dataclass(frozen=True, slots=True)
class SlotEdges:
    """Edges at the stations that could be read; ``lost`` are the others."""

    plane_z_mm: float  # where the tangent lines of the broken edges lie
    stations: tuple[StationEdges, ...]
    covariance_mm2: FloatArray  # (2 S, 2 S), sill and door of each: noise and shading, not pose
    lost: tuple[LostStation, ...]
    saturated: float  # part of the metal beside the slot at the sensor's limit
    glare_mm: tuple[tuple[float, float], ...] = ()

    @property
    def lost_x_mm(self) -> tuple[float, ...]:
        return tuple(station.x_mm for station in self.lost)


def find_slot(picture: Picture, pose: Pose, gauge: Gauge, frame: Frame) -> SlotEdges:
    """Both edges of the slot at every station of the frame that can be seen and read."""
    plane_z_mm = edge_plane_z_mm(frame)
    profiles, saturated = slot_profiles(picture, pose, gauge, frame)
    coarse = coarse_edges(profiles, frame)
    kept = np.array([i for i, c in enumerate(coarse) if c is not None], dtype=int)
    if not len(kept):
        return SlotEdges(
            plane_z_mm, (), np.zeros((0, 0)), _lost(frame.gap.stations_x_mm), saturated
        )
    read = read_edges(profiles.part(kept), np.array([c for c in coarse if c is not None]))
    good = np.flatnonzero(read.believable)
    stations = tuple(
        StationEdges(float(profiles.x_mm[kept[i]]), *(float(e) for e in read.edges_mm[i]))
        for i in good
    )
    order = (2 * good[:, None] + np.arange(2)).ravel()
    known = {s.x_mm for s in stations}
    return SlotEdges(
        plane_z_mm,
        stations,
        read.covariance_mm2[np.ix_(order, order)],
        _lost(tuple(x for x in frame.gap.stations_x_mm if x not in known)),
        saturated,
    )


def _lost(x_mm: tuple[float, ...]) -> tuple[LostStation, ...]:
    return tuple(LostStation(x, "no-contrast") for x in x_mm)
