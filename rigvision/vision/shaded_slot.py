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

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from rigvision.ground.conventions import FloatArray
from rigvision.vision.side import EdgeSpread

BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class ShadingTuning:
    """Priors of the shading, relative to the face's brightness, and the fit's own choices."""

    nodes: int = 6  # steps into which a round is cut
    # Brightness of a round against the face's: matt * cos(angle) + sky, on average.
    matt: float = 0.95
    fall: float = 3.0
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


@dataclass(frozen=True, slots=True)
class SlotProfiles:
    """Mean brightness across the slot at S stations, and the geometry it is seen by."""

    x_mm: FloatArray  # (S,)
    y_mm: FloatArray  # (N,) the same rows for all
    light: FloatArray  # (S, N) linear light; NaN out of view
    error: FloatArray  # (S, N) standard error of ``light``
    px_per_mm: FloatArray  # (S,) along y
    spread: EdgeSpread
    ray_slope: float
    radius_mm: float
    sill_depth_mm: float
    door_depth_mm: float

    def part(self, index: FloatArray) -> SlotProfiles:
        """The stations of one index array."""
        return replace(
            self,
            x_mm=self.x_mm[index],
            light=self.light[index],
            error=self.error[index],
            px_per_mm=self.px_per_mm[index],
        )


@dataclass(frozen=True, slots=True)
class FittedSlot:
    """Tangent planes of sill and door, (S, 2), with covariance (2 S, 2 S) in that order."""

    edges_mm: FloatArray
    covariance_mm2: FloatArray
    believable: BoolArray  # (S,): the fit stayed with the edges it was started from


# A station's own unknowns, and those that all stations share.
_SILL, _DOOR, _FACE_S, _FACE_D, _SLOPE_S, _SLOPE_D = range(6)
# Shared are the deviations of the two rounds' shading at its nodes, whitened, then two levels.
_OWN = 6
_DUCT, _SLOT_FACE = -2, -1


def fit_slot(
    profiles: SlotProfiles, coarse_mm: FloatArray, tuning: ShadingTuning | None = None
) -> FittedSlot:
    """Fit all stations together from coarse edges (S, 2)."""
    tuning = tuning or ShadingTuning()
    profiles = _rows_near(profiles, coarse_mm, tuning)
    own, shared = _start(profiles, coarse_mm, tuning)
    light, error = _weighing(profiles, coarse_mm, own, tuning)
    own_prior, shared_prior = _priors(own, shared, tuning)

    def residuals(own: FloatArray, shared: FloatArray) -> tuple[FloatArray, ...]:
        misfit = (light - slot_light(profiles, own, shared, tuning)) / error
        return (
            misfit,
            (own - own_prior[0]) / own_prior[1],
            (shared - shared_prior[0]) / shared_prior[1],
        )

    best = _levenberg_marquardt(residuals, own, shared, tuning)
    misfit = residuals(best.own, best.shared)[0][np.isfinite(error)]
    widen = tuning.correlation * max(1.0, float(np.mean(misfit**2)))
    covariance = np.asarray(np.linalg.inv(best.normal) * widen, dtype=np.float64)
    order = (np.arange(len(own))[:, None] * _OWN + np.array([_SILL, _DOOR])).ravel()
    moved = np.abs(best.own[:, :2] - coarse_mm).max(axis=1)
    return FittedSlot(
        best.own[:, :2],
        covariance[np.ix_(order, order)],
        (moved < tuning.largest_move_mm) & (best.own[:, _DOOR] > best.own[:, _SILL]),
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


def slot_light(
    profiles: SlotProfiles, own: FloatArray, shared: FloatArray, tuning: ShadingTuning
) -> FloatArray:
    """The model's brightness (S, N). Shared levels are parts of each face's brightness."""
    t, r = profiles.ray_slope, profiles.radius_mm
    brighter = np.maximum(own[:, _FACE_S], own[:, _FACE_D])
    duct, slot_face = shared[_DUCT] * brighter, shared[_SLOT_FACE] * brighter
    level_s, level_d = (slot_face, duct) if t >= 0.0 else (duct, slot_face)
    deviations = shared[: 2 * tuning.nodes].reshape(2, tuning.nodes)
    sill_at, sill_steps = _round(t, r, own[:, _FACE_S], deviations[0], level_s, tuning)
    door_at, door_steps = _round(-t, r, own[:, _FACE_D], deviations[1], level_d, tuning)
    # Sill face and its round from below, the door's mirrored from above, and in between the
    # inner face that the view's angle shows, fading into the duct.
    falling, falling_steps = own[:, [_SILL]] + sill_at, sill_steps
    rising, rising_steps = own[:, [_DOOR]] - door_at[::-1], -door_steps[:, ::-1]
    fade_at, fade_steps = _fading_face(profiles, own, sill_at[-1], door_at[-1], slot_face - duct)
    if t >= 0.0:
        falling = np.concatenate([falling, fade_at], axis=1)
        falling_steps = np.concatenate([falling_steps, fade_steps], axis=1)
    else:
        rising = np.concatenate([rising, fade_at], axis=1)
        rising_steps = np.concatenate([rising_steps, -fade_steps], axis=1)
    y, scale = profiles.y_mm[None, :, None], profiles.px_per_mm[:, None, None]
    seen = own[:, [_FACE_S]] + np.einsum(
        "snk,sk->sn", profiles.spread.falling((y - falling[:, None, :]) * scale), falling_steps
    )
    seen += np.einsum(
        "snk,sk->sn", profiles.spread.rising((y - rising[:, None, :]) * scale), rising_steps
    )
    on_sill = np.minimum(profiles.y_mm - (own[:, [_SILL]] + sill_at[0]), 0.0)
    on_door = np.maximum(profiles.y_mm - (own[:, [_DOOR]] - door_at[0]), 0.0)
    return np.asarray(seen + own[:, [_SLOPE_S]] * on_sill + own[:, [_SLOPE_D]] * on_door)


def _round(
    t: float,
    r: float,
    face: FloatArray,
    deviations: FloatArray,
    slot: FloatArray,
    tuning: ShadingTuning,
) -> tuple[FloatArray, FloatArray]:
    """Where brightness steps along a round (K,), from the tangent plane, and by how much (S, K)."""
    borders, root = _shading_nodes(t, tuning)
    a = (borders[1:] + borders[:-1]) / 2
    part = tuning.matt * np.cos(a) ** tuning.fall + tuning.sky + root @ deviations
    # A round is never darker than the slot it ends in, which is dark already.
    lit = np.maximum(face[:, None] * part, np.minimum(slot, face)[:, None])
    at = r * (np.sin(borders) - t * np.cos(borders) - 1.0)
    return at, np.diff(np.concatenate([face[:, None], lit, slot[:, None]], axis=1), axis=1)


@lru_cache(maxsize=8)
def _shading_nodes(t: float, tuning: ShadingTuning) -> tuple[FloatArray, FloatArray]:
    """Borders (K + 1,) of the visible round's pieces, and the root (K, K) of the covariance of
    their brightness: a smooth curve tied to the face's brightness at angle 0.
    """
    end = np.pi / 2 if t >= 0.0 else float(np.arctan2(1.0, -t))
    borders = np.linspace(0.0, end, tuning.nodes + 1)
    a = np.concatenate([[0.0], (borders[1:] + borders[:-1]) / 2])
    reach = np.radians(tuning.shading_reach_deg)
    covariance = tuning.shading_sigma**2 * np.exp(-0.5 * ((a[:, None] - a) / reach) ** 2)
    tied = covariance[1:, 1:] - np.outer(covariance[1:, 0], covariance[0, 1:]) / covariance[0, 0]
    return borders, np.linalg.cholesky(tied + 1e-6 * np.eye(tuning.nodes))


#: Depths, in widths of the slot, at which the inner face's brightness is stepped down.
_FADE_DEPTHS = np.array([0.25, 0.6, 1.1, 1.8, 2.8])
_FADE_LENGTH = 0.7  # the slot hides the light: depth, in its widths, of a fall to 1/e


def _fading_face(
    profiles: SlotProfiles,
    own: FloatArray,
    sill_end: float,
    door_end: float,
    over_duct: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Steps (S, K) by which the visible inner face falls to the duct, and where.

    It fades with depth, as less and less light reaches into the slot, and ends at its far
    edge or where the other outline hides it.
    """
    t, r = profiles.ray_slope, profiles.radius_mm
    from_above = t >= 0.0
    whole = (profiles.sill_depth_mm if from_above else profiles.door_depth_mm) - r
    width = np.maximum(own[:, [_DOOR]] - own[:, [_SILL]], 0.0)
    depths = np.minimum(width * _FADE_DEPTHS, whole)
    levels = np.exp(-_FADE_DEPTHS / _FADE_LENGTH)
    steps = np.diff(np.concatenate([[1.0], levels[:-1], [0.0]]))
    if from_above:
        at = np.minimum(own[:, [_SILL]] + t * depths, own[:, [_DOOR]] - door_end)
    else:
        at = np.maximum(own[:, [_DOOR]] + t * depths, own[:, [_SILL]] + sill_end)
    return at, over_duct[:, None] * steps


def _start(
    profiles: SlotProfiles, coarse_mm: FloatArray, tuning: ShadingTuning
) -> tuple[FloatArray, FloatArray]:
    """First guess: coarse edges, levels from the profile around them."""
    y, light = profiles.y_mm[None, :], profiles.light
    sill, door = coarse_mm[:, :1], coarse_mm[:, 1:]
    reach = 2.0 * profiles.radius_mm + 0.5
    own = np.zeros((len(coarse_mm), _OWN))
    own[:, :2] = coarse_mm
    own[:, _FACE_S] = _masked_median(light, (y < sill - 0.2) & (y > sill - reach))
    own[:, _FACE_D] = _masked_median(light, (y > door + 0.2) & (y < door + reach))
    brighter = np.maximum(own[:, _FACE_S], own[:, _FACE_D])
    slot = np.where((y >= sill) & (y <= door) & np.isfinite(light), light, np.inf).min(axis=1)
    shared = np.zeros(2 * tuning.nodes + 2)
    darkest = float(np.median(np.where(np.isfinite(slot), slot, 0.0) / brighter))
    shared[_DUCT] = shared[_SLOT_FACE] = min(darkest, 0.9)
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
    face = np.minimum(own[:, _FACE_S], own[:, _FACE_D])[:, None]
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
    own_sigma[:, _SLOPE_S] = tuning.slope_sigma_per_mm * own[:, _FACE_S]
    own_sigma[:, _SLOPE_D] = tuning.slope_sigma_per_mm * own[:, _FACE_D]
    mean, sigma = np.zeros(len(shared)), np.ones(len(shared))
    mean[[_DUCT, _SLOT_FACE]] = shared[[_DUCT, _SLOT_FACE]]
    sigma[[_DUCT, _SLOT_FACE]] = tuning.duct_sigma, tuning.slot_face_sigma
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
    residuals: Residuals, own: FloatArray, shared: FloatArray, tuning: ShadingTuning
) -> _Valley:
    """Minimise from one start."""
    damping, now = 1e-2, residuals(own, shared)
    cost = sum(float(np.sum(r**2)) for r in now)
    normal = np.eye(own.size + len(shared))
    for _ in range(tuning.steps):
        normal, gradient = _normal_equations(residuals, own, shared, now)
        step = np.linalg.solve(normal + damping * np.diag(np.diag(normal)), -gradient)
        own_step = step[: own.size].reshape(own.shape)
        own_step[:, :2] = np.clip(own_step[:, :2], -tuning.largest_step_mm, tuning.largest_step_mm)
        trial = residuals(own + own_step, shared + step[own.size :])
        trial_cost = sum(float(np.sum(r**2)) for r in trial)
        if trial_cost < cost:
            gain, cost, now = cost - trial_cost, trial_cost, trial
            own, shared, damping = own + own_step, shared + step[own.size :], damping / 5.0
            if gain < 1e-3 * cost:
                break
        else:
            damping *= 8.0
    return _Valley(own, shared, normal, cost)


def _normal_equations(
    residuals: Residuals, own: FloatArray, shared: FloatArray, now: tuple[FloatArray, ...]
) -> tuple[FloatArray, FloatArray]:
    """Normal matrix and gradient. A station's own unknowns touch its own profile only, so
    one evaluation serves the same unknown of all stations.
    """
    stations = len(own)
    size = stations * _OWN + len(shared)
    rows = now[0].shape[1]
    jacobian = np.zeros((stations, rows, _OWN + len(shared)))
    for k in range(_OWN):
        nudge = 1e-3 if k in (_SILL, _DOOR) else 1e-3 * float(own[:, _FACE_S].mean())
        moved = own.copy()
        moved[:, k] += nudge
        jacobian[:, :, k] = (residuals(moved, shared)[0] - now[0]) / nudge
    for k in range(len(shared)):
        moved = shared.copy()
        moved[k] += 1e-3
        jacobian[:, :, _OWN + k] = (residuals(own, moved)[0] - now[0]) / 1e-3
    blocks = np.einsum("sni,snj->sij", jacobian, jacobian)
    slopes = np.einsum("sni,sn->si", jacobian, now[0])
    normal, gradient = np.zeros((size, size)), np.zeros(size)
    tail = slice(stations * _OWN, size)
    for s in range(stations):
        head = slice(s * _OWN, (s + 1) * _OWN)
        normal[head, head] = blocks[s, :_OWN, :_OWN]
        normal[head, tail] = blocks[s, :_OWN, _OWN:]
        normal[tail, head] = normal[head, tail].T
        gradient[head] = slopes[s, :_OWN]
    normal[tail, tail] = blocks[:, _OWN:, _OWN:].sum(axis=0)
    gradient[tail] = slopes[:, _OWN:].sum(axis=0)
    # Priors are linear: their derivative is the inverse of their standard deviation.
    inverse_sigma = _prior_scale(residuals, own, shared, now)
    normal[np.diag_indices(size)] += inverse_sigma**2
    return normal, gradient + inverse_sigma * np.concatenate([now[1].ravel(), now[2]])


def _prior_scale(
    residuals: Residuals, own: FloatArray, shared: FloatArray, now: tuple[FloatArray, ...]
) -> FloatArray:
    """Derivative of each prior residual by its unknown."""
    moved = residuals(own + 1.0, shared + 1.0)
    return np.concatenate([(moved[1] - now[1]).ravel(), moved[2] - now[2]])
