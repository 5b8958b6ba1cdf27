"""The door-edge gap: at each station, its mean, its taper, and where the sill lies."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.ground.measured import Influence, Measured
from rigvision.metrology.sensitivity import plane_sensitivity, view_spreads
from rigvision.vision.pose import Pose
from rigvision.vision.slot import SlotEdges
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge


@dataclass(frozen=True, slots=True)
class GapTuning:
    """Type B influences, standard uncertainties; each says where it comes from."""

    # How far a round's shading may shift both edges of all stations alike, as part of the
    # radius: measured on path-traced pictures (docs/accuracy.md).
    edge_definition_radii: float = 0.14
    # The same, apart at each station: local dirt, burrs, light.
    edge_station_radii: float = 0.06
    radius_relative: float = 0.2  # drawings tolerate broken edges widely: common practice
    plane_depth_mm: float = 0.10  # plate seating and door flushness: common practice
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
    taper_mm: Measured | None  # None where an outermost third has no reading
    sill: SillLine


def measure_gap(
    slot: SlotEdges, pose: Pose, gauge: Gauge, frame: Frame, tuning: GapTuning | None = None
) -> Gap | None:
    """Gap with its budget; None where fewer than two stations were read."""
    if len(slot.stations) < 2:
        return None
    tuning = tuning or GapTuning()
    reading = _Reading(slot, pose, gauge, frame, tuning)
    by_x = {x: reading.station(i) for i, x in enumerate(reading.x_mm)}
    stations = tuple(Station(x, by_x.get(x)) for x in frame.gap.stations_x_mm)
    return Gap(stations, reading.mean(), reading.taper(), reading.sill())


class _Reading:
    """Edges as arrays, with the gap's derivative by every view parameter."""

    def __init__(
        self, slot: SlotEdges, pose: Pose, gauge: Gauge, frame: Frame, tuning: GapTuning
    ) -> None:
        self._pose, self._gauge, self._frame, self._tuning = pose, gauge, frame, tuning
        self.x_mm = np.array([s.x_mm for s in slot.stations])
        self._sill_y = np.array([s.sill_y_mm for s in slot.stations])
        door_y = np.array([s.door_y_mm for s in slot.stations])
        self._covariance = slot.covariance_mm2
        z = np.full_like(self.x_mm, slot.plane_z_mm)
        self._sill_by_view = plane_sensitivity(pose, np.column_stack([self.x_mm, self._sill_y, z]))[
            :, 1
        ]
        door_by_view = plane_sensitivity(pose, np.column_stack([self.x_mm, door_y, z]))[:, 1]
        slope = np.polyfit(self.x_mm, self._sill_y, 1)[0]
        self._square = float(np.cos(np.arctan(slope)))  # square to the sill
        self._gap = (door_y - self._sill_y) * self._square
        self._gap_by_view = door_by_view - self._sill_by_view
        self._slopes = np.array(
            [
                pose.view.ray_slope_y(np.array([x, y, slot.plane_z_mm]))
                for x, y in zip(self.x_mm, self._sill_y, strict=True)
            ]
        )

    def station(self, index: int) -> Measured:
        weights = np.zeros(len(self.x_mm))
        weights[index] = 1.0
        return self._combine(float(self._gap[index]), weights)

    def mean(self) -> Measured:
        """Mean over the frame's stations. Lost ones are filled from the line of the others."""
        weights = mean_weights(self.x_mm, np.asarray(self._frame.gap.stations_x_mm))
        return self._combine(float(weights @ self._gap), weights)

    def taper(self) -> Measured | None:
        """Gap at the last station minus the first, from the line through all stations.

        The edges are straight: a line through seven readings knows its ends better than
        the two outermost readings alone.
        """
        wanted = self._frame.gap.stations_x_mm
        span = wanted[-1] - wanted[0]
        if not tells_taper(self.x_mm, wanted):
            return None
        weights = span * slope_weights(self.x_mm)
        return self._combine(float(weights @ self._gap), weights)

    def sill(self) -> SillLine:
        edge_y = self._frame.sill.edge_y_mm
        mean = np.full(len(self.x_mm), 1.0 / len(self.x_mm))
        slope = slope_weights(self.x_mm)
        sill_covariance = self._covariance[::2, ::2]
        shading = self._tuning.edge_definition_radii * self._frame.sill.edge_radius_mm
        depth = self._tuning.plane_depth_mm * float(np.abs(self._slopes).mean())

        def combine(value: float, w: FloatArray, extra: float, factor: float) -> Measured:
            pose, focal, lens = view_spreads(w @ self._sill_by_view, self._pose.covariance)
            parts = (float(np.sqrt(w @ sill_covariance @ w)), pose, focal, lens, extra)
            names = ("edge fit", "pose", "focal length", "lens", "edge definition and depth")
            return Measured(
                factor * value,
                tuple(
                    Influence(n, "A" if i == 0 else "B", factor * p)
                    for i, (n, p) in enumerate(zip(names, parts, strict=True))
                ),
            )

        offset = combine(
            float(np.mean(self._sill_y) - edge_y), mean, float(np.hypot(shading, depth)), 1.0
        )
        tilt_rad = float(slope @ self._sill_y)
        local = self._tuning.edge_station_radii * self._frame.sill.edge_radius_mm
        spread = local * float(np.sqrt(np.sum(slope**2)))
        return SillLine(offset, combine(tilt_rad, slope, spread, float(np.degrees(1.0))))

    def _combine(self, value: float, weights: FloatArray) -> Measured:
        """Budget of a weighted sum of the stations' gaps."""
        tuning, radius = self._tuning, self._frame.sill.edge_radius_mm
        pose, focal, lens = view_spreads(weights @ self._gap_by_view, self._pose.covariance)
        total = abs(float(weights.sum()))
        local = float(np.sqrt(np.sum(weights**2)))
        t = float(np.mean(self._slopes))
        common = tuning.edge_definition_radii * radius * np.sqrt(2.0) * total
        apart = tuning.edge_station_radii * radius * np.sqrt(2.0) * local
        # An outline seen at slope t stands (sqrt(1 + t^2) - 1) r off the tangent plane: one
        # of the two edges shows one, the other its tangent line.
        outline = float(np.sqrt(1.0 + t * t) - 1.0) * tuning.radius_relative * radius * total
        distance = self._pose.view.distance_mm
        depth = tuning.plane_depth_mm / distance * abs(value)
        marks = self._gauge.marks.position_uncertainty_mm / 100.0 * abs(value)
        ends = np.column_stack([-weights, weights]).ravel()  # sill and door of each station
        fit = sqrt(max(float(ends @ self._covariance @ ends), 0.0))
        heat = self._gauge.plate.thermal_expansion_per_K * tuning.temperature_K * abs(value)
        return Measured(
            value,
            (
                Influence("edge fit", "A", fit),
                Influence("edge definition", "B", float(np.hypot(common, apart))),
                Influence("edge radius", "B", outline),
                Influence("pose", "B", pose),
                Influence("focal length", "B", focal),
                Influence("lens", "B", lens),
                Influence("mark positions", "B", marks),
                Influence("plane depth", "B", depth),
                Influence("temperature", "B", heat),
            ),
        )


def tells_taper(read_x: FloatArray, wanted_x: tuple[float, ...]) -> bool:
    """Whether the stations read reach far enough to both sides."""
    return len(read_x) >= 3 and bool(np.ptp(read_x) >= 0.6 * (wanted_x[-1] - wanted_x[0]))


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
