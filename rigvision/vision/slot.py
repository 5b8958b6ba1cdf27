"""The slot between sill and door: its two edges at each station.

Original pixels are averaged along a few millimetres of edge (``slot_profiles``), the profile
is cut roughly into sill face, slot and door face (``coarse_slot``), and each broken edge is
read where the cut says it is (``broken_edge``). What was read is believed where it is an edge:
lit within the sensor's limits and straight (``edge_course``), in one line with the other
stations (``straight_edges``).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.photo.picture import Picture
from rigvision.vision.broken_edge import read_edges
from rigvision.vision.edge_course import EdgeCourse, edge_course
from rigvision.vision.edge_glare import Span, edge_glare
from rigvision.vision.lost_station import LossCause, LostStation
from rigvision.vision.pose import Pose
from rigvision.vision.slot_cuts import slot_cuts
from rigvision.vision.slot_profiles import (
    BoolArray,
    IndexArray,
    SlotPixels,
    SlotProfiles,
    edge_plane_z_mm,
    slot_profiles,
)
from rigvision.vision.straight_edges import on_straight_edges
from rigvision.vision.unusual_light import unusual_variance
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge


@dataclass(frozen=True, slots=True)
class BeliefTuning:
    """When an edge that was read is no edge."""

    # Part of the face beside an edge at the sensor's limit: how bright the face is, and so how
    # far light has fallen, is not known then.
    most_clipped: float = 0.25
    # From this part on, at half the stations, the light near an edge has an unknown peak: a
    # highlight on its round. Standard uncertainty in radii; one such sample is off by 0.4.
    some_clipped: float = 0.1
    clipped_radii: float = 0.2
    straight_mm: float = 0.015  # edges wander by so much, read in pieces, where nothing hides them
    most_wander_mm: float = 0.12  # half a usual broken edge's radius
    # Waves in the median station, in mm and times the other edge's, of what is no edge of metal.
    most_waves_mm: float = 0.018
    most_waves_times: float = 4.0


@dataclass(frozen=True, slots=True)
class StationEdges:
    """Both edges at one station, as tangent planes in gauge axes."""

    x_mm: float
    sill_y_mm: float
    door_y_mm: float


@dataclass(frozen=True, slots=True)
class SlotEdges:
    """Edges at the stations that could be read; ``lost`` are the others."""

    plane_z_mm: float  # where the tangent lines of the broken edges lie
    stations: tuple[StationEdges, ...]
    covariance_mm2: FloatArray  # (2 S, 2 S), sill and door of each: noise and shading, not pose
    lost: tuple[LostStation, ...]
    # Where along x an edge, or where it should be, lies in glare: from, to, rising.
    glare_mm: tuple[Span, ...] = ()


@dataclass(frozen=True, slots=True)
class _Read:
    """Stations with edges: which of the profiles (K,), where (K, 2), covariance (2 K, 2 K)."""

    index: IndexArray
    edges_mm: FloatArray
    covariance_mm2: FloatArray

    def part(self, good: BoolArray) -> _Read:
        order = np.flatnonzero(np.repeat(good, 2))
        return _Read(
            self.index[good], self.edges_mm[good], self.covariance_mm2[np.ix_(order, order)]
        )

    def wider(self, variance_mm2: FloatArray) -> _Read:
        """More doubt (K, 2) of each station's own."""
        return replace(self, covariance_mm2=self.covariance_mm2 + np.diag(variance_mm2.ravel()))

    def wider_alike(self, variance_mm2: FloatArray) -> _Read:
        """More doubt (2,) of sill and door, the same at all stations."""
        n = len(self.index)
        more = np.kron(np.ones((n, n)), np.diag(variance_mm2))
        return replace(self, covariance_mm2=self.covariance_mm2 + more)


def find_slot(
    picture: Picture,
    pose: Pose,
    gauge: Gauge,
    frame: Frame,
    white_blown: float = 0.0,
    tuning: BeliefTuning | None = None,
) -> SlotEdges:
    """Both edges of the slot at every station of the frame that can be seen and read.

    ``white_blown``: part of the marks' white at the sensor's limit.
    """
    profiles, pixels = slot_profiles(picture, pose, gauge, frame)
    cuts = slot_cuts(profiles, frame)
    lost: dict[int, LossCause] = {i: c.cause for i, c in enumerate(cuts) if c.cause}
    index = np.array([i for i, c in enumerate(cuts) if c.edges_mm], dtype=int)
    rough_mm = np.array([c.edges_mm for c in cuts if c.edges_mm]).reshape(-1, 2)
    read = _Read(index, rough_mm, np.zeros((2 * len(index), 2 * len(index))))
    if len(index):
        light = np.array([c.light for c in cuts if c.edges_mm])
        read = _believed(profiles, pixels, read, light, lost, tuning or BeliefTuning())
        read = _straight(profiles, read, lost)
    if len(read.index):
        found = profiles.part(read.index)
        read = read.wider_alike(unusual_variance(found, read.edges_mm, white_blown))
    sill_mm = frame.sill.edge_y_mm
    for i in [i for i, cause in lost.items() if cause == "no-contrast"]:
        if pixels.part(np.array([i])).saturated(sill_mm) > (tuning or BeliefTuning()).most_clipped:
            lost[i] = "saturated"
    glare_mm: tuple[Span, ...] = ()
    if pixels.saturated(sill_mm) > 0.0:
        lines = _lines(profiles.x_mm[index], rough_mm, frame)
        glare_mm = edge_glare(picture, pose.view, gauge, frame, lines, pixels.limit)
    return SlotEdges(
        edge_plane_z_mm(frame),
        tuple(
            StationEdges(float(profiles.x_mm[i]), float(sill), float(door))
            for i, (sill, door) in zip(read.index, read.edges_mm, strict=True)
        ),
        read.covariance_mm2,
        tuple(LostStation(float(profiles.x_mm[i]), lost[i]) for i in sorted(lost)),
        glare_mm,
    )


def _believed(
    profiles: SlotProfiles,
    pixels: SlotPixels,
    rough: _Read,
    light_duct: BoolArray,
    lost: dict[int, LossCause],
    tuning: BeliefTuning,
) -> _Read:
    """The edges as the network reads them, where they look like edges; ``lost`` gains the rest."""
    profiles, pixels = profiles.part(rough.index), pixels.part(rough.index)
    read = read_edges(profiles, rough.edges_mm, light_duct=light_duct)
    course = edge_course(pixels, read.edges_mm, light_duct)
    clipped = course.clipped.max(axis=1) > tuning.most_clipped
    crooked = course.wander_mm.max(axis=1) > tuning.most_wander_mm
    good = read.believable & ~clipped & ~crooked & ~_covered(course, tuning).any()
    for i in np.flatnonzero(~good):
        lost[int(rough.index[i])] = "saturated" if clipped[i] else "disagrees"
    found = _Read(rough.index, read.edges_mm, read.covariance_mm2)
    wander = np.where(np.isfinite(course.wander_mm), course.wander_mm, 0.0)
    found = found.wider(np.maximum(wander**2 - tuning.straight_mm**2, 0.0))
    peaks = np.median(course.clipped, axis=0) > tuning.some_clipped
    doubt_mm = tuning.clipped_radii * profiles.radius_mm
    found = found.wider_alike(np.where(peaks, doubt_mm**2, 0.0))
    return found.part(good)


def _covered(course: EdgeCourse, tuning: BeliefTuning) -> BoolArray:
    """Which of sill and door (2,) cannot be the metal's own edge anywhere.

    A film that lies along all of an edge ends in waves. The other edge, straight in the same
    light, shows that the picture does not make them.
    """
    usual = np.median(course.waves_mm, axis=0)
    return (usual > tuning.most_waves_mm) & (usual > tuning.most_waves_times * usual[::-1])


def _straight(profiles: SlotProfiles, read: _Read, lost: dict[int, LossCause]) -> _Read:
    """What lies on straight edges; ``lost`` gains the rest."""
    variance = np.diag(read.covariance_mm2).reshape(-1, 2)
    on_line, more = on_straight_edges(profiles.x_mm[read.index], read.edges_mm, variance)
    for index in read.index[~on_line]:
        lost[int(index)] = "disagrees"
    kept = read.part(on_line)
    return kept.wider(np.tile(more, (len(kept.index), 1)))


def _lines(x_mm: FloatArray, edges_mm: FloatArray, frame: Frame) -> FloatArray:
    """Intercept and slope (2, 2) of sill and door; as drawn where too little was found."""
    if len(x_mm) < 2:
        sill = frame.sill.edge_y_mm
        return np.array([[sill, 0.0], [sill + frame.gap.nominal_mm, 0.0]])
    return np.array([np.polyfit(x_mm, edges_mm[:, k], 1)[::-1] for k in range(2)])
