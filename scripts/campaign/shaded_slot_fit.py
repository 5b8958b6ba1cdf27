"""Both edges of the slot at all stations, by least squares on the shaded-slot model."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.vision.broken_edge import ReadEdges
from rigvision.vision.slot_profiles import BoolArray, SlotProfiles

from .shaded_slot import (
    DOOR,
    DUCT,
    FACE_D,
    FACE_S,
    OWN,
    SILL,
    SLOPE_D,
    SLOPE_S,
    SLOT_FACE,
    ShadingTuning,
    SlotModel,
)


def fit_slot(
    profiles: SlotProfiles, coarse_mm: FloatArray, tuning: ShadingTuning | None = None
) -> ReadEdges:
    """Fit all stations together from coarse edges (S, 2)."""
    tuning = tuning or ShadingTuning()
    profiles = _rows_near(profiles, coarse_mm, tuning)
    own, shared = _start(profiles, coarse_mm, tuning)
    light, error = _weighing(profiles, coarse_mm, own, tuning)
    own_prior, shared_prior = _priors(own, shared, tuning)

    model = SlotModel(profiles, tuning)

    def residuals(own: FloatArray, shared: FloatArray) -> tuple[FloatArray, ...]:
        misfit = (light - model.light(own, shared)) / error
        return (
            misfit,
            (own - own_prior[0]) / own_prior[1],
            (shared - shared_prior[0]) / shared_prior[1],
        )

    inverse_sigma = 1.0 / np.concatenate([own_prior[1].ravel(), shared_prior[1]])
    best = _levenberg_marquardt(residuals, inverse_sigma, own, shared, tuning)
    misfit = residuals(best.own, best.shared)[0][np.isfinite(error)]
    widen = tuning.correlation * max(1.0, float(np.mean(misfit**2)))
    covariance = np.asarray(np.linalg.inv(best.normal) * widen, dtype=np.float64)
    order = (np.arange(len(own))[:, None] * OWN + np.array([SILL, DOOR])).ravel()
    moved = np.abs(best.own[:, :2] - coarse_mm).max(axis=1)
    return ReadEdges(
        best.own[:, :2],
        covariance[np.ix_(order, order)],
        (moved < tuning.largest_move_mm) & (best.own[:, DOOR] > best.own[:, SILL]),
    )


def _rows_near(
    profiles: SlotProfiles, coarse_mm: FloatArray, tuning: ShadingTuning
) -> SlotProfiles:
    """Only the rows that take part at some station."""
    reach = tuning.beside_mm + profiles.radius_mm
    rows = (profiles.y_mm > coarse_mm[:, 0].min() - reach) & (
        profiles.y_mm < coarse_mm[:, 1].max() + reach
    )
    return replace(
        profiles,
        y_mm=profiles.y_mm[rows],
        light=profiles.light[:, rows],
        error=profiles.error[:, rows],
    )


def _start(
    profiles: SlotProfiles, coarse_mm: FloatArray, tuning: ShadingTuning
) -> tuple[FloatArray, FloatArray]:
    """First guess: coarse edges, levels from the profile around them."""
    y, light = profiles.y_mm[None, :], profiles.light
    sill, door = coarse_mm[:, :1], coarse_mm[:, 1:]
    reach = 2.0 * profiles.radius_mm + 0.5
    own = np.zeros((len(coarse_mm), OWN))
    own[:, :2] = coarse_mm
    own[:, FACE_S] = _masked_median(light, (y < sill - 0.2) & (y > sill - reach))
    own[:, FACE_D] = _masked_median(light, (y > door + 0.2) & (y < door + reach))
    brighter = np.maximum(own[:, FACE_S], own[:, FACE_D])
    slot = np.where((y >= sill) & (y <= door) & np.isfinite(light), light, np.inf).min(axis=1)
    shared = np.zeros(2 * tuning.nodes + 2)
    darkest = float(np.median(np.where(np.isfinite(slot), slot, 0.0) / brighter))
    shared[DUCT] = shared[SLOT_FACE] = min(darkest, 0.9)
    return own, shared


def _masked_median(light: FloatArray, mask: BoolArray) -> FloatArray:
    """Median (S,) of the samples under a mask, at least a dark grey."""
    levels = [
        np.median(row[m & np.isfinite(row)]) if np.any(m & np.isfinite(row)) else 0.0
        for row, m in zip(light, mask, strict=True)
    ]
    return np.asarray(np.maximum(np.array(levels), 1e-3))


def _weighing(
    profiles: SlotProfiles, coarse_mm: FloatArray, own: FloatArray, tuning: ShadingTuning
) -> tuple[FloatArray, FloatArray]:
    """Light (S, N) and its standard error; infinite for rows that take no part."""
    reach = tuning.beside_mm + profiles.radius_mm
    y = profiles.y_mm[None, :]
    near = (y > coarse_mm[:, :1] - reach) & (y < coarse_mm[:, 1:] + reach)
    near &= np.isfinite(profiles.light) & np.isfinite(profiles.error)
    light = np.where(near, profiles.light, 0.0)
    face = np.minimum(own[:, FACE_S], own[:, FACE_D])[:, None]
    error = np.sqrt(
        np.where(near, profiles.error, 0.0) ** 2
        + (0.5 * tuning.model_error * face) ** 2
        + (tuning.model_error * light) ** 2
    )
    return light, np.where(near, error, np.inf)


Prior = tuple[FloatArray, FloatArray]


def _priors(own: FloatArray, shared: FloatArray, tuning: ShadingTuning) -> tuple[Prior, Prior]:
    """Mean and standard deviation of what is believed beforehand: own (S, 6), shared (K,)."""
    own_mean, own_sigma = np.zeros_like(own), np.full_like(own, 1e6)
    own_sigma[:, SLOPE_S] = tuning.slope_sigma_per_mm * own[:, FACE_S]
    own_sigma[:, SLOPE_D] = tuning.slope_sigma_per_mm * own[:, FACE_D]
    mean, sigma = np.zeros(len(shared)), np.ones(len(shared))
    mean[[DUCT, SLOT_FACE]] = shared[[DUCT, SLOT_FACE]]
    sigma[[DUCT, SLOT_FACE]] = tuning.duct_sigma, tuning.slot_face_sigma
    return (own_mean, own_sigma), (mean, sigma)


Residuals = Callable[[FloatArray, FloatArray], tuple[FloatArray, ...]]


@dataclass(frozen=True, slots=True)
class _Valley:
    """Where a fit came to rest."""

    own: FloatArray
    shared: FloatArray
    normal: FloatArray  # (6 S + K, 6 S + K)
    cost: float


def _levenberg_marquardt(
    residuals: Residuals,
    inverse_sigma: FloatArray,
    own: FloatArray,
    shared: FloatArray,
    tuning: ShadingTuning,
) -> _Valley:
    """Minimise from one start."""
    damping, now = 1e-2, residuals(own, shared)
    cost = sum(float(np.sum(r**2)) for r in now)
    normal = np.eye(own.size + len(shared))
    for _ in range(tuning.steps):
        normal, gradient = _normal_equations(residuals, inverse_sigma, own, shared, now)
        step = np.linalg.solve(normal + damping * np.diag(np.diag(normal)), -gradient)
        own_step = step[: own.size].reshape(own.shape)
        own_step[:, :2] = np.clip(own_step[:, :2], -tuning.largest_step_mm, tuning.largest_step_mm)
        trial = residuals(own + own_step, shared + step[own.size :])
        trial_cost = sum(float(np.sum(r**2)) for r in trial)
        if trial_cost < cost:
            gain, cost, now = cost - trial_cost, trial_cost, trial
            own, shared, damping = own + own_step, shared + step[own.size :], damping / 5.0
            if gain < 3e-3 * cost:
                break
        else:
            damping *= 8.0
    return _Valley(own, shared, normal, cost)


def _normal_equations(
    residuals: Residuals,
    inverse_sigma: FloatArray,
    own: FloatArray,
    shared: FloatArray,
    now: tuple[FloatArray, ...],
) -> tuple[FloatArray, FloatArray]:
    """Normal matrix and gradient. A station's own unknowns touch its own profile only, so
    one evaluation serves the same unknown of all stations.
    """
    stations = len(own)
    size = stations * OWN + len(shared)
    rows = now[0].shape[1]
    jacobian = np.zeros((stations, rows, OWN + len(shared)))
    for k in range(OWN):
        nudge = 1e-3 if k in (SILL, DOOR) else 1e-3 * float(own[:, FACE_S].mean())
        moved = own.copy()
        moved[:, k] += nudge
        jacobian[:, :, k] = (residuals(moved, shared)[0] - now[0]) / nudge
    for k in range(len(shared)):
        moved = shared.copy()
        moved[k] += 1e-3
        jacobian[:, :, OWN + k] = (residuals(own, moved)[0] - now[0]) / 1e-3
    turned = np.swapaxes(jacobian, 1, 2)
    blocks = turned @ jacobian
    slopes = (turned @ now[0][:, :, None])[:, :, 0]
    normal, gradient = np.zeros((size, size)), np.zeros(size)
    tail = slice(stations * OWN, size)
    for s in range(stations):
        head = slice(s * OWN, (s + 1) * OWN)
        normal[head, head] = blocks[s, :OWN, :OWN]
        normal[head, tail] = blocks[s, :OWN, OWN:]
        normal[tail, head] = normal[head, tail].T
        gradient[head] = slopes[s, :OWN]
    normal[tail, tail] = blocks[:, OWN:, OWN:].sum(axis=0)
    gradient[tail] = slopes[:, OWN:].sum(axis=0)
    # Priors are linear: their derivative is the inverse of their standard deviation.
    normal[np.diag_indices(size)] += inverse_sigma**2
    return normal, gradient + inverse_sigma * np.concatenate([now[1].ravel(), now[2]])
