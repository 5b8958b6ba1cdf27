"""The barrel's axis from its outline.

A cylinder's outline is not its diameter: the lines of sight that graze it touch it short
of its widest section. Seen from the camera's centre at distance D from the axis, in the
plane across the axis, the outline lies at angles psi +- acos(r / D) about the axis, psi
being the direction to the camera. All angles about the axis are from +z towards +y.

A first search takes the axis for which most borders speak, whatever their strength. Near it
each outline is then read segment by segment (``limb``), and the axis is the mean of all places
that the readings, the known radius and the drawing leave possible together.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rigvision.ground.conventions import FloatArray
from rigvision.ground.even_table import EvenTable
from rigvision.vision.barrel_scene import Axis, BarrelScene
from rigvision.vision.limb import LimbModel
from rigvision.vision.ramp_step import step_evidence
from rigvision.vision.sampling import trimmed_mean


@dataclass(frozen=True, slots=True)
class AxisTuning:
    """Every free choice of the search, millimetres and degrees."""

    end_clearance_mm: float = 1.0
    paint_clearance_mm: float = 0.6  # beyond the index lines' ends
    # First search.
    search_segments: int = 8  # into which an outline is cut along the axis
    search_every_px: tuple[float, float] = (0.5, 4.0)  # across and along the outline
    reach_mm: float = 2.6  # searched inside and outside the expected outline
    offset_search_mm: float = 2.0  # how far the axis may lie from where it should
    tilt_search_deg: float = 4.0
    swell_search_mm: tuple[float, float] = (-0.45, 0.20)  # outline against drawing: dark limbs
    # Offsets from the drawing that weigh like one segment's whole evidence.
    offset_doubt_mm: float = 0.6
    tilt_doubt_deg: float = 3.0
    swell_doubt_mm: float = 0.3
    border_before_mm: float = 0.7  # of barrel and background taken as ramps
    border_after_mm: float = 0.6
    seen_mm: float = 1.2  # on either side of a drawn outline that must be in view
    least_weight: float = 1e-6  # of a place that counts as a rival
    rival_weight: float = 3.0  # how fast belief in another place falls, per segment's evidence
    # Reading of the limbs.
    segments: int = 16
    read_every_px: tuple[float, float] = (1.0, 2.0)
    limb_search_mm: float = 0.6
    place_step_mm: float = 0.02
    limb_inside_mm: float = 1.1  # read on either side of the outline at hand
    limb_outside_mm: float = 0.9
    seen_part: float = 0.9  # of a row across the limb that must be in view
    least_part: float = 0.6  # of the limb's rows that must be
    line_beyond_deg: float = 8.0  # further beyond the limb an index line does not show
    settled_mm: float = 0.1  # a reading that moves the axis less is the last
    most_readings: int = 4
    # Standard deviations believed beforehand: of the axis, and of radius and plane.
    offset_prior_mm: float = 0.4
    tilt_prior_deg: float = 0.8
    swell_prior_mm: float = 0.02
    # Probability that a limb shows no outline but a shadow's border along all of it: the limbs
    # then disagree, and what they leave open is wide, for the index lines to decide.
    stray_limb: float = 0.02
    floor_mm: float = 0.010  # what both limbs may err together, measured on pictures of both makers
    floor_deg: float = 0.020


@dataclass(frozen=True, slots=True)
class AxisFit:
    """The axis, and the covariance (2, 2) of its y and angle."""

    axis: Axis
    covariance: FloatArray


@dataclass(frozen=True, slots=True)
class LimbReading:
    """One segment of one outline: log likelihood (P,) of its places across, outwards."""

    sine: float  # of the outline's angle about the axis: how far it goes up with the axis
    x_mm: float  # from the axis' own x
    places_mm: FloatArray
    log_likelihood: FloatArray


@dataclass(frozen=True, slots=True)
class CoarseAxis:
    """Where the axis roughly is, where else it may be, and which outlines show."""

    axis: Axis
    apart: FloatArray  # (N, 2) of other places from it: y (mm) and angle (rad)
    weight: FloatArray  # (N,) how much they are to be believed; all places together have 1
    visible: tuple[bool, bool]  # upper, lower

    def rivalry(self, axis: Axis, near_mm: float) -> FloatArray:
        """Covariance (2, 2) that rivals of an axis leave open.

        Places nearer than ``near_mm`` to it or to the coarse axis were compared by a finer
        reading and are no rivals.
        """
        moved = np.array([axis.y_mm - self.axis.y_mm, axis.angle_rad - self.axis.angle_rad])
        from_axis = self.apart - moved
        far = (np.abs(self.apart[:, 0]) > near_mm) & (np.abs(from_axis[:, 0]) > near_mm)
        return np.asarray((from_axis[far] * self.weight[far, None]).T @ from_axis[far])


def search_axis(scene: BarrelScene, tuning: AxisTuning | None = None) -> CoarseAxis | None:
    """The axis for which most borders speak; None where neither outline is in view."""
    tuning = tuning or AxisTuning()
    t = tuning
    coarse = _Outlines(
        scene, scene.drawn_axis(), t, t.reach_mm, t.search_every_px, t.search_segments
    )
    scores = [coarse.border_score(strip) for strip in coarse.strips]
    if all(score is None for score in scores):
        return None
    return coarse.search(scores)


def refine_axis(
    scene: BarrelScene,
    coarse: CoarseAxis,
    first_line_rad: float | None,
    tuning: AxisTuning | None = None,
) -> AxisFit:
    """The axis whose outlines are seen best, near the coarse one.

    ``first_line_rad`` is the angle of an index line: close to a limb a line is a border too,
    so there the painted part of the barrel is not read. None: no line is known.
    """
    tuning = tuning or AxisTuning()
    axis = coarse.axis
    near_mm = max(tuning.limb_inside_mm, tuning.limb_outside_mm)
    # The outline's place depends on the axis, and the fine search reaches only so far: read
    # again from the better axis until it stays.
    for _ in range(tuning.most_readings):
        fine = _Outlines(scene, axis, tuning, near_mm, tuning.read_every_px, tuning.segments)
        before, (axis, covariance) = axis, fine.refine(coarse.visible, first_line_rad)
        if abs(axis.y_mm - before.y_mm) < tuning.settled_mm:
            break
    rivalry = coarse.rivalry(axis, tuning.limb_search_mm)
    return AxisFit(axis, covariance + rivalry)


def outlines_px(
    scene: BarrelScene, axis: Axis, tuning: AxisTuning | None = None
) -> tuple[FloatArray, ...]:
    """Start and end (2, 2) px of the upper and of the lower outline, for drawing."""
    t, socket = tuning or AxisTuning(), scene.socket
    ends = np.array(
        [socket.face_x_mm + t.end_clearance_mm, socket.barrel_end_x_mm - t.end_clearance_mm]
    )
    radius = np.asarray(socket.radius_mm)
    psi, half = _outline_rad(scene, axis)
    return tuple(
        scene.pose.view.project(axis.surface(ends, np.asarray(angle), radius))
        for angle in (psi + half, psi - half)
    )


def _outline_rad(scene: BarrelScene, axis: Axis) -> tuple[float, float]:
    """Direction to the camera about the axis, and how far from it the outlines lie."""
    middle_mm = (scene.socket.face_x_mm + scene.socket.barrel_end_x_mm) / 2
    psi, distance = axis.towards_camera_rad(scene.pose.view, middle_mm)
    return psi, float(np.arccos(min(scene.socket.radius_mm / distance, 1.0)))


class _Outlines:
    """Strips of picture along both expected outlines, and the axis that explains them."""

    def __init__(
        self,
        scene: BarrelScene,
        axis: Axis,
        tuning: AxisTuning,
        reach_mm: float,
        every_px: tuple[float, float],
        segments: int,
    ) -> None:
        self._scene, self._axis, self._tuning = scene, axis, tuning
        socket = scene.socket
        middle_mm = (socket.face_x_mm + socket.barrel_end_x_mm) / 2
        self.psi, half = _outline_rad(scene, axis)
        self.angles = np.array([self.psi + half, self.psi - half])  # upper, lower outline
        scale = scene.px_per_mm(np.array([middle_mm, axis.y_mm, axis.z_mm]), "y")
        self.step_mm = every_px[0] / scale
        self.blur_mm = scene.pose.blur_px / scale
        self.x_mm = np.arange(
            socket.face_x_mm + tuning.end_clearance_mm,
            socket.barrel_end_x_mm - tuning.end_clearance_mm,
            every_px[1] / scale,
        )
        self.s_mm = np.arange(-reach_mm, reach_mm, self.step_mm)
        self.strips = [self._strip(angle) for angle in self.angles]
        self.parts, self.is_painted = self._parts(segments)

    def _parts(self, segments: int) -> tuple[list[npt.NDArray[np.intp]], list[bool]]:
        """Columns of each segment along the axis, and whether index lines are painted there."""
        t, socket = self._tuning, self._scene.socket
        painted_mm = 0.0
        if socket.index_line_length_mm is not None:
            painted_mm = socket.index_line_length_mm + t.paint_clearance_mm
        painted = self.x_mm < socket.face_x_mm + painted_mm
        columns = np.arange(len(self.x_mm))
        number = round(segments * float(painted.mean()))
        parts = np.array_split(columns[painted], number) if number else []
        parts += np.array_split(columns[~painted], segments - number)
        return parts, [k < number for k in range(segments)]

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
        light = np.stack([trimmed_mean(strip[:, part])[0] for part in self.parts], axis=1)
        return step_evidence(
            light, self.step_mm, self.blur_mm, t.border_before_mm, t.border_after_mm
        )

    def search(self, scores: list[FloatArray | None]) -> CoarseAxis:
        """The axis for which most evidence adds up, and rivals with nearly as much."""
        t = self._tuning
        dy = np.arange(-t.offset_search_mm, t.offset_search_mm + 1e-9, 0.08)
        angle = np.radians(np.arange(-t.tilt_search_deg, t.tilt_search_deg + 1e-9, 0.4))
        swell = np.arange(t.swell_search_mm[0], t.swell_search_mm[1] + 1e-9, 0.1)
        dy3, angle3, swell3 = np.meshgrid(dy, angle, swell, indexing="ij")
        total = np.zeros(dy3.shape)
        for k, part in enumerate(self.parts):
            shift = dy3 + angle3 * (self.x_mm[part].mean() - self._axis.x_mm)
            # A score is 0 at both its ends, and so beyond them.
            strengths = [
                EvenTable(self.s_mm[0], self.step_mm, score[:, k])(shift * np.sin(a) + swell3)
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
        weight = np.exp(t.rival_weight * (total - total.max())).ravel()
        weight /= weight.sum()
        counts = weight > t.least_weight
        apart = np.stack([(dy3 - found[0]).ravel(), (angle3 - found[1]).ravel()], axis=1)
        return CoarseAxis(
            self._axis.moved(float(found[0]), float(found[1])),
            apart[counts],
            weight[counts],
            (scores[0] is not None, scores[1] is not None),
        )

    def _clear_of_lines(self, outline_rad: float, first_line_rad: float | None) -> bool:
        """Whether no index line shows beside an outline."""
        socket, t = self._scene.socket, self._tuning
        if socket.index_line_length_mm is None:
            return True
        if first_line_rad is None:
            return False
        turn = 2.0 * np.pi / socket.flats
        inwards = (outline_rad - first_line_rad) * np.sign(np.sin(outline_rad - self.psi))
        # From the outline inwards to the next line, and outwards to the next beyond it.
        inside = inwards % turn
        reach = np.arccos(1.0 - (t.limb_inside_mm + t.limb_search_mm) / socket.radius_mm)
        return bool(inside > reach and turn - inside > np.radians(t.line_beyond_deg))

    def refine(
        self, visible: tuple[bool, bool], first_line_rad: float | None
    ) -> tuple[Axis, FloatArray]:
        """The axis that fits the limbs of all segments best, near the one at hand."""
        readings: list[LimbReading] = []
        for strip, outline_rad, seen in zip(self.strips, self.angles, visible, strict=True):
            if seen:
                clear = self._clear_of_lines(float(outline_rad), first_line_rad)
                readings += self._read_limb(strip, float(np.sin(outline_rad)), clear)
        drawn = self._scene.drawn_axis()
        already = np.array([self._axis.y_mm - drawn.y_mm, self._axis.angle_rad])
        moved, covariance = consensus(readings, already, self._tuning)
        return self._axis.moved(float(moved[0]), float(moved[1])), covariance

    def _read_limb(self, strip: FloatArray, sine: float, clear: bool) -> list[LimbReading]:
        """How likely each place of the outline is, segment by segment.

        ``clear``: no index line beside it, so that the painted part may be read too.
        """
        t = self._tuning
        near = (self.s_mm > -t.limb_inside_mm) & (self.s_mm < t.limb_outside_mm)
        rows = near & (np.isfinite(strip).mean(axis=1) > t.seen_part)
        if rows.sum() < t.least_part * near.sum():
            return []
        profiles = {
            float(self.x_mm[part].mean()): trimmed_mean(strip[rows][:, part])[0]
            for part, painted in zip(self.parts, self.is_painted, strict=True)
            if clear or not painted
        }
        profiles = {x: light for x, light in profiles.items() if np.isfinite(light).all()}
        if not profiles:
            return []
        places = np.arange(-t.limb_search_mm, t.limb_search_mm + 1e-9, t.place_step_mm)
        model = LimbModel(self.s_mm[rows], places, self.blur_mm, self._scene.socket.radius_mm)
        likely = model.log_likelihood(np.stack(list(profiles.values()), axis=1))
        return [
            LimbReading(sine, x - self._axis.x_mm, places, column)
            for x, column in zip(profiles, likely.T, strict=True)
        ]


def consensus(
    readings: list[LimbReading], already: FloatArray, tuning: AxisTuning
) -> tuple[FloatArray, FloatArray]:
    """(dy, angle) by which all limbs together fit best, and their covariance (2, 2).

    ``already`` is how far (dy, angle) the axis at hand lies from the drawing.
    """
    t = tuning
    if not readings:
        return np.zeros(2), np.diag([t.offset_prior_mm, np.radians(t.tilt_prior_deg)]) ** 2
    # In the middle of the readings dy and angle hardly go together: a coarse grid will do.
    lever_mm = float(np.mean([r.x_mm for r in readings]))
    dy = np.arange(-t.limb_search_mm, t.limb_search_mm + 1e-9, t.place_step_mm)
    angle = np.radians(np.arange(-1.5, 1.501, 0.1))
    swell = np.arange(-0.04, 0.041, 0.02)
    dy3, angle3, swell3 = np.meshgrid(dy, angle, swell, indexing="ij")
    at_face = dy3 - angle3 * lever_mm
    total = (swell3 / t.swell_prior_mm) ** 2
    total += ((at_face + already[0]) / t.offset_prior_mm) ** 2
    total += ((angle3 + already[1]) / np.radians(t.tilt_prior_deg)) ** 2
    total *= -0.5
    for limb in _by_limb(readings):
        evidence = np.zeros(total.shape)
        for r in limb:
            outwards = (dy3 + angle3 * (r.x_mm - lever_mm)) * r.sine + swell3
            evidence += EvenTable(r.places_mm[0], t.place_step_mm, r.log_likelihood)(outwards)
        total += _unless_stray(evidence, t.stray_limb)
    weight = np.exp(total - total.max())
    weight /= weight.sum()
    mean = np.array([np.sum(weight * at_face), np.sum(weight * angle3)])
    apart = np.stack([(at_face - mean[0]).ravel(), (angle3 - mean[1]).ravel()])
    covariance = (apart * weight.ravel()) @ apart.T
    return mean, covariance + np.diag([t.floor_mm, np.radians(t.floor_deg)]) ** 2


def _by_limb(readings: list[LimbReading]) -> list[list[LimbReading]]:
    upper = [r for r in readings if r.sine > 0.0]
    lower = [r for r in readings if r.sine <= 0.0]
    return [limb for limb in (upper, lower) if limb]


def _unless_stray(evidence: FloatArray, stray: float) -> FloatArray:
    """Log likelihood where a limb's border may be something else's, at any place alike."""
    most = evidence.max()
    likelihood = np.exp(evidence - most)
    return np.asarray(most + np.log((1.0 - stray) * likelihood + stray * likelihood.mean()))
