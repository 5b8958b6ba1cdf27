"""Where the camera stood, in gauge axes, and how well that is known."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.vision.pose import Pose
from rigvision.vision.view import DERIVATIVE_STEPS, View


@dataclass(frozen=True, slots=True)
class CameraPlace:
    """Centre of projection (3,) in gauge axes, and its covariance (3, 3).

    Known well across the line of sight and badly along it: distance and focal length go together.
    """

    centre_mm: FloatArray
    covariance_mm2: FloatArray


def camera_place(pose: Pose) -> CameraPlace:
    parameters = pose.view.parameters
    sensitivity = np.zeros((3, len(parameters)))
    for k, step in enumerate(DERIVATIVE_STEPS):
        moved = np.zeros(len(parameters))
        moved[k] = step
        ahead, behind = View(parameters + moved), View(parameters - moved)
        sensitivity[:, k] = (ahead.camera_centre_mm - behind.camera_centre_mm) / (2.0 * step)
    covariance = sensitivity @ pose.covariance @ sensitivity.T
    return CameraPlace(pose.view.camera_centre_mm, covariance)
