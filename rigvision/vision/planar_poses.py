"""The two poses of a plane that nearly fit one picture of it."""

from __future__ import annotations

import cv2
import numpy as np

from rigvision.ground.conventions import FloatArray, rotation_from_vector


def other_planar(parameters: FloatArray) -> FloatArray:
    """The mirrored pose: the plate's normal reflected about the line of sight to its middle."""
    rotation, sight = rotation_from_vector(parameters[:3]), parameters[3:6]
    half_turn_about_sight = rotation_from_vector(sight / np.linalg.norm(sight) * np.pi)
    half_turn_in_plane = np.diag([-1.0, -1.0, 1.0])
    mirrored = half_turn_about_sight @ rotation @ half_turn_in_plane
    vector = np.asarray(cv2.Rodrigues(mirrored)[0], dtype=np.float64).reshape(3)
    return np.concatenate([vector, parameters[3:]])


def angle_between(a: FloatArray, b: FloatArray) -> float:
    """Angle in radians between two poses' rotations."""
    turn = rotation_from_vector(a[:3]).T @ rotation_from_vector(b[:3])
    return float(np.arccos(np.clip((np.trace(turn) - 1.0) / 2.0, -1.0, 1.0)))
