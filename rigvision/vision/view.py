"""A camera's view of the gauge: the one projection of the solver and its inverse.

Eleven parameters, so that the solver and every sensitivity speak of the same vector:
rotation vector (3, rad), translation (3, mm), log focal length, principal point (2, px),
k1, and the border shift (px): how far outward all dark-light borders of the marks appear,
because tone curve and sharpening were not undone exactly.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from rigvision.ground.conventions import (
    FloatArray,
    rotation_from_vector,
    rotations_from_vectors,
)

PARAMETERS = (
    "rotation x",
    "rotation y",
    "rotation z",
    "translation x",
    "translation y",
    "translation z",
    "focal length",
    "principal point x",
    "principal point y",
    "distortion",
    "border shift",
)


#: Steps of numerical derivatives, in each parameter's unit (rad, mm, 1, px, 1, px).
DERIVATIVE_STEPS: FloatArray = np.array(
    [1e-6] * 3 + [1e-4] * 3 + [1e-6] + [1e-3] * 2 + [1e-6, 1e-3]
)


#: Of the inverse of the distortion: each gains a factor of 3 k1 r^2, and phones have k1 < 0.1.
UNDISTORT_STEPS = 8


def project_many(
    parameters: FloatArray, points_mm: FloatArray, rotations: FloatArray | None = None
) -> FloatArray:
    """Pixels (B, N, 2) of points (N, 3) in gauge axes as B views (B, 11) see them.

    ``rotations`` (B, 3, 3) are those of the views, where they are known already.
    """
    if rotations is None:
        rotations = rotations_from_vectors(parameters[:, :3])
    # x, y and z each in one piece: for many points twice as fast as point by point.
    camera = rotations @ points_mm.T
    camera += parameters[:, 3:6, None]
    ideal = camera[:, :2] / camera[:, 2:]
    radial = ideal[:, :1] ** 2 + ideal[:, 1:] ** 2
    radial *= parameters[:, 9, None, None]
    radial += 1.0
    radial *= np.exp(parameters[:, 6])[:, None, None]
    ideal *= radial
    ideal += parameters[:, 7:9, None]
    return np.swapaxes(ideal, 1, 2)


def on_plane_many(
    parameters: FloatArray, rotations: FloatArray, points_px: FloatArray, z_mm: float
) -> FloatArray:
    """Where the rays of B views (B, 11) through their pixels (B, 2, N) meet the plane z: (B, 2, N)

    x and y in gauge axes. ``rotations`` (B, 3, 3) are those of the views. Distortion is taken off
    by its series, to 12 (k1 r^2)^3 of an offset: 1e-5 where k1 r^2 is 0.01.
    """
    ideal = (points_px - parameters[:, 7:9, None]) * np.exp(-parameters[:, 6])[:, None, None]
    bent = parameters[:, 9:10, None] * (ideal[:, :1] ** 2 + ideal[:, 1:] ** 2)
    ideal *= 1.0 - bent * (1.0 - 3.0 * bent)
    turned = np.swapaxes(rotations, 1, 2)
    rays = turned[:, :, :2] @ ideal + turned[:, :, 2:]
    centre = turned @ parameters[:, 3:6, None]
    return np.asarray(rays[:, :2] * ((z_mm + centre[:, 2:]) / rays[:, 2:]) - centre[:, :2])


@dataclass(frozen=True)
class View:
    """cam_from_gauge with the camera's inner parameters. Points are (N, 3) mm or (N, 2) px."""

    parameters: FloatArray  # (11,)

    @cached_property
    def rotation(self) -> FloatArray:
        """Rotation matrix (3, 3) of cam_from_gauge."""
        return rotation_from_vector(self.parameters[:3])

    @property
    def translation_mm(self) -> FloatArray:
        return self.parameters[3:6]

    @property
    def focal_px(self) -> float:
        return float(np.exp(self.parameters[6]))

    @property
    def principal_point_px(self) -> FloatArray:
        return self.parameters[7:9]

    @property
    def k1(self) -> float:
        return float(self.parameters[9])

    @property
    def border_shift_px(self) -> float:
        return float(self.parameters[10])

    @cached_property
    def camera_centre_mm(self) -> FloatArray:
        """Centre of projection (3,) in gauge axes."""
        return -self.rotation.T @ self.translation_mm

    @property
    def distance_mm(self) -> float:
        """From the camera's centre to the gauge's origin."""
        return float(np.linalg.norm(self.translation_mm))

    @property
    def tilt_deg(self) -> float:
        """Angle between the line of sight to the gauge's origin and the gauge's normal."""
        cosine = self.camera_centre_mm[2] / self.distance_mm
        return float(np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))))

    def project(self, points_mm: FloatArray) -> FloatArray:
        """Pixels (N, 2) of points (N, 3) in gauge axes."""
        return np.asarray(project_many(self.parameters[None, :], points_mm)[0])

    def rays(self, points_px: FloatArray) -> FloatArray:
        """Directions (N, 3) in gauge axes of the rays through pixels (N, 2); not normalised."""
        distorted = (points_px - self.principal_point_px) / self.focal_px
        ideal = distorted.copy()
        for _ in range(UNDISTORT_STEPS):
            ideal = distorted / (1.0 + self.k1 * np.sum(ideal**2, axis=1, keepdims=True))
        return np.asarray(np.column_stack([ideal, np.ones(len(ideal))]) @ self.rotation)

    def on_plane_z(self, points_px: FloatArray, z_mm: float) -> FloatArray:
        """Where the rays through pixels (N, 2) meet the plane z: points (N, 3) in gauge axes."""
        centre, rays = self.camera_centre_mm, self.rays(points_px)
        return np.asarray(centre + rays * ((z_mm - centre[2]) / rays[:, 2])[:, None])

    def px_per_mm(self, point_mm: FloatArray, direction: FloatArray) -> float:
        """Pixels per millimetre at a point (3,) along a unit direction (3,)."""
        ends = self.project(np.stack([point_mm - 0.5 * direction, point_mm + 0.5 * direction]))
        return float(np.linalg.norm(ends[1] - ends[0]))

    def ray_slope_y(self, point_mm: FloatArray) -> float:
        """dy/dz along the line of sight through a point: > 0 where the camera looks from above."""
        to_camera = self.camera_centre_mm - point_mm
        return float(to_camera[1] / to_camera[2])
