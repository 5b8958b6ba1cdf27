"""The door-edge gap: at each station, its mean, its taper, and where the sill lies.

One model, ``GapModel``, says what the readings become when their inputs err. Propagated
linearly it gives the budget of every figure; drawn from, its Monte Carlo distribution.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.ground.measured import Measured
from rigvision.ground.propagation import Source, propagate, root_of, single
from rigvision.metrology.edge_definition import EdgeDefinitionTuning, edge_definition
from rigvision.metrology.view_errors import FixedPixels, view_sources
from rigvision.vision.pose import Pose
from rigvision.vision.slot import SlotEdges
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge


@dataclass(frozen=True, slots=True)
class GapTuning:
    """Type B influences, standard uncertainties; each says where it comes from."""

    edge_definition: EdgeDefinitionTuning = field(default_factory=EdgeDefinitionTuning)
    # Drawings tolerate broken edges widely: common practice. Both edges are broken to one
    # drawing in one way, and so taken to be off alike.
    radius_relative: float = 0.2
    plane_depth_mm: float = 0.10  # of both faces from the gauge's seat: common practice
    flush_mm: float = 0.02  # of the door's face from the sill's, machined: common practice
    seating_rad: float = 1e-3  # of the plate against the faces: 0.1 mm over its size
    temperature_K: float = 10.0  # gauge away from 20 degC: common practice


@dataclass(frozen=True, slots=True)
class Station:
    x_mm: float
    gap_mm: Measured | None  # None where the edges could not be read


@dataclass(frozen=True, slots=True)
class SillLine:
    """Where the sill's edge was found, against where the drawing puts it."""

    offset_mm: Measured  # at the middle of the stations, positive in +y
    tilt_deg: Measured  # counter-clockwise positive


@dataclass(frozen=True, slots=True)
class Gap:
    stations: tuple[Station, ...]
    mean_mm: Measured
    taper_mm: Measured | None  # None where fewer than three stations were read
    sill: SillLine


def measure_gap(
    slot: SlotEdges, pose: Pose, gauge: Gauge, frame: Frame, tuning: GapTuning | None = None
) -> Gap | None:
    """Gap with its budget; None where fewer than two stations were read."""
    if len(slot.stations) < 2:
        return None
    model = GapModel(slot, pose, gauge, frame, tuning)
    mean, taper, offset, tilt, *gaps = propagate(model, model.sources)
    by_x = dict(zip(model.x_mm.tolist(), gaps, strict=True))
    stations = tuple(Station(x, by_x.get(x)) for x in frame.gap.stations_x_mm)
    return Gap(stations, mean, taper if model.taper_known else None, SillLine(offset, tilt))


class GapModel:
    """From errors of the inputs to mean, taper, sill offset (mm), sill tilt (deg), gaps (mm).

    Edges are pixels: each is carried back to its plane by the view as it may really have been,
    and moved by what else may be wrong with it.
    """

    def __init__(
        self,
        slot: SlotEdges,
        pose: Pose,
        gauge: Gauge,
        frame: Frame,
        tuning: GapTuning | None = None,
    ) -> None:
        self._frame, tuning = frame, tuning or GapTuning()
        self.x_mm = np.array([s.x_mm for s in slot.stations])
        edges_mm = np.array([[s.sill_y_mm, s.door_y_mm] for s in slot.stations]).ravel()
        points = np.column_stack(
            [np.repeat(self.x_mm, 2), edges_mm, np.full(len(edges_mm), slot.plane_z_mm)]
        )
        self._edges_mm, self._points = edges_mm, points
        self._pixels = FixedPixels(pose, points)
        self._as_solved = self._pixels.read(np.zeros((1, 11)), np.zeros((1, 1)))
        self.sources = (*_edge_sources(slot, gauge, frame, tuning), *view_sources(pose))
        self._expansion_per_K = gauge.plate.thermal_expansion_per_K
        self._mean, self._taper = self._weights()

    @property
    def taper_known(self) -> bool:
        """Whether the stations read reach far enough to both sides."""
        return tells_taper(self.x_mm)

    def __call__(self, errors: Mapping[str, FloatArray]) -> FloatArray:
        """Figures (B, 4 + S) for errors of every source's inputs, each (B, n)."""
        edges = self.edges(errors).reshape(-1, len(self.x_mm), 2)
        sill, door = edges[..., 0], edges[..., 1]
        slope = sill @ slope_weights(self.x_mm)
        # Square to the sill.
        gaps = (door - sill) / np.sqrt(1.0 + slope**2)[:, None]
        offset = sill.mean(axis=1) - self._frame.sill.edge_y_mm
        tilt_deg = np.degrees(np.arctan(slope))
        return np.column_stack([gaps @ self._mean, gaps @ self._taper, offset, tilt_deg, gaps])

    def edges(self, errors: Mapping[str, FloatArray]) -> FloatArray:
        """Tangent planes (B, 2 S) along y, sill and door of each station."""
        view = sum(errors[name] for name in ("mark positions", "lens", "focal length", "pose"))
        radius_mm = errors["edge radius"]
        # A larger round has its tangent line further back.
        depth = errors["plane depth"] - radius_mm + self._seating(errors["seating"])
        depth[:, 1::2] += errors["door flush"]
        read = self._pixels.read(np.asarray(view), depth)
        y = self._edges_mm + read[..., 1] - self._as_solved[..., 1]
        y += errors["edge fit"] + errors["edge definition"]
        y += self._outline(read[..., 3]) * radius_mm
        return np.asarray(y * (1.0 + self._expansion_per_K * errors["temperature"]))

    def _seating(self, turns_rad: FloatArray) -> FloatArray:
        """Depth (B, 2 S) of the edges where the plate is turned about the sill and about y."""
        up = self._points[:, 1] - self._frame.sill.edge_y_mm
        return np.asarray(turns_rad[:, :1] * up + turns_rad[:, 1:] * self._points[:, 0])

    def _outline(self, slopes: FloatArray) -> FloatArray:
        """How far tangent planes (B, 2 S) move along y for a radius larger by one.

        Seen at slope t, an edge's outline against the slot stands (sqrt(1 + t^2) - 1) r off
        its tangent plane. From above the door shows one, from below the sill; the other edge
        turns its inner face to the camera and shows its tangent line.
        """
        off = np.sqrt(1.0 + slopes**2) - 1.0
        door = np.arange(slopes.shape[1]) % 2 == 1
        outline = door == (slopes >= 0.0)
        return np.asarray(np.where(outline, np.where(door, off, -off), 0.0))

    def _weights(self) -> tuple[FloatArray, FloatArray]:
        """Weights (S,) of the stations' gaps in mean and taper.

        The taper is the gap at the last station minus the first, from the line through all:
        the edges are straight, and a line through seven readings knows its ends better than
        the two outermost readings alone.
        """
        wanted = np.asarray(self._frame.gap.stations_x_mm)
        taper = (wanted[-1] - wanted[0]) * slope_weights(self.x_mm)
        return mean_weights(self.x_mm, wanted), taper


def _edge_sources(
    slot: SlotEdges, gauge: Gauge, frame: Frame, tuning: GapTuning
) -> tuple[Source, ...]:
    """What may be wrong with edges beside the view; errors along y or of the named input."""
    fit = slot.covariance_mm2
    radius_u = tuning.radius_relative * frame.sill.edge_radius_mm
    return (
        # Hundreds of pixels a station: no fewer degrees of freedom than infinitely many.
        Source(
            "edge fit",
            "A",
            root_of(fit),
            input_uncertainty=float(np.sqrt(np.mean(np.diag(fit)))),
            unit="mm",
            inputs="edges/fit",
        ),
        edge_definition(len(slot.stations), frame.sill.edge_radius_mm, tuning.edge_definition),
        single("edge radius", "B", radius_u, "mm", shape="rectangular", inputs="edges/radius"),
        single("plane depth", "B", tuning.plane_depth_mm, "mm", inputs="edges/plane depth"),
        single("door flush", "B", tuning.flush_mm, "mm", inputs="edges/door flush"),
        Source(
            "seating",
            "B",
            np.eye(2) * tuning.seating_rad,
            input_uncertainty=tuning.seating_rad,
            unit="rad",
            inputs="seating",
        ),
        single(
            "temperature", "B", tuning.temperature_K, "K", shape="rectangular", inputs="temperature"
        ),
    )


def tells_taper(read_x: FloatArray) -> bool:
    """Whether the stations read make a line that their own scatter can be told from.

    Where an end is lost the line is continued, as the edges are straight, and the uncertainty
    grows as its slope's does. A taper left open there would pass unjudged.
    """
    return len(read_x) > 2


def slope_weights(read_x: FloatArray) -> FloatArray:
    """Weights (R,) of readings in the slope of the straight line through them."""
    x = read_x - read_x.mean()
    return np.asarray(x / np.sum(x**2))


def mean_weights(read_x: FloatArray, wanted_x: FloatArray) -> FloatArray:
    """Weights (R,) of the readings in the mean over the wanted stations.

    With all read, all weigh alike. A lost station counts as the straight line through the
    readings says, so that a lost end does not shift the mean of a tapered gap.
    """
    weights = np.zeros(len(read_x))
    x = read_x - read_x.mean()
    for wanted in wanted_x:
        match = np.flatnonzero(read_x == wanted)
        if len(match):
            weights[match[0]] += 1.0
        else:
            weights += 1.0 / len(x) + (wanted - read_x.mean()) * x / np.sum(x**2)
    return weights / len(wanted_x)
