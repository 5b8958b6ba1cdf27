"""Brightness across the slot: at each station, original pixels averaged along the edge."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from rigvision.ground.conventions import FloatArray
from rigvision.photo.picture import Picture
from rigvision.photo.saturation import CLIPPED_METAL
from rigvision.vision.edge_spread import EdgeSpread, edge_spread
from rigvision.vision.pose import Pose
from rigvision.vision.sampling import (
    WINDOW_MARGIN_MM,
    light_at,
    trimmed_mean,
    visible_through_window,
)
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge

BoolArray = npt.NDArray[np.bool_]
IndexArray = npt.NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class ProfileTuning:
    """Where profiles are taken, in millimetres in the plane of the edges."""

    half_width_mm: float = 2.4  # along the edge, on either side of a station
    below_mm: float = 2.0  # sill face looked at below the expected edge
    above_mm: float = 6.5  # slot and door face looked at above it
    step_px: float = 0.7  # along the profile
    visible_part: float = 0.5  # of a station's width
    saturation: float = CLIPPED_METAL  # linear light; brighter is at the sensor's limit


@dataclass(frozen=True, slots=True)
class SlotProfiles:
    """Mean brightness across the slot at S stations, and the geometry it is seen by."""

    x_mm: FloatArray  # (S,)
    y_mm: FloatArray  # (N,) the same rows for all
    light: FloatArray  # (S, N) linear light; NaN out of view
    error: FloatArray  # (S, N) standard error of ``light``
    px_per_mm: FloatArray  # (S,) along y
    spread: EdgeSpread  # of those marks' borders that are about as blurred
    focus: FloatArray  # (S,) blur at the edges over that of those borders
    ray_slope: float
    radius_mm: float
    sill_depth_mm: float
    door_depth_mm: float

    def part(self, index: IndexArray) -> SlotProfiles:
        """The stations of one index array."""
        return replace(
            self,
            x_mm=self.x_mm[index],
            light=self.light[index],
            error=self.error[index],
            px_per_mm=self.px_per_mm[index],
            focus=self.focus[index],
        )


@dataclass(frozen=True, slots=True)
class SlotPixels:
    """The light that the profiles are means of, column by column along the edge."""

    light: FloatArray  # (S, N, C) linear light; NaN out of view
    y_mm: FloatArray  # (N,)
    along_mm: FloatArray  # (C,) from the station
    limit: float  # linear light; brighter is at the sensor's limit

    def part(self, index: IndexArray) -> SlotPixels:
        """The stations of one index array."""
        return replace(self, light=self.light[index])

    def saturated(self, sill_y_mm: float) -> float:
        """Part of the metal beside the slot that is at the sensor's limit."""
        near = self.light[:, np.abs(self.y_mm - sill_y_mm) < 3.0]
        seen = np.isfinite(near)
        return float(np.mean(near[seen] > self.limit)) if seen.any() else 0.0


def edge_plane_z_mm(frame: Frame) -> float:
    """The plane in which the tangent lines of the broken edges lie."""
    return frame.sill.face_z_mm - frame.sill.edge_radius_mm


def slot_profiles(
    picture: Picture, pose: Pose, gauge: Gauge, frame: Frame, tuning: ProfileTuning | None = None
) -> tuple[SlotProfiles, SlotPixels]:
    """Averaged brightness across the slot at each station, and what it is averaged from."""
    tuning = tuning or ProfileTuning()
    view, sill_y = pose.view, frame.sill.edge_y_mm
    plane_z_mm = edge_plane_z_mm(frame)
    middle = np.array([0.0, sill_y, plane_z_mm])
    up, right = np.array([0.0, 1.0, 0.0]), np.array([1.0, 0.0, 0.0])
    step_mm = tuning.step_px / view.px_per_mm(middle, up)
    y_mm = np.arange(sill_y - tuning.below_mm, sill_y + tuning.above_mm, step_mm)
    columns = max(12, int(tuning.half_width_mm * view.px_per_mm(middle, right)))  # each 2 px
    stations = np.asarray(frame.gap.stations_x_mm)
    grid = np.zeros((len(stations), len(y_mm), columns, 3))
    along = np.linspace(-tuning.half_width_mm, tuning.half_width_mm, columns)
    grid[..., 0] = stations[:, None, None] + along
    grid[..., 1] = y_mm[:, None]
    grid[..., 2] = plane_z_mm
    light = np.where(_in_view(grid, pose, gauge, frame), light_at(picture, view, grid), np.nan)
    averaged = [_average(strip, tuning) for strip in light]
    points = np.column_stack([stations, np.full((len(stations), 2), (sill_y, plane_z_mm))])
    blur_px = pose.focus.blur_px(view, points)
    spread = edge_spread(pose.borders, float(np.median(blur_px)))
    profiles = SlotProfiles(
        stations,
        y_mm,
        np.stack([mean for mean, _ in averaged]),
        np.stack([error for _, error in averaged]),
        np.array([view.px_per_mm(p, up) for p in points]),
        spread,
        blur_px / spread.blur_px,
        view.ray_slope_y(middle),
        frame.sill.edge_radius_mm,
        frame.sill.thickness_mm,
        frame.door.thickness_mm,
    )
    return profiles, SlotPixels(light, y_mm, along, tuning.saturation)


def _in_view(grid: FloatArray, pose: Pose, gauge: Gauge, frame: Frame) -> BoolArray:
    """Which points are seen through the gap's window and lie on the door's span."""
    seen = visible_through_window(
        grid,
        pose.view,
        gauge,
        gauge.windows.gap_x_mm,
        gauge.windows.gap_y_mm,
    )
    low, high = frame.door.span_x_mm
    margin = WINDOW_MARGIN_MM
    return seen & (grid[..., 0] > low + margin) & (grid[..., 0] < high - margin)


def _average(strip: FloatArray, tuning: ProfileTuning) -> tuple[FloatArray, FloatArray]:
    """Mean over a station's width and its standard error, row by row; NaN out of view."""
    visible = np.isfinite(strip).mean(axis=1) >= tuning.visible_part
    mean, error = trimmed_mean(strip)
    return np.where(visible, mean, np.nan), np.where(visible, error, np.nan)
