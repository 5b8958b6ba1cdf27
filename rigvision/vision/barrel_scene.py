"""The barrel as the camera sees it: its axis, its surface, and the light on it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.photo.picture import Picture
from rigvision.vision.pose import Pose
from rigvision.vision.sampling import light_at, visible_through_window
from rigvision.vision.view import View
from rigvision.world.frame import Socket
from rigvision.world.gauge import Gauge


@dataclass(frozen=True, slots=True)
class Axis:
    """A barrel axis in the plane z of the drawing: y at ``x_mm``, and its direction."""

    x_mm: float
    y_mm: float
    angle_rad: float
    z_mm: float

    def y_at(self, x_mm: FloatArray) -> FloatArray:
        return np.asarray(self.y_mm + np.tan(self.angle_rad) * (x_mm - self.x_mm))

    def surface(self, x_mm: FloatArray, angle_rad: FloatArray, radius_mm: FloatArray) -> FloatArray:
        """Points (..., 3) at x along, angle about and radius from the axis."""
        # Each coordinate in one piece, as all that is done with the points goes coordinate by
        # coordinate; and angles are turned into sines before there are many of them.
        shape = np.broadcast_shapes(x_mm.shape, angle_rad.shape, radius_mm.shape)
        points = np.empty((3, *shape))
        points[0] = x_mm
        points[1] = self.y_at(x_mm) + radius_mm * np.sin(angle_rad)
        points[2] = self.z_mm + radius_mm * np.cos(angle_rad)
        return np.moveaxis(points, 0, -1)

    def moved(self, by_y_mm: float, by_angle_rad: float) -> Axis:
        """This axis moved at its own ``x_mm``."""
        return replace(self, y_mm=self.y_mm + by_y_mm, angle_rad=self.angle_rad + by_angle_rad)

    def towards_camera_rad(self, view: View, x_mm: float) -> tuple[float, float]:
        """Direction psi to the camera about the axis, and its distance from the axis."""
        dy = float(view.camera_centre_mm[1] - self.y_at(np.asarray(x_mm)))
        dz = float(view.camera_centre_mm[2] - self.z_mm)
        return float(np.arctan2(dy, dz)), float(np.hypot(dy, dz))


@dataclass(frozen=True, slots=True)
class BarrelScene:
    """What every search on the barrel needs."""

    picture: Picture
    pose: Pose
    gauge: Gauge
    socket: Socket

    def drawn_axis(self) -> Axis:
        """The axis where the frame's drawing puts it."""
        return Axis(self.socket.face_x_mm, self.socket.axis_y_mm, 0.0, self.socket.axis_z_mm)

    def light(self, points_mm: FloatArray) -> FloatArray:
        """Linear light (...,) at points (..., 3); NaN where the window hides them."""
        windows = self.gauge.windows
        seen = visible_through_window(
            points_mm,
            self.pose.view,
            self.gauge,
            windows.yoke_x_mm,
            windows.yoke_y_mm,
        )
        return np.where(seen, light_at(self.picture, self.pose.view, points_mm), np.nan)

    def px_per_mm(self, point_mm: FloatArray, along: str) -> float:
        """Scale at a point (3,) along gauge "x" or "y"."""
        direction = np.array([1.0, 0.0, 0.0]) if along == "x" else np.array([0.0, 1.0, 0.0])
        return self.pose.view.px_per_mm(point_mm, direction)
