"""The barrel's axis from its outline.

A cylinder's outline is not its diameter: the lines of sight that graze it touch it short
of its widest section. Seen from the camera's centre at distance D from the axis, in the
plane across the axis, the outline lies at angles psi +- acos(r / D) about the axis, psi
being the direction to the camera. All angles about the axis are from +z towards +y.

Towards its outline a round surface darkens, often far more than it differs from what lies
behind it. Only sharpness tells the outline from that shading: close to it both sides are
nearly straight ramps, and the outline is where one ramp gives way to the other within the
picture's own blur.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.vision.barrel_scene import Axis, BarrelScene
from rigvision.vision.ramp_step import step_doubt, step_evidence
from rigvision.vision.sampling import trimmed_mean


@dataclass(frozen=True, slots=True)
class AxisTuning:
    """Every free choice of the search, millimetres and degrees."""

    reach_mm: float = 2.6  # searched inside and outside the expected outline
    offset_search_mm: float = 2.0  # how far the axis may lie from where it should
    tilt_search_deg: float = 4.0
    swell_search_mm: tuple[float, float] = (-0.45, 0.20)  # outline against drawing: dark limbs
    # Offsets from the drawing that weigh like one segment's whole evidence.
    offset_doubt_mm: float = 0.6
    tilt_doubt_deg: float = 3.0
    swell_doubt_mm: float = 0.3
    seen_mm: float = 1.2  # on either side of a drawn outline that must be in view
    end_clearance_mm: float = 1.0
    segments: int = 8  # into which an outline is cut along the axis
    limb_inside_mm: float = 0.7  # of barrel and background taken as ramps
    limb_outside_mm: float = 0.6
    limb_search_mm: float = 0.45
    most_readings: int = 4
    # Standard deviations believed beforehand: of the axis, and of radius and plane.
    offset_prior_mm: float = 0.6
    tilt_prior_deg: float = 1.5
    rival_weight: float = 1.6  # how fast belief in another place falls, per segment's evidence
    swell_prior_mm: float = 0.08  # radius and plane of the axis against the drawing


@dataclass(frozen=True, slots=True)
class AxisFit:
    """The axis, the covariance (2, 2) of its y and angle, and its outlines (2, 2) px each."""

    axis: Axis
    covariance: FloatArray
    outlines_px: tuple[FloatArray, ...]


def solve_axis(scene: BarrelScene, tuning: AxisTuning | None = None) -> AxisFit | None:
    """The axis whose outlines are seen; None where neither outline is in view."""
    tuning = tuning or AxisTuning()
    coarse = _Outlines(scene, scene.drawn_axis(), tuning, tuning.reach_mm)
    scores = [coarse.border_score(strip) for strip in coarse.strips]
    if all(score is None for score in scores):
        return None
    axis, rivalry = coarse.search(scores)
    visible = [score is not None for score in scores]
    near_mm = tuning.limb_search_mm + max(tuning.limb_inside_mm, tuning.limb_outside_mm)
    # The outline's place depends on the axis, and the fine search reaches only so far: read
    # again from the better axis until it stays.
    for _ in range(tuning.most_readings):
        fine = _Outlines(scene, axis, tuning, near_mm)
        before, (axis, covariance) = axis, fine.refine(visible)
        if abs(axis.y_mm - before.y_mm) < 0.3 * tuning.limb_search_mm:
            break
    return AxisFit(axis, covariance + rivalry, fine.drawn_px(axis))


class _Outlines:
    """Strips of picture along both expected outlines, and the axis that explains them."""

    def __init__(self, scene: BarrelScene, axis: Axis, tuning: AxisTuning, reach_mm: float) -> None:
        self._scene, self._axis, self._tuning = scene, axis, tuning
        socket, view = scene.socket, scene.pose.view
        middle_mm = (socket.face_x_mm + socket.barrel_end_x_mm) / 2
        psi, distance = axis.towards_camera_rad(view, middle_mm)
        half = np.arccos(min(socket.radius_mm / distance, 1.0))
        self.angles = np.array([psi + half, psi - half])  # upper, lower outline
        scale = scene.px_per_mm(np.array([middle_mm, axis.y_mm, axis.z_mm]), "y")
        self.step_mm = 0.5 / scale
        self.blur_mm = scene.pose.blur_px / scale
        self.x_mm = np.arange(
            socket.face_x_mm + tuning.end_clearance_mm,
            socket.barrel_end_x_mm - tuning.end_clearance_mm,
            3.0 / scale,
        )
        self.s_mm = np.arange(-reach_mm, reach_mm, self.step_mm)
        self.strips = [self._strip(angle) for angle in self.angles]
        self.parts = np.array_split(np.arange(len(self.x_mm)), tuning.segments)

    def _strip(self, angle_rad: float) -> FloatArray:
        """Light (S, X) across one outline; NaN where the window hides it."""
        radius = self.s_mm[:, None] + self._scene.socket.radius_mm
        points = self._axis.surface(self.x_mm[None, :], np.asarray(angle_rad), radius)
        return self._scene.light(points)

    def border_score(self, strip: FloatArray) -> FloatArray | None:
        """Evidence for an outline (S, segments) at each place across, 0..1; None if hidden."""
        # The rim may hide what lies further out: what counts is the outline's own surroundings.
        near = np.abs(self.s_mm) < self._tuning.seen_mm
        usable = np.isfinite(strip[near]).mean(axis=0) > 0.75
        if usable.sum() < 0.3 * strip.shape[1]:
            return None
        t = self._tuning
        profiles = [trimmed_mean(strip[:, part])[0] for part in self.parts]
        evidence = [
            step_evidence(p, self.step_mm, self.blur_mm, t.limb_inside_mm, t.limb_outside_mm)
            for p in profiles
        ]
        return np.stack(evidence, axis=1)

    def search(self, scores: list[FloatArray | None]) -> tuple[Axis, FloatArray]:
        """The axis for which most evidence adds up, and the covariance (2, 2) of its y and
        angle that is left by rivals with nearly as much.
        """
        t = self._tuning
        dy = np.arange(-t.offset_search_mm, t.offset_search_mm + 1e-9, 0.08)
        angle = np.radians(np.arange(-t.tilt_search_deg, t.tilt_search_deg + 1e-9, 0.4))
        swell = np.arange(t.swell_search_mm[0], t.swell_search_mm[1] + 1e-9, 0.1)
        dy3, angle3, swell3 = np.meshgrid(dy, angle, swell, indexing="ij")
        total = np.zeros(dy3.shape)
        for k, part in enumerate(self.parts):
            shift = dy3 + angle3 * (self.x_mm[part].mean() - self._axis.x_mm)
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
        found = np.array([dy[best[0]], angle[best[1]]])
        weight = np.exp(t.rival_weight * (total - total.max()))
        apart = np.stack([(dy3 - found[0]).ravel(), (angle3 - found[1]).ravel()])
        # Neighbours of the best are the fine search's concern, not rivals.
        rival = np.abs(apart[0]) > t.limb_search_mm
        weight = np.where(rival, weight.ravel(), 0.0) / weight.sum()
        return self._moved(found), np.asarray((apart * weight) @ apart.T)

    def refine(self, visible: list[bool]) -> tuple[Axis, FloatArray]:
        """The axis that fits the limbs of all segments best, near the one at hand."""
        t = self._tuning
        curves: list[Curve] = []
        for strip, outline_rad, seen in zip(self.strips, self.angles, visible, strict=True):
            for part in self.parts if seen else ():
                x = float(self.x_mm[part].mean()) - self._axis.x_mm
                mean, _ = trimmed_mean(strip[:, part])
                places = np.arange(-1.0, 1.0 + 1e-9, 0.05) * t.limb_search_mm
                doubt = step_doubt(
                    self.s_mm, mean, places, self.blur_mm, t.limb_inside_mm, t.limb_outside_mm
                )
                if doubt is not None:
                    curves.append((float(np.sin(outline_rad)), x, places, doubt))
        drawn = self._scene.drawn_axis()
        already = np.array([self._axis.y_mm - drawn.y_mm, self._axis.angle_rad])
        moved, covariance = _consensus(curves, already, t)
        return self._moved(moved), covariance

    def _moved(self, by: FloatArray) -> Axis:
        """The axis at hand moved by (dy, angle)."""
        y_mm, angle_rad = self._axis.y_mm + float(by[0]), self._axis.angle_rad + float(by[1])
        return replace(self._axis, y_mm=y_mm, angle_rad=angle_rad)

    def drawn_px(self, axis: Axis) -> tuple[FloatArray, ...]:
        """Start and end (2, 2) px of each outline, for drawing."""
        ends = np.array([self.x_mm[0], self.x_mm[-1]])
        radius = np.asarray(self._scene.socket.radius_mm)
        return tuple(
            self._scene.pose.view.project(axis.surface(ends, np.asarray(a), radius))
            for a in self.angles
        )


Curve = tuple[float, float, FloatArray, FloatArray]  # sine of outline, x, places, doubt


def _consensus(
    curves: list[Curve], already: FloatArray, tuning: AxisTuning
) -> tuple[FloatArray, FloatArray]:
    """(dy, angle) by which all limbs together fit best, and their covariance (2, 2).

    ``already`` is how far (dy, angle) the axis at hand lies from the drawing.
    """
    if not curves:
        return np.zeros(2), np.diag([0.3, 0.02]) ** 2
    dy = np.arange(-0.40, 0.401, 0.04)
    angle = np.radians(np.arange(-1.5, 1.51, 0.15))
    swell = np.arange(-0.24, 0.241, 0.06)
    dy3, angle3, swell3 = np.meshgrid(dy, angle, swell, indexing="ij")
    total = (swell3 / tuning.swell_prior_mm) ** 2
    total += ((dy3 + already[0]) / tuning.offset_prior_mm) ** 2
    total += ((angle3 + already[1]) / np.radians(tuning.tilt_prior_deg)) ** 2
    for sine, x, places, doubt in curves:
        total += np.interp((dy3 + angle3 * x) * sine + swell3, places, doubt)
    weight = np.exp(-0.5 * (total - total.min()))
    weight /= weight.sum()
    mean = np.array([np.sum(weight * dy3), np.sum(weight * angle3)])
    apart = np.stack([(dy3 - mean[0]).ravel(), (angle3 - mean[1]).ravel()])
    covariance = (apart * weight.ravel()) @ apart.T
    return mean, covariance + np.diag([0.06, np.radians(0.1)]) ** 2
