"""The barrel's painted end unrolled: how dark it is against the plain barrel further along.

What lies at one distance from the axis, measured square to the line of sight, is lit alike
all along the barrel. The ratio of the painted part to the plain part cancels shading and
streaks and leaves the paint.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.vision.barrel_scene import Axis, BarrelScene
from rigvision.vision.sampling import trimmed_mean
from rigvision.world.model import Range


@dataclass(frozen=True, slots=True)
class UnrollTuning:
    """Every free choice, lengths in lengths or widths of an index line."""

    painted_part: Range = (0.1, 0.9)  # of a line's length that is read
    clear_part: float = 1.15  # where the plain barrel begins
    least_plain_part: float = 0.3  # that must be left of it
    level_widths: float = 4.0  # over which brightness beside a line is a level
    parts: int = 3  # into which it is cut along the axis, so that lines tell its direction
    columns: int = 6  # read along each part
    every_px: float = 0.5  # across it
    visible_deg: float = 87.0  # of the surface's turning away


@dataclass(frozen=True, slots=True)
class Unrolled:
    """``ratio`` (N, K) of each painted part of the barrel to the plain one at ``across_mm`` (N,),
    the distance of a line of sight from the axis, upwards positive: 1 away from lines, NaN out
    of view.
    """

    axis: Axis
    x_mm: FloatArray  # (K,) of the middle of each part
    radius_mm: float
    line_width_mm: float
    psi_rad: float  # direction to the camera about the axis
    distance_mm: float  # of the camera from the axis
    blur_mm: float  # sigma of the picture's own blur
    step_mm: float
    across_mm: FloatArray
    ratio: FloatArray

    def angle_rad(self, across_mm: FloatArray) -> FloatArray:
        """Angle about the axis of the surface that lines of sight meet at these distances."""
        return _angle_rad(across_mm, self.psi_rad, self.radius_mm, self.distance_mm)

    def seen_at_mm(self, angle_rad: FloatArray) -> FloatArray:
        """Inverse of ``angle_rad``; what the limb hides is put on the limb."""
        r, d = self.radius_mm, self.distance_mm
        half = np.arccos(r / d)
        turned = np.clip(angle_rad - self.psi_rad, -half, half)
        sight = np.sqrt(r * r + d * d - 2.0 * r * d * np.cos(turned))
        return np.asarray(d * r * np.sin(turned) / sight)

    def borders_mm(self, angle_rad: FloatArray) -> FloatArray:
        """Where the two borders (..., 2) of lines at these angles are seen."""
        half = 0.5 * self.line_width_mm / self.radius_mm
        return self.seen_at_mm(np.asarray(angle_rad)[..., None] + np.array([-half, half]))


def unroll(scene: BarrelScene, axis: Axis, tuning: UnrollTuning | None = None) -> Unrolled | None:
    """The painted end unrolled about an axis; None for a barrel without index lines."""
    t, socket = tuning or UnrollTuning(), scene.socket
    width, length = socket.index_line_width_mm, socket.index_line_length_mm
    if width is None or length is None:
        return None
    middle, radius = socket.face_x_mm + length / 2, socket.radius_mm
    psi, distance = axis.towards_camera_rad(scene.pose.view, middle)
    crown = axis.surface(np.asarray(middle), np.asarray(psi), np.asarray(radius))
    scale = scene.px_per_mm(crown, "y")
    step = t.every_px / scale
    reach = radius * np.sin(np.radians(t.visible_deg))
    across = np.arange(-reach, reach, step)
    angles = _angle_rad(across, psi, radius, distance)
    borders = socket.face_x_mm + length * np.linspace(*t.painted_part, t.parts + 1)
    spans = list(itertools.pairwise(borders.tolist()))
    painted = np.stack([_light(scene, axis, span, angles, t.columns) for span in spans], axis=1)
    start = socket.face_x_mm + t.clear_part * length
    end = min(start + length, socket.barrel_end_x_mm - 1.0)
    plain = None
    if end - start > t.least_plain_part * length:
        plain = _light(scene, axis, (start, end), angles, t.parts * t.columns)
    window = max(round(t.level_widths * width / step), 5)
    return Unrolled(
        axis,
        np.array([0.5 * (low + high) for low, high in spans]),
        radius,
        width,
        psi,
        distance,
        scene.pose.blur_px / scale,
        step,
        across,
        _ratio(painted, plain, window),
    )


def _angle_rad(
    across_mm: FloatArray, psi_rad: float, radius_mm: float, distance_mm: float
) -> FloatArray:
    met = np.arcsin(np.clip(across_mm / radius_mm, -1.0, 1.0))
    return np.asarray(psi_rad + met - np.arcsin(across_mm / distance_mm))


def _light(
    scene: BarrelScene, axis: Axis, span_x_mm: Range, angles: FloatArray, columns: int
) -> FloatArray:
    """Mean light (N,) of a piece of the barrel against the angle about its axis."""
    x = np.linspace(*span_x_mm, columns)
    radius = np.asarray(scene.socket.radius_mm)
    return trimmed_mean(scene.light(axis.surface(x[None, :], angles[:, None], radius)))[0]


def _ratio(with_lines: FloatArray, plain: FloatArray | None, window: int) -> FloatArray:
    """Brightness (N, K) relative to the unpainted barrel, about 1 away from lines."""
    floor = 0.02 * float(np.nanmax(with_lines)) if np.isfinite(with_lines).any() else 1.0
    ratio = with_lines + floor
    if plain is not None and np.isfinite(plain).mean() > 0.5:
        ratio = ratio / (plain + floor)[:, None]
    return np.asarray(ratio / _running_median(ratio.mean(axis=1), window)[:, None])


def _running_median(values: FloatArray, window: int) -> FloatArray:
    """Median over a window that is wider than a line: what lies beside it. NaN stay NaN."""
    finite = np.isfinite(values)
    if not finite.any():
        return values
    index = np.arange(len(values))
    bridged = np.interp(index, index[finite], values[finite])
    half = window // 2 + 1
    padded = np.pad(bridged, 2 * half, mode="edge")
    views = np.lib.stride_tricks.sliding_window_view(padded, 4 * half + 1)
    return np.where(finite, np.median(views, axis=1), np.nan)
