"""Pinhole with one radial term: where a point of the rig falls in the picture.

Gauge axes in mm; pixels have the centre of the top-left pixel at (0, 0), x right, y down.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

FULL_FRAME_DIAGONAL_MM = 43.27
SENSOR_DIAGONAL_MM = 11.2
F_NUMBER = 1.8
FOCUS_POINT_MM = (0.0, 12.4, -6.0)


@dataclass(frozen=True)
class View:
    """Where the phone is held, and its lens.

    ``tilt_deg`` is the angle between the ray to the gauge's origin and the gauge's normal;
    ``azimuth_deg`` is the side it is held to (0 = right, 90 = above); ``roll_deg`` turns the
    phone counter-clockwise; ``aim_mm`` is the point of the marks plane in mid-picture.
    """

    distance_mm: float
    tilt_deg: float
    azimuth_deg: float
    roll_deg: float = 0.0
    aim_mm: tuple[float, float] = (0.0, 0.0)
    size_px: tuple[int, int] = (4000, 3000)
    focal_scale: float = 1.0
    focal_35mm: int = 26
    principal_offset_px: tuple[float, float] = (0.0, 0.0)
    k1: float = 0.0
    defocus_mm: float = 0.0

    @property
    def focal_px(self) -> float:
        """True focal length in pixels (EXIF's integer is only near it)."""
        diagonal_px = float(np.hypot(*self.size_px))
        return self.focal_scale * self.focal_35mm * diagonal_px / FULL_FRAME_DIAGONAL_MM

    @property
    def principal_px(self) -> Array:
        """Principal point in pixels."""
        width, height = self.size_px
        centre = np.array([(width - 1) / 2, (height - 1) / 2])
        return centre + np.asarray(self.principal_offset_px)

    @property
    def position_mm(self) -> Array:
        """Camera centre in gauge axes."""
        tilt, azimuth = np.radians([self.tilt_deg, self.azimuth_deg])
        side = np.sin(tilt)
        ray = np.array([side * np.cos(azimuth), side * np.sin(azimuth), np.cos(tilt)])
        return self.distance_mm * ray

    @property
    def axes(self) -> Array:
        """Rows: the camera's right, down and forward, in gauge axes."""
        forward = np.array([*self.aim_mm, 0.0]) - self.position_mm
        forward /= np.linalg.norm(forward)
        right = np.cross(forward, [0.0, 1.0, 0.0])
        right /= np.linalg.norm(right)
        down = np.cross(forward, right)
        roll = np.radians(self.roll_deg)
        turned = right * np.cos(roll) - down * np.sin(roll)
        return np.array([turned, np.cross(forward, turned), forward])

    def project(self, points_mm: Array) -> Array:
        """Return pixels (N, 2) of points (N, 3) in gauge axes."""
        local = (np.asarray(points_mm) - self.position_mm) @ self.axes.T
        plane = local[:, :2] / local[:, 2:]
        radius_sq = np.sum(plane**2, axis=1, keepdims=True)
        return self.principal_px + self.focal_px * plane * (1 + self.k1 * radius_sq)

    def focus_beyond_mm(self, spot_px: float) -> float:
        """How far behind the gap to focus for a blur spot of that diameter at the gap.

        Even focus at infinity blurs no more than the lens's aperture lets it: 95 % of that at most.
        """
        depth = self.depth_mm(np.array(FOCUS_POINT_MM))
        pixel_mm = SENSOR_DIAGONAL_MM / float(np.hypot(*self.size_px))
        largest_px = self.focal_px * (self.focal_px * pixel_mm / F_NUMBER) / depth
        part = min(spot_px / largest_px, 0.95)
        return depth * part / (1 - part)

    def depth_mm(self, point_mm: Array) -> float:
        """Distance of a point from the camera along the optical axis."""
        return float((np.asarray(point_mm) - self.position_mm) @ self.axes[2])


def undistorted_pixels(view: View) -> tuple[Array, Array]:
    """Return, for each pixel of the picture, where it lies in the picture without ``k1``."""
    width, height = view.size_px
    cx, cy = view.principal_px
    x, y = np.meshgrid(
        (np.arange(width) - cx) / view.focal_px, (np.arange(height) - cy) / view.focal_px
    )
    radius_sq = x * x + y * y
    scale = np.ones_like(radius_sq)
    for _ in range(100):
        former, scale = scale, 1 / (1 + view.k1 * radius_sq * scale * scale)
        if np.abs(scale - former).max() < 1e-12:
            break
    return cx + view.focal_px * x * scale, cy + view.focal_px * y * scale
