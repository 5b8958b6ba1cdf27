"""The index lines painted along the barrel, one at each flat, and the clock they give."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.ground.normal import cumulative_normal
from rigvision.vision.barrel_scene import Axis, BarrelScene
from rigvision.vision.sampling import trimmed_mean
from rigvision.world.model import Range


@dataclass(frozen=True, slots=True)
class LineTuning:
    half_angle_deg: float = 66.0  # of the barrel towards the camera that is searched
    least_depth: float = 0.12  # darkening of a line against the barrel beside it
    most_lines: int = 4


@dataclass(frozen=True, slots=True)
class IndexLine:
    """Angle of a line about the axis and its standard uncertainty, radians."""

    angle_rad: float
    u_rad: float


def find_lines(
    scene: BarrelScene, axis: Axis, tuning: LineTuning | None = None
) -> tuple[IndexLine, ...]:
    """The index lines in view.

    The barrel beyond the lines' ends, further along the axis, is lit alike: the ratio of
    the two cancels shading and streaks and leaves the paint.
    """
    tuning = tuning or LineTuning()
    socket = scene.socket
    width, length = socket.index_line_width_mm, socket.index_line_length_mm
    if width is None or length is None:
        return ()
    radius, middle = socket.radius_mm, socket.face_x_mm + length / 2
    psi, _ = axis.towards_camera_rad(scene.pose.view, middle)
    crown = axis.surface(np.asarray(middle), np.asarray(psi), np.asarray(radius))
    step_mm = 0.5 / scene.px_per_mm(crown, "y")
    half = np.radians(tuning.half_angle_deg)
    angles = np.arange(psi - half, psi + half, step_mm / radius)
    painted = (socket.face_x_mm + 0.1 * length, socket.face_x_mm + 0.9 * length)
    start = socket.face_x_mm + 1.15 * length
    plain_span = (start, min(start + length, socket.barrel_end_x_mm - 1.0))
    plain = None
    if plain_span[1] - plain_span[0] > 0.3 * length:
        plain = _unrolled(scene, axis, plain_span, angles)
    window = round(4.0 * width / step_mm)
    ratio = _ratio(_unrolled(scene, axis, painted, angles), plain, window)
    blur_rad = 2.0 * step_mm * scene.pose.blur_px / radius
    return tuple(_dips(angles, ratio, width / radius, psi, blur_rad, tuning))


def _unrolled(scene: BarrelScene, axis: Axis, span_x_mm: Range, angles: FloatArray) -> FloatArray:
    """Mean light (A,) of a piece of the barrel against the angle about its axis."""
    x = np.linspace(*span_x_mm, 25)
    radius = np.asarray(scene.socket.radius_mm)
    return trimmed_mean(scene.light(axis.surface(x[None, :], angles[:, None], radius)))[0]


def _ratio(with_lines: FloatArray, plain: FloatArray | None, window: int) -> FloatArray:
    """Brightness relative to the unpainted barrel, about 1 away from lines."""
    floor = 0.02 * float(np.nanmax(with_lines)) if np.isfinite(with_lines).any() else 1.0
    if plain is not None and np.isfinite(plain).mean() > 0.5:
        ratio = (with_lines + floor) / (plain + floor)
    else:
        ratio = with_lines + floor
    level = _running_median(ratio, max(window, 5))
    return ratio / level


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


def _dips(
    angles: FloatArray,
    ratio: FloatArray,
    width_rad: float,
    psi: float,
    blur_rad: float,
    tuning: LineTuning,
) -> list[IndexLine]:
    """Dark lines of the drawing's width in a ratio profile, each fitted with two borders."""
    depth = np.where(np.isfinite(ratio), 1.0 - ratio, 0.0)
    step = float(angles[1] - angles[0])
    # The line's own shape, foreshortening included, as a matched filter.
    kernel_half = int(np.ceil(width_rad / step))
    kernel = np.ones(max(round(width_rad / step), 1))
    matched = np.convolve(depth, kernel / len(kernel), mode="same")
    found: list[IndexLine] = []
    taken = np.zeros(len(angles), dtype=bool)
    for _ in range(tuning.most_lines):
        index = int(np.argmax(np.where(taken, -1.0, matched)))
        if matched[index] < tuning.least_depth:
            break
        taken[max(0, index - 2 * kernel_half) : index + 2 * kernel_half + 1] = True
        line = _fit_dip(angles, depth, angles[index], width_rad, psi, blur_rad)
        if line is not None:
            found.append(line)
    return found


def _fit_dip(
    angles: FloatArray,
    depth: FloatArray,
    near: float,
    width_rad: float,
    psi: float,
    blur_rad: float,
) -> IndexLine | None:
    """Centre of a dark line between two borders, blurred more where the barrel turns away."""
    blur = blur_rad / max(np.cos(near - psi), 0.2)
    window = np.abs(angles - near) < 1.3 * width_rad + 2 * blur
    a, d = angles[window], depth[window]
    if len(a) < 6:
        return None
    centres = near + np.arange(-0.6, 0.6, 0.02) * width_rad
    costs, gains = [], []
    for centre in centres:
        shape = cumulative_normal((a - centre + width_rad / 2) / blur) - cumulative_normal(
            (a - centre - width_rad / 2) / blur
        )
        design = np.stack([shape, np.ones_like(shape)], axis=1)
        levels, *_ = np.linalg.lstsq(design, d, rcond=None)
        costs.append(float(np.sum((d - design @ levels) ** 2)))
        gains.append(float(levels[0]))
    best = int(np.argmin(costs))
    if best in (0, len(centres) - 1) or gains[best] < 0.08:
        return None
    low, mid, high = costs[best - 1 : best + 2]
    bend = max(low - 2 * mid + high, 1e-12)
    spacing = centres[1] - centres[0]
    centre = float(centres[best] + spacing * 0.5 * (low - high) / bend)
    variance = mid / max(len(a) - 3, 1) * 4.0  # neighbouring samples share pixels
    sigma = float(spacing * np.sqrt(2.0 * variance / bend))
    return IndexLine(centre, float(np.hypot(min(sigma, 0.2), np.radians(0.25))))


def clock_of(lines: tuple[IndexLine, ...], flats: int) -> IndexLine | None:
    """Nearest index line from +z, folded into (-half, half] flat; lines must agree."""
    if not lines:
        return None
    phases = np.array([line.angle_rad for line in lines]) * flats
    weight = 1.0 / np.array([line.u_rad for line in lines]) ** 2
    best = int(np.argmax(weight))
    agree = np.abs(np.angle(np.exp(1j * (phases - phases[best])))) < np.radians(3.0 * flats)
    mean = np.angle(np.sum(weight[agree] * np.exp(1j * phases[agree]))) / flats
    return IndexLine(float(mean), float(1.0 / np.sqrt(weight[agree].sum())))
