"""The socket's barrel: axis from its outline, face from its edge, clock from its lines.

A cylinder's outline is not its diameter: the lines of sight that graze it touch it short
of its widest section. Seen from the camera's centre at distance D from the axis, in the
plane across the axis, the outline lies at angles psi +- acos(r / D) about the axis, psi
being the direction to the camera. All angles about the axis are from +z towards +y.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from scipy.special import ndtr

from rigvision.ground.conventions import FloatArray
from rigvision.photo.picture import Picture
from rigvision.vision.pose import Pose
from rigvision.vision.sampling import light_at, trimmed_mean, visible_through_window
from rigvision.vision.view import View
from rigvision.world.frame import Socket
from rigvision.world.gauge import Gauge


@dataclass(frozen=True, slots=True)
class BarrelTuning:
    """Every free choice of the search, millimetres and degrees."""

    outline_reach_mm: float = 2.6  # searched inside and outside the expected outline
    offset_search_mm: float = 2.0  # how far the axis may lie from where it should
    tilt_search_deg: float = 4.0
    # Offsets from the drawing that weigh like one segment's whole border strength.
    offset_doubt_mm: float = 1.0
    tilt_doubt_deg: float = 3.0
    swell_doubt_mm: float = 0.3
    swell_range_mm: tuple[float, float] = (-0.45, 0.20)  # outline against drawing: dark limbs
    end_clearance_mm: float = 1.0
    margin_mm: float = 0.4  # kept clear of the window's rim
    segments: int = 8  # into which an outline is cut along the axis
    face_search_mm: float = 0.7  # the drive's end stays where it is drawn; the yoke slides
    face_prior_mm: float = 0.25
    face_half_angle_deg: float = 30.0  # of the barrel about the crown, for the face's edge
    line_half_angle_deg: float = 66.0  # of the barrel towards the camera, for the lines
    line_depth: float = 0.12  # least darkening of a line against the barrel beside it


@dataclass(frozen=True, slots=True)
class SocketPlace:
    """The barrel: its axis, its face where visible, its index lines."""

    axis_mm: FloatArray  # (3,) gauge axes, the axis at the socket's nominal face x
    angle_rad: float  # from gauge x to the axis, counter-clockwise
    covariance: FloatArray  # (2, 2) of axis y (mm) and angle (rad)
    outlines_px: tuple[FloatArray, ...]  # each (2, 2): start and end of a visible outline
    face_x_mm: float | None  # where the face's edge was found; None if hidden
    face_u_mm: float | None
    index_angles_rad: tuple[float, ...]  # lines found
    clock_rad: float | None  # nearest line, folded by the drive's symmetry
    clock_u_rad: float | None


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
        x, angle, radius = np.broadcast_arrays(x_mm, angle_rad, radius_mm)
        y = self.y_at(x) + radius * np.sin(angle)
        return np.stack([x, y, self.z_mm + radius * np.cos(angle)], axis=-1)

    def towards_camera_rad(self, view: View, x_mm: float) -> tuple[float, float]:
        """Direction psi to the camera about the axis, and its distance from the axis."""
        dy = float(view.camera_centre_mm[1] - self.y_at(np.asarray(x_mm)))
        dz = float(view.camera_centre_mm[2] - self.z_mm)
        return float(np.arctan2(dy, dz)), float(np.hypot(dy, dz))


def find_socket(
    picture: Picture,
    pose: Pose,
    gauge: Gauge,
    socket: Socket,
    shoulder_x_mm: float | None,
    tuning: BarrelTuning | None = None,
) -> SocketPlace | None:
    """The socket's place, or None where neither outline of the barrel can be found."""
    tuning = tuning or BarrelTuning()
    axis = Axis(socket.face_x_mm, socket.axis_y_mm, 0.0, socket.axis_z_mm)
    # The outline's place depends on the axis: once more, near by, from the better one.
    for reach_mm in (tuning.offset_search_mm, 0.25 * tuning.offset_search_mm):
        near = replace(tuning, offset_search_mm=reach_mm)
        outlines = _Outlines(picture, pose, gauge, socket, axis, near)
        solved = outlines.solve()
        if solved is None:
            return None
        axis, covariance = solved
    face = _find_face(picture, pose, gauge, socket, axis, shoulder_x_mm, tuning)
    lines = _find_lines(picture, pose, gauge, socket, axis, tuning)
    clock = _clock(lines, socket.flats)
    return SocketPlace(
        np.array([axis.x_mm, axis.y_mm, axis.z_mm]),
        axis.angle_rad,
        covariance,
        outlines.drawn_px(axis),
        face[0] if face else None,
        face[1] if face else None,
        tuple(angle for angle, _ in lines),
        clock[0] if clock else None,
        clock[1] if clock else None,
    )


class _Outlines:
    """Strips of picture along both expected outlines, and the axis that explains them."""

    def __init__(
        self,
        picture: Picture,
        pose: Pose,
        gauge: Gauge,
        socket: Socket,
        axis: Axis,
        tuning: BarrelTuning,
    ) -> None:
        self._view, self._axis, self._socket, self._tuning = pose.view, axis, socket, tuning
        middle_mm = (socket.face_x_mm + socket.barrel_end_x_mm) / 2
        psi, distance = axis.towards_camera_rad(pose.view, middle_mm)
        half = np.arccos(min(socket.radius_mm / distance, 1.0))
        self.angles = np.array([psi + half, psi - half])  # upper, lower outline
        point = np.array([middle_mm, axis.y_mm, axis.z_mm])
        scale = pose.view.px_per_mm(point, np.array([0.0, 1.0, 0.0]))
        self.step_mm = 0.5 / scale
        self.blur_mm = pose.blur_px / scale
        self.x_mm = np.arange(
            socket.face_x_mm + tuning.end_clearance_mm,
            socket.barrel_end_x_mm - tuning.end_clearance_mm,
            1.0 / scale,
        )
        reach = tuning.outline_reach_mm
        self.s_mm = np.arange(-reach, reach, self.step_mm)
        self.strips = [self._strip(picture, gauge, angle) for angle in self.angles]

    def _strip(self, picture: Picture, gauge: Gauge, angle_rad: float) -> FloatArray:
        """Square root of light (S, X) across one outline; NaN where the window hides it."""
        s = self.s_mm[:, None] + self._socket.radius_mm
        points = self._axis.surface(self.x_mm[None, :], np.asarray(angle_rad), s)
        seen = visible_through_window(
            points,
            self._view,
            gauge,
            gauge.windows.yoke_x_mm,
            gauge.windows.yoke_y_mm,
            self._tuning.margin_mm,
        )
        light = light_at(picture, self._view, points)
        return np.where(seen, np.sqrt(np.maximum(light, 0.0)), np.nan)

    def solve(self) -> tuple[Axis, FloatArray] | None:
        """The axis y and angle whose outlines carry the strongest borders, then refined."""
        scores = [self._border_score(strip) for strip in self.strips]
        visible = [s is not None for s in scores]
        if not any(visible):
            return None
        rough = self._search(scores)
        return self._refine(rough, visible)

    def _border_score(self, strip: FloatArray) -> FloatArray | None:
        """Strength of the border (S, segments) at each place across, 0..1; None if hidden."""
        columns = np.isfinite(strip).all(axis=0)
        usable = np.isfinite(strip).mean(axis=0) > 0.75
        if usable.sum() < 0.3 * strip.shape[1] or columns.sum() == 0:
            return None
        rows = []
        for part in np.array_split(np.arange(strip.shape[1]), self._tuning.segments):
            mean, _ = trimmed_mean(strip[:, part])
            gradient = np.abs(_smooth_gradient(mean, self.blur_mm / self.step_mm))
            rows.append(np.nan_to_num(gradient))
        score = np.stack(rows, axis=1)
        level = np.quantile(score[score > 0], 0.8) if np.any(score > 0) else 1.0
        return score / (score + level)

    def _search(self, scores: list[FloatArray | None]) -> tuple[float, float, float]:
        """Offset dy, angle and swell with the largest summed border strength."""
        t = self._tuning
        dy = np.arange(-t.offset_search_mm, t.offset_search_mm + 1e-9, 0.05)
        angle = np.radians(np.arange(-t.tilt_search_deg, t.tilt_search_deg + 1e-9, 0.25))
        swell = np.arange(t.swell_range_mm[0], t.swell_range_mm[1] + 1e-9, 0.05)
        dy3, angle3, swell3 = np.meshgrid(dy, angle, swell, indexing="ij")
        total = np.zeros(dy3.shape)
        centres = self._segment_centres()
        for k, x in enumerate(centres):
            shift = dy3 + angle3 * (x - self._axis.x_mm)
            strengths = [
                np.interp(shift * np.sin(a) + swell3, self.s_mm, score[:, k], left=0.0, right=0.0)
                for score, a in zip(scores, self.angles, strict=True)
                if score is not None
            ]
            total += np.mean(strengths, axis=0)
            if len(strengths) == 2:
                # A barrel has two outlines: one strong border alone is something else's.
                total += np.sqrt(strengths[0] * strengths[1])
        # Believe the drawing where the picture does not say: smooth penalties.
        total -= (dy3 / t.offset_doubt_mm) ** 2 + (np.degrees(angle3) / t.tilt_doubt_deg) ** 2
        total -= (swell3 / t.swell_doubt_mm) ** 2
        best = np.unravel_index(int(np.argmax(total)), total.shape)
        return float(dy[best[0]]), float(angle[best[1]]), float(swell[best[2]])

    def _segment_centres(self) -> FloatArray:
        return np.array([p.mean() for p in np.array_split(self.x_mm, self._tuning.segments)])

    def _refine(
        self, rough: tuple[float, float, float], visible: list[bool]
    ) -> tuple[Axis, FloatArray]:
        """Sub-pixel border in every segment, then a robust fit of dy, angle and swell."""
        dy, angle, swell = rough
        rows, values = [], []
        parts = np.array_split(np.arange(len(self.x_mm)), self._tuning.segments)
        for strip, outline_rad, seen in zip(self.strips, self.angles, visible, strict=True):
            if not seen:
                continue
            for part in parts:
                x = float(self.x_mm[part].mean()) - self._axis.x_mm
                near = (dy + angle * x) * np.sin(outline_rad) + swell
                mean, _ = trimmed_mean(strip[:, part])
                found = _border_near(self.s_mm, mean, near, self.blur_mm)
                if found is not None:
                    rows.append([np.sin(outline_rad), x * np.sin(outline_rad), 1.0])
                    values.append(found)
        solution, covariance = _robust_lines(np.array(rows), np.array(values), rough)
        axis = Axis(
            self._axis.x_mm,
            self._axis.y_mm + float(solution[0]),
            self._axis.angle_rad + float(solution[1]),
            self._axis.z_mm,
        )
        return axis, covariance[:2, :2]

    def drawn_px(self, axis: Axis) -> tuple[FloatArray, ...]:
        """Start and end (2, 2) px of each outline, for drawing."""
        ends = np.array([self.x_mm[0], self.x_mm[-1]])
        radius = np.asarray(self._socket.radius_mm)
        return tuple(
            self._view.project(axis.surface(ends, np.asarray(a), radius)) for a in self.angles
        )


def _smooth_gradient(values: FloatArray, sigma: float) -> FloatArray:
    """Derivative of a Gaussian-smoothed profile; NaN are bridged and give no border."""
    finite = np.isfinite(values)
    if finite.sum() < 8:
        return np.zeros(len(values))
    index = np.arange(len(values))
    bridged = np.interp(index, index[finite], values[finite])
    smooth = cv2.GaussianBlur(
        bridged.reshape(1, -1), (0, 0), max(sigma, 0.8), borderType=cv2.BORDER_REPLICATE
    ).ravel()
    gradient = np.gradient(smooth)
    return np.where(finite, gradient, 0.0)


def _border_near(
    s_mm: FloatArray, values: FloatArray, near_mm: float, blur_mm: float
) -> float | None:
    """Place of the steepest change within reach of ``near_mm``, by a parabola through it."""
    step = float(s_mm[1] - s_mm[0])
    gradient = np.abs(_smooth_gradient(values, blur_mm / step))
    window = np.abs(s_mm - near_mm) < 0.30 + blur_mm
    if window.sum() < 3:
        return None
    index = int(np.argmax(np.where(window, gradient, -1.0)))
    if index in (0, len(s_mm) - 1) or gradient[index] <= 0.0:
        return None
    a, b, c = gradient[index - 1 : index + 2]
    bend = a - 2 * b + c
    shift = 0.5 * (a - c) / bend if bend < 0 else 0.0
    return float(s_mm[index] + np.clip(shift, -0.5, 0.5) * step)


def _robust_lines(
    rows: FloatArray, values: FloatArray, rough: tuple[float, float, float]
) -> tuple[FloatArray, FloatArray]:
    """Weighted fit of (dy, angle, swell); priors keep what one outline alone cannot tell."""
    if len(rows) == 0:
        return np.array(rough), np.diag([0.3, 0.02, 0.2]) ** 2
    prior_rows = np.array([[0.0, 0.0, 1.0], [0.0, 1.0, 0.0], [1.0, 0.0, 0.0]])
    prior_sigma = np.array([0.15, np.radians(3.0), 2.0])
    solution, sigma = np.array(rough), 0.08
    for _ in range(6):
        residual = values - rows @ solution
        sigma = max(1.4826 * float(np.median(np.abs(residual))), 0.012)
        u = residual / (4.685 * sigma)
        weight = np.where(np.abs(u) < 1, (1 - u**2) ** 2, 0.0) / sigma**2
        normal = rows.T @ (rows * weight[:, None])
        normal += prior_rows.T @ (prior_rows / prior_sigma[:, None] ** 2)
        solution = np.linalg.solve(normal, rows.T @ (weight * values))
    # A dark limb hides part of the barrel on the side away from the light: the two
    # outlines then err differently. Half of the swell found, in quadrature.
    covariance = np.asarray(np.linalg.inv(normal), dtype=np.float64)
    covariance[0, 0] += (0.35 * float(solution[2])) ** 2 + 0.02**2
    covariance[1, 1] += np.radians(0.08) ** 2
    return solution, covariance


def _find_face(
    picture: Picture,
    pose: Pose,
    gauge: Gauge,
    socket: Socket,
    axis: Axis,
    shoulder_x_mm: float | None,
    tuning: BarrelTuning,
) -> tuple[float, float] | None:
    """x of the socket's face on the barrel's crown and its standard uncertainty.

    The picture along x holds the yoke (or pocket), a dark slot, and the barrel. Where the
    shoulder is near, its known place is the slot's other edge, fitted together with it.
    """
    view, radius = pose.view, np.asarray(socket.radius_mm)
    psi, _ = axis.towards_camera_rad(view, socket.face_x_mm)
    half = np.radians(tuning.face_half_angle_deg)
    angles = np.linspace(0.5 * psi - half, 0.5 * psi + half, 41)
    point = axis.surface(np.asarray(socket.face_x_mm), np.asarray(0.5 * psi), radius)
    scale = view.px_per_mm(point, np.array([1.0, 0.0, 0.0]))
    reach = tuning.face_search_mm + 1.0
    x = np.arange(socket.face_x_mm - reach, socket.face_x_mm + reach, 0.5 / scale)
    points = axis.surface(x[:, None], angles[None, :], radius)
    seen = visible_through_window(
        points, view, gauge, gauge.windows.yoke_x_mm, gauge.windows.yoke_y_mm, tuning.margin_mm
    )
    strip = np.where(seen, light_at(picture, view, points), np.nan)
    mean, error = trimmed_mean(strip)
    if not np.isfinite(mean).all():
        return None
    return _fit_face(x, mean, error, pose.blur_px / scale, socket, shoulder_x_mm, tuning)


def _fit_face(
    x: FloatArray,
    light: FloatArray,
    error: FloatArray,
    blur_mm: float,
    socket: Socket,
    shoulder_x_mm: float | None,
    tuning: BarrelTuning,
) -> tuple[float, float] | None:
    """Least squares over the face's place; the three levels follow linearly."""
    shoulder = shoulder_x_mm if shoulder_x_mm is not None else -np.inf
    candidates = np.arange(
        socket.face_x_mm - tuning.face_search_mm, socket.face_x_mm + tuning.face_search_mm, 0.02
    )
    # Just behind the shoulder: a closed slot may come out a little less than closed.
    candidates = candidates[candidates > shoulder - 0.3]
    if len(candidates) < 3:
        return None
    noise = np.hypot(error, 0.02 * float(np.median(light)) + 1e-4)
    costs = np.array([_face_cost(x, light, noise, blur_mm, c, shoulder) for c in candidates])
    widen = max(1.0, float(costs.min()) / len(x))  # where no place fits to within the noise
    costs = costs / widen + ((candidates - socket.face_x_mm) / tuning.face_prior_mm) ** 2
    best = int(np.argmin(costs))
    if best == 0 and shoulder > x[0]:
        return float(candidates[0]), tuning.face_prior_mm
    if best in (0, len(candidates) - 1):
        return None
    a, b, c = costs[best - 1 : best + 2]
    bend = max(a - 2 * b + c, 1e-9)
    step = float(candidates[1] - candidates[0])
    place = float(candidates[best] + step * 0.5 * (a - c) / bend)
    sigma = step * float(np.sqrt(2.0 * 2.0 / bend))  # samples half a pixel apart: twice
    return place, float(np.hypot(min(sigma, 0.3), 0.02))


def _face_cost(
    x: FloatArray, light: FloatArray, noise: FloatArray, blur: float, face: float, shoulder: float
) -> float:
    """Misfit of yoke, slot and barrel levels with the face at a given place."""
    columns = [1.0 - ndtr((x - face) / blur), ndtr((x - face) / blur)]
    if shoulder > x[0]:
        slot = ndtr((x - shoulder) / blur) - ndtr((x - face) / blur)
        columns = [1.0 - ndtr((x - shoulder) / blur), ndtr((x - face) / blur), slot]
    design = np.stack(columns, axis=1) / noise[:, None]
    target = light / noise
    if len(columns) == 3:  # the slot is dark: a narrow one's level and width trade otherwise
        dark = 0.1 * float(np.median(light))
        design = np.vstack([design, [0.0, 0.0, 1.0 / (dark + 1e-4)]])
        target = np.append(target, 0.5 * dark / (dark + 1e-4))
    levels, *_ = np.linalg.lstsq(design, target, rcond=None)
    return float(np.sum((target - design @ levels) ** 2))


def _find_lines(
    picture: Picture,
    pose: Pose,
    gauge: Gauge,
    socket: Socket,
    axis: Axis,
    tuning: BarrelTuning,
) -> list[tuple[float, float]]:
    """Angles of the index lines in view and their standard uncertainties, radians.

    The barrel beside the lines' ends, further along the axis, is lit alike: the ratio of
    the two cancels shading and streaks and leaves the paint.
    """
    width, length = socket.index_line_width_mm, socket.index_line_length_mm
    if width is None or length is None:
        return []
    view, radius = pose.view, socket.radius_mm
    psi, _ = axis.towards_camera_rad(view, socket.face_x_mm + length / 2)
    half = np.radians(tuning.line_half_angle_deg)
    point = axis.surface(
        np.asarray(socket.face_x_mm + length / 2), np.asarray(psi), np.asarray(radius)
    )
    scale = view.px_per_mm(point, np.array([0.0, 1.0, 0.0]))
    angles = np.arange(psi - half, psi + half, 0.5 / scale / radius)
    start, stop = socket.face_x_mm + 0.1 * length, socket.face_x_mm + 0.9 * length
    with_lines = _unrolled(picture, view, gauge, axis, (start, stop), angles, radius, tuning)
    beyond_start = socket.face_x_mm + 1.15 * length
    beyond = (beyond_start, min(beyond_start + length, socket.barrel_end_x_mm - 1.0))
    plain = None
    if beyond[1] - beyond[0] > 0.3 * length:
        plain = _unrolled(picture, view, gauge, axis, beyond, angles, radius, tuning)
    ratio = _ratio(with_lines, plain, round(4.0 * width / radius / (angles[1] - angles[0])))
    return _dips(angles, ratio, width / radius, psi, pose.blur_px / scale / radius, tuning)


def _unrolled(
    picture: Picture,
    view: View,
    gauge: Gauge,
    axis: Axis,
    span_x_mm: tuple[float, float],
    angles: FloatArray,
    radius_mm: float,
    tuning: BarrelTuning,
) -> FloatArray:
    """Mean light (A,) of a piece of the barrel against the angle about its axis."""
    x = np.linspace(*span_x_mm, 60)
    points = axis.surface(x[None, :], angles[:, None], np.asarray(radius_mm))
    seen = visible_through_window(
        points, view, gauge, gauge.windows.yoke_x_mm, gauge.windows.yoke_y_mm, tuning.margin_mm
    )
    strip = np.where(seen, light_at(picture, view, points), np.nan)
    return trimmed_mean(strip)[0]


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
    """Median over a window that is wider than a line: what lies beside it."""
    half = window // 2 + 1
    padded = np.pad(values, 2 * half, mode="edge")
    views = np.lib.stride_tricks.sliding_window_view(padded, 4 * half + 1)
    with np.errstate(all="ignore"):
        finite = np.where(np.isfinite(views), views, np.nan)
        out = np.array([np.nanmedian(v) if np.isfinite(v).any() else np.nan for v in finite])
    return out[: len(values)]


def _dips(
    angles: FloatArray,
    ratio: FloatArray,
    width_rad: float,
    psi: float,
    blur_rad: float,
    tuning: BarrelTuning,
) -> list[tuple[float, float]]:
    """Dark lines of the drawing's width in a ratio profile, each fitted with two borders."""
    depth = np.where(np.isfinite(ratio), 1.0 - ratio, 0.0)
    step = float(angles[1] - angles[0])
    # The line's own shape, foreshortening included, as a matched filter.
    kernel_half = int(np.ceil(width_rad / step))
    kernel = np.ones(max(round(width_rad / step), 1))
    matched = np.convolve(depth, kernel / len(kernel), mode="same")
    found: list[tuple[float, float]] = []
    taken = np.zeros(len(angles), dtype=bool)
    for _ in range(4):
        index = int(np.argmax(np.where(taken, -1.0, matched)))
        if matched[index] < tuning.line_depth:
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
) -> tuple[float, float] | None:
    """Centre of a dark line between two borders, blurred more where the barrel turns away."""
    blur = blur_rad / max(np.cos(near - psi), 0.2)
    window = np.abs(angles - near) < 1.3 * width_rad + 2 * blur
    a, d = angles[window], depth[window]
    if len(a) < 6:
        return None
    centres = near + np.arange(-0.6, 0.6, 0.02) * width_rad
    costs, gains = [], []
    for centre in centres:
        shape = ndtr((a - centre + width_rad / 2) / blur) - ndtr(
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
    return centre, float(np.hypot(min(sigma, 0.2), np.radians(0.25)))


def _clock(lines: list[tuple[float, float]], flats: int) -> tuple[float, float] | None:
    """Nearest index line from +z, folded into (-half, half] flat; lines must agree."""
    if not lines:
        return None
    period = 2.0 * np.pi / flats
    phases = np.array([angle for angle, _ in lines]) * (2.0 * np.pi / period)
    sigma = np.array([s for _, s in lines])
    weight = 1.0 / sigma**2
    best = int(np.argmax(weight))
    agree = np.abs(np.angle(np.exp(1j * (phases - phases[best])))) < np.radians(3.0 * flats)
    mean = np.angle(np.sum(weight[agree] * np.exp(1j * phases[agree]))) * period / (2.0 * np.pi)
    return float(mean), float(1.0 / np.sqrt(weight[agree].sum()))
