"""The index lines painted along the barrel, one at each flat: clock and axis together.

A line is seen at some distance across the barrel, measured square to the line of sight. How
far it has turned from the line of sight follows if the axis is known; but the flats lie at
known angles, so that two lines seen at once give the axis as well; and a line runs along the
barrel, so that it gives the axis' direction. ``solve_clock`` lets each line tell as much of all
three as it can.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.ground.normal import cumulative_normal
from rigvision.vision.barrel_scene import Axis
from rigvision.vision.unrolled import Unrolled


@dataclass(frozen=True, slots=True)
class LineTuning:
    """Every free choice of the reading of index lines."""

    search_deg: float = 70.0  # from the line of sight, where a first line is sought
    least_depth: float = 0.12  # darkening of a line against the barrel beside it
    visible_deg: float = 84.0  # beyond, foreshortening leaves nothing of a line
    least_window: float = 0.9  # of half the window that must be in view
    beside_mm: float = 0.35  # read beside a line, beyond its blur
    shift_mm: float = 0.4  # how far from where it is expected
    shift_step_mm: float = 0.02
    floor_mm: float = 0.006  # ragged paint, of each part of a line
    line_mm: float = 0.010  # and of a whole line
    # More for a line near the limb, whose borders run into each other and into its shading: a
    # part of the blur, for a line without any width.
    foreshortened_blur: float = 0.4
    samples_per_independent: float = 4.0  # neighbours share pixels and grain
    contradiction: float = 4.0  # combined standard uncertainties; a line further off is a scratch


@dataclass(frozen=True, slots=True)
class LineReading:
    """Part of a line: which flat it belongs to (from the first found), and where it is seen."""

    flat: int
    x_mm: float
    across_mm: float  # from the axis at hand, square to the line of sight, upwards positive
    u_mm: float


@dataclass(frozen=True, slots=True)
class ClockFit:
    """Clock and axis that axis and lines together give."""

    axis: Axis
    covariance: FloatArray  # (3, 3) of the axis' y (mm), its angle (rad), the clock (rad)
    angles_rad: tuple[float, ...]  # of the lines seen, about the axis from +z towards +y
    clock_rad: float  # nearest line, folded by the flats


def first_line_rad(
    unrolled: Unrolled, flats: int, tuning: LineTuning | None = None
) -> float | None:
    """Angle of that line in view which, together with those at the other flats, is darkest."""
    t = tuning or LineTuning()
    ratio = unrolled.ratio.mean(axis=1)
    depth = np.where(np.isfinite(ratio), 1.0 - ratio, 0.0)
    kernel = np.ones(max(round(unrolled.line_width_mm / unrolled.step_mm), 1))
    matched = np.convolve(depth, kernel / len(kernel), mode="same")
    angles = unrolled.angle_rad(unrolled.across_mm)
    even = np.arange(angles[0], angles[-1], unrolled.step_mm / unrolled.radius_mm)
    matched = np.interp(even, angles, matched)
    near = np.abs(even - unrolled.psi_rad) < np.radians(t.search_deg)
    turn = 2.0 * np.pi / flats
    beside = np.maximum(np.interp(even - turn, even, matched, left=0.0, right=0.0), 0.0)
    beside += np.maximum(np.interp(even + turn, even, matched, left=0.0, right=0.0), 0.0)
    total = np.where(near & (matched > t.least_depth), matched + beside, 0.0)
    best = int(np.argmax(total))
    return float(even[best]) if total[best] > 0.0 else None


def read_lines(
    unrolled: Unrolled, first_rad: float, flats: int, tuning: LineTuning | None = None
) -> tuple[LineReading, ...]:
    """Where each part of each line in view is seen, the first line at about ``first_rad``."""
    t = tuning or LineTuning()
    limit_mm = unrolled.radius_mm * np.sin(np.radians(t.visible_deg))
    readings = []
    for flat in range(-(flats // 2), flats // 2 + 1):
        angle = first_rad + 2.0 * np.pi * flat / flats
        if abs(float(unrolled.seen_at_mm(np.asarray(angle)))) > limit_mm:
            continue
        for part in range(len(unrolled.x_mm)):
            if (reading := _read(unrolled, part, flat, angle, t)) is not None:
                readings.append(reading)
    return tuple(readings)


def _read(
    unrolled: Unrolled, part: int, flat: int, angle_rad: float, t: LineTuning
) -> LineReading | None:
    """Part of one line between its two borders, at the shift that fits best."""
    borders = unrolled.borders_mm(np.asarray(angle_rad))
    middle, width = float(borders.mean()), float(borders[1] - borders[0])
    blur = unrolled.blur_mm
    reach = 0.5 * width + t.shift_mm + 2.0 * blur + t.beside_mm
    light = unrolled.ratio[:, part]
    window = (np.abs(unrolled.across_mm - middle) < reach) & np.isfinite(light)
    across, ratio = unrolled.across_mm[window] - middle, light[window]
    if len(across) * unrolled.step_mm < t.least_window * reach:
        return None
    shifts = np.arange(-t.shift_mm, t.shift_mm + 1e-9, t.shift_step_mm)
    off = across[None, :] - shifts[:, None]
    shape = cumulative_normal((off + 0.5 * width) / blur)
    shape = shape - cumulative_normal((off - 0.5 * width) / blur)
    design = np.stack([shape, np.ones_like(shape), np.broadcast_to(across, shape.shape)], axis=-1)
    turned = np.swapaxes(design, 1, 2)
    levels = np.linalg.solve(turned @ design + 1e-9 * np.eye(3), turned @ ratio[:, None])
    misfit = np.sum((ratio - (design @ levels)[:, :, 0]) ** 2, axis=1)
    best = int(np.argmin(misfit))
    if best in (0, len(shifts) - 1):
        return None
    low, mid, high = misfit[best - 1 : best + 2]
    bend = max(float(low - 2.0 * mid + high), 1e-12)
    shift = float(shifts[best] + 0.5 * t.shift_step_mm * (low - high) / bend)
    variance = mid / max(len(across) - 4, 1) * t.samples_per_independent
    sigma = t.shift_step_mm * float(np.sqrt(2.0 * variance / bend))
    depth = -float(levels[best, 0, 0])
    if depth < t.least_depth or sigma > 0.5 * t.shift_mm:
        return None
    foreshortening = 1.0 - width / unrolled.line_width_mm
    floor = np.hypot(t.floor_mm, t.foreshortened_blur * blur * foreshortening)
    x_mm = float(unrolled.x_mm[part])
    return LineReading(flat, x_mm, middle + shift, float(np.hypot(sigma, floor)))


def solve_clock(
    unrolled: Unrolled,
    readings: tuple[LineReading, ...],
    first_rad: float,
    axis_covariance: FloatArray,
    flats: int,
    tuning: LineTuning | None = None,
) -> ClockFit | None:
    """Axis and clock from the lines and from what is known of the axis, by least squares.

    ``axis_covariance`` (2, 2) is that of the axis' y and angle. None where no line is left.
    """
    t = tuning or LineTuning()
    kept = list(readings)
    while kept:
        fit, off = _solve(unrolled, kept, first_rad, axis_covariance, flats, t.line_mm)
        if np.max(np.abs(off)) < t.contradiction:
            return fit
        # The line most at odds, or of two that are equally so the less certain one.
        worst = max(range(len(kept)), key=lambda i: (round(abs(float(off[i])), 1), kept[i].u_mm))
        del kept[worst]
    return None


def _solve(
    unrolled: Unrolled,
    readings: list[LineReading],
    first_rad: float,
    axis_covariance: FloatArray,
    flats: int,
    line_mm: float,
) -> tuple[ClockFit, FloatArray]:
    """The fit, and each reading's residual in standard uncertainties."""
    flat = np.array([r.flat for r in readings])
    turns = 2.0 * np.pi * flat / flats
    seen = np.array([r.across_mm for r in readings])
    lever = np.array([r.x_mm for r in readings]) - unrolled.axis.x_mm
    spread = np.diag([r.u_mm**2 for r in readings])
    spread += line_mm**2 * (flat[:, None] == flat[None, :])
    weight = np.linalg.inv(spread)
    known = np.zeros((3, 3))
    known[:2, :2] = axis_covariance
    prior = np.zeros((3, 3))
    prior[:2, :2] = np.linalg.inv(axis_covariance)
    raised = np.full(len(seen), np.cos(unrolled.psi_rad))
    state = np.array([0.0, 0.0, first_rad])
    for _ in range(4):
        angle = state[2] + turns
        expected = unrolled.borders_mm(angle).mean(axis=1)
        turn_mm = (unrolled.borders_mm(angle + 1e-4).mean(axis=1) - expected) / 1e-4
        design = np.stack([raised, raised * lever, turn_mm], axis=1)
        residual = seen - expected - design[:, :2] @ state[:2]
        covariance = np.linalg.inv(prior + design.T @ weight @ design)
        pull = design.T @ weight @ residual - prior @ [state[0], state[1], 0.0]
        state = state + covariance @ pull
    fold = 2.0 * np.pi / flats
    clock = float(state[2] - fold * np.round(state[2] / fold))
    axis = unrolled.axis.moved(float(state[0]), float(state[1]))
    angles = tuple(float(state[2] + fold * k) for k in sorted(set(flat.tolist())))
    off = residual / np.sqrt(np.diag(spread + design @ known @ design.T))
    return ClockFit(axis, covariance, angles, clock), off
