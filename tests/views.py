"""Views of the solver for tests of geometry: tilted, rolled, off-centre."""

from __future__ import annotations

import numpy as np
from scipy.spatial.transform import Rotation

from rigvision.vision.view import View


def view_at(
    tilt_deg: float = 17.0,
    azimuth_deg: float = 62.0,
    roll_deg: float = 6.0,
    distance_mm: float = 240.0,
    aim_mm: tuple[float, float] = (4.0, -3.0),
    focal_px: float = 2600.0,
    principal_point_px: tuple[float, float] = (2010.0, 1480.0),
    k1: float = 0.012,
) -> View:
    """A camera at (distance, tilt, azimuth) from the gauge's origin, aimed beside it."""
    t, a = np.radians([tilt_deg, azimuth_deg])
    centre = distance_mm * np.array([np.sin(t) * np.cos(a), np.sin(t) * np.sin(a), np.cos(t)])
    forward = np.array([*aim_mm, 0.0]) - centre
    forward /= np.linalg.norm(forward)
    right = np.cross(forward, [0.0, 1.0, 0.0])
    right /= np.linalg.norm(right)
    level = np.array([right, np.cross(forward, right), forward])
    rotation = Rotation.from_euler("z", roll_deg, degrees=True).as_matrix() @ level
    vector = Rotation.from_matrix(rotation).as_rotvec()
    inner = [np.log(focal_px), *principal_point_px, k1, 0.0]
    return View(np.concatenate([vector, -rotation @ centre, inner]))
