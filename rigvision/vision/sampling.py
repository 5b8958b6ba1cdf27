"""Reading the original pixels at points of the rig: light, and whether a point is in view."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from rigvision.ground.conventions import FloatArray
from rigvision.photo.picture import Picture
from rigvision.vision.view import View
from rigvision.world.gauge import Gauge
from rigvision.world.model import Range

#: Kept clear of a window's rim, its bevel and its shadow.
WINDOW_MARGIN_MM = 0.4


def visible_through_window(
    points_mm: FloatArray,
    view: View,
    gauge: Gauge,
    window_x_mm: Range,
    window_y_mm: Range,
) -> npt.NDArray[np.bool_]:
    """Which points (..., 3) behind the plate the camera sees through a window cut in it.

    The line of sight must clear the window at the plate's front and at its back.
    """
    centre = view.camera_centre_mm
    x, y, z = np.ascontiguousarray(np.moveaxis(points_mm, -1, 0))
    clear = np.ones(z.shape, dtype=bool)
    for face_z_mm in gauge.plate.z_mm:
        part = (face_z_mm - z) / (centre[2] - z)
        inside = np.ones(z.shape, dtype=bool)
        for place, eye, (low, high) in ((x, centre[0], window_x_mm), (y, centre[1], window_y_mm)):
            crossing = place + part * (eye - place)
            inside &= crossing > low + WINDOW_MARGIN_MM
            inside &= crossing < high - WINDOW_MARGIN_MM
        # A point in front of this face of the plate is not hidden by it.
        clear &= inside | (z >= face_z_mm)
    return clear


def light_at(picture: Picture, view: View, points_mm: FloatArray) -> FloatArray:
    """Linear light (...,) where points (..., 3) appear; NaN outside the picture.

    Sampled between the original pixels, bilinearly: no resampled picture in between.
    """
    if points_mm.size == 0:
        return np.empty(points_mm.shape[:-1])
    points_px = view.project(points_mm.reshape(-1, 3))
    left, top = np.floor(points_px.min(axis=0)).astype(int).clip(min=0)
    right, bottom = (np.ceil(points_px.max(axis=0)).astype(int) + 2).clip(min=0)
    linear = picture.linear(int(left), int(top), int(right), int(bottom))
    if linear.size == 0:
        return np.full(points_mm.shape[:-1], np.nan)
    # OpenCV's maps may have at most 32767 rows and columns: lay the points out as a block.
    count, width = len(points_px), 1024
    maps = np.zeros((2, -(-count // width) * width), dtype=np.float32)
    maps[:, :count] = points_px.T - np.array([[left], [top]])
    map_x, map_y = maps.reshape(2, -1, width)
    light = cv2.remap(
        linear,
        map_x,
        map_y,
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_CONSTANT,
        borderValue=(float("nan"),) * 4,
    )
    flat = np.asarray(light, dtype=np.float64).reshape(-1)[:count]
    return flat.reshape(points_mm.shape[:-1])


def trimmed_mean(strip: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mean (R,) of the middle half of each row of a strip (R, C), and its standard error.

    NaN are left out. Scratches, dust and burrs fall into the outer quarters. Neighbouring
    columns share pixels and texture: about every third counts as independent.
    """
    ordered = np.sort(strip, axis=1)  # NaN go last
    finite = np.isfinite(ordered)
    counts = finite.sum(axis=1)
    first, past = np.ceil(0.25 * counts).astype(int), np.ceil(0.75 * counts).astype(int)
    number = past - first
    rows, last = np.arange(len(ordered)), ordered.shape[1] - 1
    bottom, top = ordered[rows, np.minimum(first, last)], ordered[rows, past - 1]
    running = np.cumsum(np.where(finite, ordered, 0.0), axis=1)
    total = running[rows, past - 1] - running[rows, np.minimum(first, last)] + bottom
    with np.errstate(invalid="ignore"):
        error = 1.2 * (top - bottom) / 1.349 / np.sqrt(np.maximum(counts / 3.0, 1.0))
    empty = number == 0
    mean = total / np.maximum(number, 1)
    return np.where(empty, np.nan, mean), np.where(empty, np.nan, error)
