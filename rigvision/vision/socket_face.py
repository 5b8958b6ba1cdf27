"""The socket's face: where the barrel ends towards the yoke, on its crown."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.ground.normal import cumulative_normal
from rigvision.vision.barrel_scene import Axis, BarrelScene
from rigvision.vision.ramp_step import step_doubt
from rigvision.vision.sampling import trimmed_mean
from rigvision.world.frame import Socket


@dataclass(frozen=True, slots=True)
class FaceTuning:
    search_mm: float = 0.5
    prior_mm: float = 0.08  # the drive's end stays where it is drawn, the yoke slides
    beside_mm: float = 1.0  # looked at beyond the search
    half_angle_deg: float = 30.0  # of the barrel about its crown
    bands: int = 6  # into which that part is cut, each read by itself
    touching_mm: float = 0.8  # a shoulder nearer than this is the other edge of one slot
    touching_doubt: float = 5.0
    touching_floor_mm: float = 0.05  # broken edges of shoulder and face, not modelled
    before_mm: float = 0.5  # what lies in front of the face, taken as a ramp
    after_mm: float = 0.7  # of the barrel


@dataclass(frozen=True, slots=True)
class FacePlace:
    x_mm: float
    u_mm: float  # standard uncertainty


def find_face(
    scene: BarrelScene, axis: Axis, shoulder_x_mm: float | None, tuning: FaceTuning | None = None
) -> FacePlace | None:
    """The socket's face on the barrel's crown; None where it cannot be seen.

    The picture along x holds the yoke (or pocket), a dark slot, and the barrel. Where the
    shoulder is near, its known place is the slot's other edge, fitted together with it.
    """
    tuning = tuning or FaceTuning()
    socket = scene.socket
    psi, _ = axis.towards_camera_rad(scene.pose.view, socket.face_x_mm)
    half = np.radians(tuning.half_angle_deg)
    angles = np.linspace(0.5 * psi - half, 0.5 * psi + half, 41)
    radius = np.asarray(socket.radius_mm)
    crown = axis.surface(np.asarray(socket.face_x_mm), np.asarray(0.5 * psi), radius)
    scale = scene.px_per_mm(crown, "x")
    reach = tuning.search_mm + tuning.beside_mm
    x = np.arange(socket.face_x_mm - reach, socket.face_x_mm + reach, 0.5 / scale)
    strip = scene.light(axis.surface(x[:, None], angles[None, :], radius))
    blur_mm = scene.pose.blur_px / scale
    if shoulder_x_mm is not None and shoulder_x_mm > socket.face_x_mm - tuning.touching_mm:
        mean, error = trimmed_mean(strip)
        if not np.isfinite(mean).all():
            return None
        return _fit_slot(x, mean, error, blur_mm, socket, shoulder_x_mm, tuning)
    return _consensus(x, strip, blur_mm, socket, tuning)


def _consensus(
    x: FloatArray, strip: FloatArray, blur_mm: float, socket: Socket, tuning: FaceTuning
) -> FacePlace | None:
    """Where a step fits best in all bands of the barrel's end together."""
    places = socket.face_x_mm + np.arange(-tuning.search_mm, tuning.search_mm + 1e-9, 0.01)
    total = ((places - socket.face_x_mm) / tuning.prior_mm) ** 2
    read = 0
    for band in np.array_split(strip, tuning.bands, axis=1):
        mean, _ = trimmed_mean(band)
        doubt = step_doubt(
            x,
            mean,
            places,
            blur_mm,
            tuning.search_mm + tuning.before_mm,
            tuning.search_mm + tuning.after_mm,
        )
        if doubt is not None:
            total += doubt
            read += 1
    if read < tuning.bands / 2:
        return None
    weight = np.exp(-0.5 * (total - total.min()))
    weight /= weight.sum()
    mean_mm = float(weight @ places)
    variance = float(weight @ (places - mean_mm) ** 2)
    return FacePlace(mean_mm, float(np.sqrt(variance + 0.045**2)))


def _fit_slot(
    x: FloatArray,
    light: FloatArray,
    error: FloatArray,
    blur_mm: float,
    socket: Socket,
    shoulder_x_mm: float,
    tuning: FaceTuning,
) -> FacePlace | None:
    """Least squares over the face's place; the three levels follow linearly."""
    candidates = np.arange(
        socket.face_x_mm - tuning.search_mm, socket.face_x_mm + tuning.search_mm, 0.02
    )
    candidates = candidates[candidates > shoulder_x_mm - tuning.touching_floor_mm]
    if len(candidates) < 3:
        return None
    noise = np.hypot(error, 0.02 * float(np.median(light)) + 1e-4)
    costs = np.array([_face_cost(x, light, noise, blur_mm, c, shoulder_x_mm) for c in candidates])
    # Bevels and shadows of two parts that touch are not in the model: its misfit counts less.
    widen = tuning.touching_doubt * max(1.0, float(costs.min()) / len(x))
    costs = costs / widen + ((candidates - socket.face_x_mm) / tuning.prior_mm) ** 2
    best = int(np.argmin(costs))
    if best in (0, len(candidates) - 1):
        # No slot explains the picture here: what is left is the drawing.
        return FacePlace(max(socket.face_x_mm, shoulder_x_mm), 1.5 * tuning.prior_mm)
    a, b, c = costs[best - 1 : best + 2]
    bend = max(a - 2 * b + c, 1e-9)
    step = float(candidates[1] - candidates[0])
    place = float(candidates[best] + step * 0.5 * (a - c) / bend)
    sigma = step * float(np.sqrt(2.0 * 2.0 / bend))  # samples half a pixel apart: twice
    return FacePlace(place, float(np.hypot(min(sigma, 0.3), tuning.touching_floor_mm)))


def _face_cost(
    x: FloatArray, light: FloatArray, noise: FloatArray, blur: float, face: float, shoulder: float
) -> float:
    """Misfit of yoke, slot and barrel levels with the face at a given place."""
    on_barrel = cumulative_normal((x - face) / blur)
    past_shoulder = cumulative_normal((x - shoulder) / blur)
    columns = np.stack([1.0 - past_shoulder, on_barrel, past_shoulder - on_barrel], axis=1)
    # The slot is dark: otherwise a narrow one's level and width trade.
    dark = 0.1 * float(np.median(light)) + 1e-4
    design = np.vstack([columns / noise[:, None], [0.0, 0.0, 1.0 / dark]])
    target = np.append(light / noise, 0.5)
    levels, *_ = np.linalg.lstsq(design, target, rcond=None)
    return float(np.sum((target - design @ levels) ** 2))
