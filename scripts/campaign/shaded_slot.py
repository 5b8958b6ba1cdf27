"""A slot between two broken edges, as a camera sees it, fitted to averaged profiles.

Coordinates are y in the plane in which both tangent lines lie, the radius behind the
faces. The line of sight has slope t = dy/dz there (t > 0: the camera looks from above).
A point of the sill's round, at angle a from the outward normal, appears in that plane at

    y(a) = sill - r + r (sin a - t cos a)

For t >= 0 the round ends at a = 90 deg, at the tangent line, and the sill's inner face
follows; for t < 0 it ends where the line of sight grazes it, tan a = -1/t, at
sill + r (sqrt(1 + t^2) - 1): beyond the tangent plane, against the duct. The door is the
mirror image. What is fitted are the tangent planes, so neither outline needs a correction.

How bright a round is at each angle depends on lights, polish, paint and dirt, none of them
known beforehand: a polished round mirrors whatever stands in that direction. So brightness
against angle is itself unknown, a smooth curve that starts at the face's brightness, with a
wide prior, shared by all stations of an edge. What the shading leaves uncertain is then in
the covariance, and what can be told is told by where shading begins and ends, which are a
known distance apart.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rigvision.ground.conventions import FloatArray
from rigvision.vision.slot_profiles import SlotProfiles

BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class ShadingTuning:
    """Priors of the shading, relative to the face's brightness, and the fit's own choices."""

    nodes: int = 6  # steps into which a round is cut
    # Brightness of a round against the face's: matt * cos(angle) + sky, on average.
    matt: float = 0.95
    fall: float = 2.3
    sky: float = 0.05
    shading_sigma: float = 0.30  # how far it may be from that
    shading_reach_deg: float = 20.0  # over which it varies smoothly
    slope_sigma_per_mm: float = 0.25  # shading along a face
    slot_face_sigma: float = 0.15  # inner face of the slot: soot or bare metal
    duct_sigma: float = 0.1
    model_error: float = 0.15  # what this model leaves out, part of the brightness
    beside_mm: float = 0.75  # of face and slot beside each edge that take part
    steps: int = 8
    largest_step_mm: float = 0.15
    largest_move_mm: float = 0.7  # between coarse edge and fit; further is another edge
    correlation: float = 2.0  # neighbouring samples share pixels; widens the covariance


# A station's own unknowns, and those that all stations share.
SILL, DOOR, FACE_S, FACE_D, SLOPE_S, SLOPE_D = range(6)
# Shared are the deviations of the two rounds' shading at its nodes, whitened, then two levels.
OWN = 6
DUCT, SLOT_FACE = -2, -1


class SlotModel:
    """Brightness across the slot at all stations, as a function of the unknowns.

    The costly part, how each step of brightness is spread over the rows, depends on the
    edges alone; it is kept while only levels change.
    """

    def __init__(self, profiles: SlotProfiles, tuning: ShadingTuning) -> None:
        self._profiles, self._tuning = profiles, tuning
        t, r = profiles.ray_slope, profiles.radius_mm
        self._sill_round, self._door_round = _Round(t, r, tuning), _Round(-t, r, tuning)
        self._spreads: dict[bytes, tuple[FloatArray, FloatArray]] = {}

    def light(self, own: FloatArray, shared: FloatArray) -> FloatArray:
        """The model's brightness (S, N). Shared levels are parts of each face's brightness."""
        profiles = self._profiles
        falling, rising = self._spread(own[:, :2])
        falling_steps, rising_steps = self._steps(own, shared)
        seen = own[:, [FACE_S]] + (falling @ falling_steps[:, :, None])[:, :, 0]
        seen += (rising @ rising_steps[:, :, None])[:, :, 0]
        on_sill = np.minimum(profiles.y_mm - (own[:, [SILL]] + self._sill_round.at_mm[0]), 0.0)
        on_door = np.maximum(profiles.y_mm - (own[:, [DOOR]] - self._door_round.at_mm[0]), 0.0)
        return np.asarray(seen + own[:, [SLOPE_S]] * on_sill + own[:, [SLOPE_D]] * on_door)

    def _steps(self, own: FloatArray, shared: FloatArray) -> tuple[FloatArray, FloatArray]:
        """By how much brightness falls (S, K) and rises (S, L) at each step."""
        brighter = np.maximum(own[:, FACE_S], own[:, FACE_D])
        duct, slot_face = shared[DUCT] * brighter, shared[SLOT_FACE] * brighter
        from_above = self._profiles.ray_slope >= 0.0
        level_s, level_d = (slot_face, duct) if from_above else (duct, slot_face)
        deviations = shared[: 2 * self._tuning.nodes].reshape(2, -1)
        sill = self._sill_round.steps(own[:, FACE_S], deviations[0], level_s)
        door = -self._door_round.steps(own[:, FACE_D], deviations[1], level_d)[:, ::-1]
        fade = (slot_face - duct)[:, None] * _FADE_STEPS
        if from_above:
            return np.concatenate([sill, fade], axis=1), door
        return sill, np.concatenate([door, -fade], axis=1)

    def _spread(self, edges_mm: FloatArray) -> tuple[FloatArray, FloatArray]:
        """How falling (S, N, K) and rising (S, N, L) steps are spread over the rows."""
        key = edges_mm.tobytes()
        if key not in self._spreads:
            if len(self._spreads) > 3:
                self._spreads.clear()
            self._spreads[key] = self._spread_anew(edges_mm[:, :1], edges_mm[:, 1:])
        return self._spreads[key]

    def _spread_anew(self, sill: FloatArray, door: FloatArray) -> tuple[FloatArray, FloatArray]:
        # Sill face and its round from below, the door's mirrored from above, and in between
        # the inner face that the view's angle shows, fading into the duct.
        profiles = self._profiles
        falling = sill + self._sill_round.at_mm
        rising = door - self._door_round.at_mm[::-1]
        fade = self._fade_at_mm(sill, door)
        if profiles.ray_slope >= 0.0:
            falling = np.concatenate([falling, fade], axis=1)
        else:
            rising = np.concatenate([rising, fade], axis=1)
        y, scale = profiles.y_mm[None, :, None], profiles.px_per_mm[:, None, None]
        spread = profiles.spread
        return (
            spread.falling((y - falling[:, None, :]) * scale),
            spread.rising((y - rising[:, None, :]) * scale),
        )

    def _fade_at_mm(self, sill: FloatArray, door: FloatArray) -> FloatArray:
        """Where the visible inner face is stepped down to the duct (S, K).

        It fades with depth, as less and less light reaches into the slot, and ends at its
        far edge or where the other outline hides it.
        """
        profiles, t = self._profiles, self._profiles.ray_slope
        from_above = t >= 0.0
        whole = profiles.sill_depth_mm if from_above else profiles.door_depth_mm
        depths = np.minimum(np.maximum(door - sill, 0.0) * _FADE_DEPTHS, whole - profiles.radius_mm)
        if from_above:
            at = np.minimum(sill + t * depths, door - self._door_round.at_mm[-1])
        else:
            at = np.maximum(door + t * depths, sill + self._sill_round.at_mm[-1])
        return np.asarray(at)


#: Depths, in widths of the slot, at which the inner face's brightness is stepped down, and the
#: steps: the slot hides the light, which falls to 1/e over about 0.7 of its width.
_FADE_DEPTHS = np.array([0.25, 0.6, 1.1, 1.8, 2.8])
_FADE_STEPS = np.diff(np.concatenate([[1.0], np.exp(-_FADE_DEPTHS[:-1] / 0.7), [0.0]]))


class _Round:
    """A broken edge seen at slope t: where its brightness steps, and by how much."""

    def __init__(self, t: float, radius_mm: float, tuning: ShadingTuning) -> None:
        end = np.pi / 2 if t >= 0.0 else float(np.arctan2(1.0, -t))
        borders = np.linspace(0.0, end, tuning.nodes + 1)
        middles = (borders[1:] + borders[:-1]) / 2
        #: From the tangent plane, (K + 1,).
        self.at_mm = radius_mm * (np.sin(borders) - t * np.cos(borders) - 1.0)
        self._mean = tuning.matt * np.cos(middles) ** tuning.fall + tuning.sky
        self._root = _smooth_root(middles, tuning)

    def steps(self, face: FloatArray, deviations: FloatArray, slot: FloatArray) -> FloatArray:
        """Changes of brightness (S, K + 1) from the face over the round into the slot."""
        part = self._mean + self._root @ deviations
        # A round is never darker than the slot it ends in, which is dark already.
        lit = np.maximum(face[:, None] * part, np.minimum(slot, face)[:, None])
        return np.diff(np.concatenate([face[:, None], lit, slot[:, None]], axis=1), axis=1)


def _smooth_root(angles_rad: FloatArray, tuning: ShadingTuning) -> FloatArray:
    """Root (K, K) of the covariance of a round's brightness: a smooth curve, tied at angle 0 to
    the face's brightness.
    """
    a = np.concatenate([[0.0], angles_rad])
    reach = np.radians(tuning.shading_reach_deg)
    covariance = tuning.shading_sigma**2 * np.exp(-0.5 * ((a[:, None] - a) / reach) ** 2)
    tied = covariance[1:, 1:] - np.outer(covariance[1:, 0], covariance[0, 1:]) / covariance[0, 0]
    return np.linalg.cholesky(tied + 1e-6 * np.eye(len(angles_rad)))
