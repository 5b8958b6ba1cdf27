"""A slot between two broken edges, as a camera sees it, fitted to averaged profiles.

Coordinates are y in the plane in which both tangent lines lie, the radius behind the
faces. The line of sight has slope t = dy/dz there (t > 0: the camera looks from above).
A point of the sill's round, at angle a from the outward normal, appears in that plane at

    y(a) = sill - r + r (sin a - t cos a)

For t >= 0 the round ends at a = 90 deg, at the tangent line, and the sill's inner face
follows; for t < 0 it ends where the line of sight grazes it, tan a = -1/t, at
sill + r (sqrt(1 + t^2) - 1): beyond the tangent plane, against the duct. The door is the
mirror image. What is fitted are the tangent planes, so neither outline needs a correction.

The round's brightness follows its normal: face cos a + inner sin a, never below the slot,
with a bright line of free strength at 45 deg, where a worn edge shines. How a round is lit
is not known beforehand: strength and direction are unknowns with wide priors, so what the
shading leaves uncertain is in the covariance.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from rigvision.ground.conventions import FloatArray


@dataclass(frozen=True, slots=True)
class ShadingTuning:
    """Priors of the shading, relative to the face's brightness, and the fit's own choices."""

    nodes: int = 8  # steps into which a round is cut
    inner_sigma: float = 0.5  # brightness of the round at its inner end
    inner_mean: float = 0.15
    shine_sigma: float = 0.25  # the bright line on a worn edge
    slope_sigma_per_mm: float = 0.25  # shading along a face
    slot_face_sigma: float = 0.35  # inner face of the slot: soot or bare metal
    model_error: float = 0.012  # what this model leaves out, part of the face's brightness
    beside_mm: float = 0.75  # of face and slot beside each edge that take part
    steps: int = 10
    largest_move_mm: float = 0.7  # between coarse edge and fit; further is another edge
    correlation: float = 2.0  # neighbouring samples share pixels; widens the covariance


@dataclass(frozen=True, slots=True)
class SlotProfile:
    """Mean brightness across the slot at one station, and the geometry it is seen by."""

    x_mm: float
    y_mm: FloatArray  # (N,)
    light: FloatArray  # (N,) linear light
    error: FloatArray  # (N,) standard error of ``light``
    blur_mm: float
    ray_slope: float
    radius_mm: float
    sill_depth_mm: float
    door_depth_mm: float


@dataclass(frozen=True, slots=True)
class FittedEdges:
    """Tangent planes of sill and door (2,) with covariance (2, 2)."""

    edges_mm: FloatArray
    covariance_mm2: FloatArray


# Unknowns of one profile.
(_SILL, _DOOR, _FACE_S, _FACE_D, _SLOPE_S, _SLOPE_D, _INNER_S, _INNER_D) = range(8)
(_SHINE_S, _SHINE_D, _DUCT, _SLOT_FACE) = range(8, 12)
_UNKNOWNS = 12


def fit_profiles(
    profiles: list[SlotProfile], coarse_mm: FloatArray, tuning: ShadingTuning | None = None
) -> list[FittedEdges | None]:
    """Fit each profile from coarse edges (S, 2); None where no slot explains it."""
    tuning = tuning or ShadingTuning()
    return [_fit(p, c, tuning) for p, c in zip(profiles, coarse_mm, strict=True)]


def slot_light(profile: SlotProfile, unknowns: FloatArray, y_mm: FloatArray, nodes: int) -> FloatArray:
    """The model's brightness at y (N,) for unknowns (12,)."""
    u, t, r, blur = unknowns, profile.ray_slope, profile.radius_mm, profile.blur_mm
    inner_s, inner_d = _slot_levels(t, u)
    sill_at, sill_steps = _round(t, r, nodes, u[_FACE_S], u[_INNER_S], u[_SHINE_S], inner_s)
    door_at, door_steps = _round(-t, r, nodes, u[_FACE_D], u[_INNER_D], u[_SHINE_D], inner_d)
    border = _inner_border_mm(profile, u, sill_at, door_at)
    # Sill face, round and slot from below; the door's likewise, mirrored; both end in the slot.
    positions = np.concatenate([u[_SILL] + sill_at, [border], u[_DOOR] - door_at[::-1]])
    steps = np.concatenate([sill_steps, [inner_d - inner_s], -door_steps[::-1]])
    light = u[_FACE_S] + ndtr((y_mm[:, None] - positions) / blur) @ steps
    on_sill = np.minimum(y_mm - (u[_SILL] + sill_at[0]), 0.0)
    on_door = np.maximum(y_mm - (u[_DOOR] - door_at[0]), 0.0)
    return np.asarray(light + u[_SLOPE_S] * on_sill + u[_SLOPE_D] * on_door)


def _slot_levels(t: float, u: FloatArray) -> tuple[float, float]:
    """Level of the slot next to the sill and next to the door: inner face or duct."""
    return (u[_SLOT_FACE], u[_DUCT]) if t >= 0.0 else (u[_DUCT], u[_SLOT_FACE])


def _round(
    t: float, r: float, nodes: int, face: float, inner: float, shine: float, slot: float
) -> tuple[FloatArray, FloatArray]:
    """Where the brightness steps along a round, from the tangent plane (K,), and by how much."""
    end = np.pi / 2 if t >= 0.0 else np.arctan2(1.0, -t)
    borders = np.linspace(0.0, end, nodes + 1)
    middles = (borders[1:] + borders[:-1]) / 2
    lit = face * np.cos(middles) + inner * np.sin(middles) + shine * np.sin(2 * middles) ** 2
    # A round is never darker than the slot it ends in, which is dark already.
    levels = np.concatenate([[face], np.maximum(lit, min(slot, face)), [slot]])
    at = r * (np.sin(borders) - t * np.cos(borders) - 1.0)
    return at, np.diff(levels)


def _inner_border_mm(
    profile: SlotProfile, u: FloatArray, sill_at: FloatArray, door_at: FloatArray
) -> float:
    """Where the visible inner face ends at its far edge, or the other outline hides it."""
    t, r = profile.ray_slope, profile.radius_mm
    low, high = u[_SILL] + sill_at[-1], u[_DOOR] - door_at[-1]
    if t >= 0.0:
        return float(min(u[_SILL] + t * (profile.sill_depth_mm - r), high))
    return float(max(u[_DOOR] + t * (profile.door_depth_mm - r), low))


def _fit(profile: SlotProfile, coarse_mm: FloatArray, tuning: ShadingTuning) -> FittedEdges | None:
    near = (profile.y_mm > coarse_mm[0] - tuning.beside_mm - profile.radius_mm) & (
        profile.y_mm < coarse_mm[1] + tuning.beside_mm + profile.radius_mm
    )
    y, light = profile.y_mm[near], profile.light[near]
    unknowns = _start(profile, coarse_mm)
    face = max(unknowns[_FACE_S], unknowns[_FACE_D], 1e-3)
    error = np.hypot(profile.error[near], tuning.model_error * face * 0.5)
    error = np.hypot(error, tuning.model_error * np.abs(light))
    mean, sigma = _priors(unknowns, tuning)

    def residuals(u: FloatArray) -> FloatArray:
        misfit = (light - slot_light(profile, u, y, tuning.nodes)) / error
        return np.concatenate([misfit, (u - mean) / sigma])

    unknowns, normal = _levenberg_marquardt(residuals, unknowns, face, tuning.steps)
    if np.any(np.abs(unknowns[:2] - coarse_mm) > tuning.largest_move_mm):
        return None
    if not unknowns[_DOOR] > unknowns[_SILL]:
        return None
    final = residuals(unknowns)[: len(y)]
    widen = tuning.correlation * max(1.0, float(np.mean(final**2)))
    covariance = np.linalg.inv(normal)[:2, :2] * widen
    return FittedEdges(unknowns[:2], covariance)


def _start(profile: SlotProfile, coarse_mm: FloatArray) -> FloatArray:
    """First guess: coarse edges, levels from the profile around them."""
    y, light = profile.y_mm, profile.light
    sill, door = coarse_mm
    u = np.zeros(_UNKNOWNS)
    u[_SILL], u[_DOOR] = sill, door
    reach = 2.0 * profile.radius_mm + 0.3
    u[_FACE_S] = float(np.median(light[(y < sill - 0.2) & (y > sill - 0.2 - reach)]))
    u[_FACE_D] = float(np.median(light[(y > door + 0.2) & (y < door + 0.2 + reach)]))
    slot = light[(y >= sill) & (y <= door)]
    u[_DUCT] = float(slot.min()) if len(slot) else float(light.min())
    u[_SLOT_FACE] = u[_DUCT]
    return u


def _priors(u: FloatArray, tuning: ShadingTuning) -> tuple[FloatArray, FloatArray]:
    """Mean and standard deviation (12,) of what is believed of the unknowns beforehand."""
    mean, sigma = np.zeros(_UNKNOWNS), np.full(_UNKNOWNS, 1e6)
    for face, inner, shine, slope in (
        (_FACE_S, _INNER_S, _SHINE_S, _SLOPE_S),
        (_FACE_D, _INNER_D, _SHINE_D, _SLOPE_D),
    ):
        level = max(u[face], 1e-3)
        mean[inner], sigma[inner] = tuning.inner_mean * level, tuning.inner_sigma * level
        sigma[shine] = tuning.shine_sigma * level
        sigma[slope] = tuning.slope_sigma_per_mm * level
    brighter = max(u[_FACE_S], u[_FACE_D], 1e-3)
    mean[_DUCT] = u[_DUCT]
    sigma[_DUCT] = 0.1 * brighter
    mean[_SLOT_FACE] = u[_DUCT]
    sigma[_SLOT_FACE] = tuning.slot_face_sigma * brighter
    return mean, sigma


def _levenberg_marquardt(
    residuals, unknowns: FloatArray, face: float, steps: int
) -> tuple[FloatArray, FloatArray]:
    """Minimise; returns the unknowns and the last normal matrix (12, 12)."""
    nudge = np.full(_UNKNOWNS, 1e-3 * face)
    nudge[:2] = 1e-3
    damping, now = 1e-2, residuals(unknowns)
    normal = np.eye(_UNKNOWNS)
    for _ in range(steps):
        jacobian = np.stack(
            [(residuals(unknowns + n) - now) / n[k] for k, n in enumerate(np.diag(nudge))], axis=1
        )
        normal = jacobian.T @ jacobian
        step = np.linalg.solve(
            normal + damping * np.diag(np.diag(normal)), -(jacobian.T @ now)
        )
        step[:2] = np.clip(step[:2], -0.15, 0.15)
        trial = residuals(unknowns + step)
        if trial @ trial < now @ now:
            gain = now @ now - trial @ trial
            unknowns, now, damping = unknowns + step, trial, damping / 5.0
            if gain < 1e-4 * (now @ now):
                break
        else:
            damping *= 8.0
    return unknowns, normal
