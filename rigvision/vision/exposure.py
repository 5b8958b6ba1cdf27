"""How the picture is exposed where it matters: on the marks' white pads and around the socket."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rigvision.ground.conventions import FloatArray
from rigvision.photo.picture import Picture
from rigvision.photo.saturation import CLIPPED_WHITE
from rigvision.vision.view import View
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge

#: Samples along each side of a pad's white rim, and how much of its width is kept clear.
SAMPLES, CLEAR_PART = 9, 0.25
#: Samples across and along the socket's barrel.
BARREL_SAMPLES = (9, 25)


@dataclass(frozen=True, slots=True)
class Exposure:
    """Linear light on each plate mark's pad, marks (M,) in rising order, and on the barrel."""

    ids: tuple[int, ...]
    light: FloatArray  # (M,) median of the pad; NaN outside the picture
    blown: FloatArray  # (M,) part of the pad at the sensor's limit; NaN outside the picture
    barrel_light: float  # median; NaN where there is no socket, or it is outside the picture
    barrel_blown: float

    @property
    def white(self) -> float:
        """Light of the gauge's white; NaN where no pad is in the picture."""
        seen = self.light[np.isfinite(self.light)]
        return float(np.median(seen)) if len(seen) else float("nan")

    @property
    def white_blown(self) -> float:
        """Part of all white in the picture that is at the sensor's limit."""
        seen = self.blown[np.isfinite(self.blown)]
        return float(np.mean(seen)) if len(seen) else 0.0


def find_exposure(picture: Picture, view: View, gauge: Gauge, frame: Frame) -> Exposure:
    """Light on the white rims between marks and the ends of their pads, and on the barrel."""
    ids = tuple(sorted(gauge.marks.centres_mm))
    rim = _rim_mm(gauge.marks.size_mm / 2, gauge.marks.pad_mm / 2)
    centres = np.array([gauge.marks.centres_mm[i] for i in ids])
    pads = np.zeros((len(ids), len(rim), 3))
    pads[..., :2] = centres[:, None] + rim
    rows = [_light_and_blown(picture, view, pad) for pad in pads]
    light, blown = np.array(rows).T
    return Exposure(ids, light, blown, *_light_and_blown(picture, view, _barrel_mm(frame)))


def _light_and_blown(picture: Picture, view: View, points_mm: FloatArray) -> tuple[float, float]:
    """Median light at points (N, 3) and the part at the limit; NaN where most are not in view."""
    light, seen = _nearest_light(picture, view.project(points_mm))
    if seen.sum() <= len(points_mm) / 2:
        return float("nan"), float("nan")
    return float(np.median(light[seen])), float(np.mean(light[seen] > CLIPPED_WHITE))


def _nearest_light(
    picture: Picture, points_px: FloatArray
) -> tuple[FloatArray, npt.NDArray[np.bool_]]:
    """Linear light of the pixels nearest to points (N, 2), and which lie in the picture.

    Nothing is gained between pixels here, and reading them alone is quick.
    """
    column, row = np.round(points_px).astype(np.intp).reshape(-1, 2).T
    seen = (column >= 0) & (column < picture.width_px) & (row >= 0) & (row < picture.height_px)
    light = np.zeros(len(column))
    light[seen] = picture.linear_at(row[seen], column[seen])
    return light, seen


def _rim_mm(inner_mm: float, outer_mm: float) -> FloatArray:
    """Points (N, 2) along the middle of a square rim."""
    reach = (inner_mm + outer_mm) / 2
    along = np.linspace(-reach, reach, SAMPLES) * (1.0 - CLEAR_PART)
    side = np.full(SAMPLES, reach)
    ways = ((along, side), (along, -side), (side, along), (-side, along))
    return np.concatenate([np.column_stack(way) for way in ways])


def _barrel_mm(frame: Frame) -> FloatArray:
    """Points (N, 3) over the barrel's front, none where the frame has no socket."""
    socket = frame.socket
    if socket is None:
        return np.zeros((0, 3))
    across, along = BARREL_SAMPLES
    y = socket.axis_y_mm + 0.7 * socket.radius_mm * np.linspace(-1.0, 1.0, across)
    x = np.linspace(socket.face_x_mm, socket.barrel_end_x_mm, along + 2)[1:-1]
    grid_x, grid_y = (a.ravel() for a in np.meshgrid(x, y))
    return np.column_stack([grid_x, grid_y, np.full(len(grid_x), socket.axis_z_mm)])
