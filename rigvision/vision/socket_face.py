"""The socket's face: where the barrel ends towards the yoke, read on its crown.

Along the barrel the picture holds yoke or pocket, then the barrel's broken edge, then the
barrel. How wide the edge is broken is not on the drawing, and its slant may shine like the
barrel or mirror the dark: where it is as dark as what lies before it, the border that is seen
is its far end. So the light along x is taken as a smooth random curve and on top of it two
steps of unknown strength, one at the face and one where the broken edge ends; width and
brightness of the broken edge are averaged over, told apart only as far as the picture can.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from rigvision.ground.conventions import FloatArray
from rigvision.ground.normal import cumulative_normal
from rigvision.vision.barrel_scene import Axis, BarrelScene
from rigvision.vision.light_curve import LEAST_MISFIT, CurveTuning, LightCurve
from rigvision.vision.sampling import trimmed_mean


@dataclass(frozen=True, slots=True)
class FaceTuning:
    """Every free choice. Strengths are standard deviations, as parts of the local light."""

    search_mm: float = 0.4
    place_step_mm: float = 0.01
    prior_mm: float = 0.08  # the drive's end stays where it is drawn, the yoke slides
    half_angle_deg: float = 40.0  # of the barrel about its crown
    bands: int = 6  # into which that part is cut, each read by itself
    before_mm: float = 0.5  # read in front of the search and behind it
    after_mm: float = 0.7
    # Broken edges: usual drawings allow up to 0.1 mm; from dark (0) over as bright as the
    # barrel (1) to the glint of a slant that mirrors a lamp.
    broken_mm: tuple[float, ...] = (0.0, 0.02, 0.04, 0.06, 0.08, 0.1)
    shares: tuple[float, ...] = (0.0, 0.3, 0.6, 1.0, 1.5, 2.5)
    all_dark: float = 0.5  # probability that the broken edge is dark all round, and bright
    all_bright: float = 0.2
    curve: CurveTuning = field(default_factory=CurveTuning)
    step: float = 0.5
    sample_weight: float = 0.14  # of a sample as evidence: neighbours share pixels and grain
    least_samples: int = 8
    waviness_mm: float = 0.015
    stray: float = 0.05  # probability that a band shows another border than the face's
    shoulder_reach_mm: float = 0.2  # of the yoke's own broken edge, behind its shoulder
    overlap_mm: float = 0.03  # by which two parts that touch may seem to overlap
    floor_mm: float = 0.015


@dataclass(frozen=True, slots=True)
class FacePlace:
    x_mm: float
    u_mm: float  # standard uncertainty


def find_face(
    scene: BarrelScene, axis: Axis, shoulder_x_mm: float | None, tuning: FaceTuning | None = None
) -> FacePlace | None:
    """The socket's face on the barrel's crown; None where it cannot be seen.

    ``shoulder_x_mm`` is the yoke's shoulder, where known: another border, if it is near.
    """
    t = tuning or FaceTuning()
    socket = scene.socket
    psi, _ = axis.towards_camera_rad(scene.pose.view, socket.face_x_mm)
    radius = np.asarray(socket.radius_mm)
    crown = axis.surface(np.asarray(socket.face_x_mm), np.asarray(0.5 * psi), radius)
    scale = scene.px_per_mm(crown, "x")
    start = socket.face_x_mm - t.search_mm - t.before_mm
    if shoulder_x_mm is not None:
        start = max(start, shoulder_x_mm - t.shoulder_reach_mm)
    x = np.arange(start, socket.face_x_mm + t.search_mm + t.after_mm, 0.5 / scale)
    half = np.radians(t.half_angle_deg)
    angles = np.linspace(0.5 * psi - half, 0.5 * psi + half, 60)
    # The face is square to the axis: off the axis' height it lies further along or back.
    along = x[:, None] - np.tan(axis.angle_rad) * socket.radius_mm * np.sin(angles)
    strip = scene.light(axis.surface(along, angles[None, :], radius))
    bands = [trimmed_mean(band)[0] for band in np.array_split(strip, t.bands, axis=1)]
    whole = [band for band in bands if np.isfinite(band).all()]
    if len(whole) < t.bands / 2 or len(x) < t.least_samples:
        return None
    light = np.stack(whole, axis=1)
    return place_face(x, light, scene.pose.blur_px / scale, socket.face_x_mm, shoulder_x_mm, t)


def place_face(
    x: FloatArray,
    light: FloatArray,
    blur_mm: float,
    drawn_x_mm: float,
    shoulder_x_mm: float | None = None,
    tuning: FaceTuning | None = None,
) -> FacePlace:
    """Mean and spread of the face's place over all that bands (S, K) of light at x (S,) leave
    possible. ``blur_mm`` is the sigma of the picture's own blur.
    """
    t = tuning or FaceTuning()
    places = drawn_x_mm + np.arange(-t.search_mm, t.search_mm + 1e-9, t.place_step_mm)
    steps = np.concatenate(
        [places, places[-1] + np.arange(t.place_step_mm, max(t.broken_mm) + 1e-9, t.place_step_mm)]
    )
    curve = _light_curve(x, blur_mm, shoulder_x_mm, t)
    table = curve.whiten @ (t.step * cumulative_normal((x[:, None] - steps[None, :]) / blur_mm))
    white = curve.white(light)
    total = np.stack(
        [
            _over_shares(table, white, round(b / t.place_step_mm), len(places), t)
            for b in t.broken_mm
        ]
    )
    total = np.logaddexp.reduce(total, axis=0)
    total -= 0.5 * ((places - drawn_x_mm) / t.prior_mm) ** 2
    if shoulder_x_mm is not None:
        total = np.where(places < shoulder_x_mm - t.overlap_mm, -np.inf, total)
    weight = np.exp(total - total.max())
    weight /= weight.sum()
    mean_mm = float(weight @ places)
    variance = float(weight @ (places - mean_mm) ** 2)
    return FacePlace(mean_mm, float(np.hypot(np.sqrt(variance), t.floor_mm)))


def _light_curve(
    x: FloatArray, blur_mm: float, shoulder_x_mm: float | None, t: FaceTuning
) -> LightCurve:
    """Light along x where no socket's face is; the shoulder's own broken edge may lie there."""
    borders = None
    if shoulder_x_mm is not None and shoulder_x_mm > x[0]:
        places = shoulder_x_mm - np.linspace(0.0, t.shoulder_reach_mm, 5)
        borders = 2.0 * t.step * cumulative_normal((x[:, None] - places) / blur_mm)
    return LightCurve(x, t.curve, borders)


def _over_shares(
    table: FloatArray, white: FloatArray, shift: int, count: int, t: FaceTuning
) -> FloatArray:
    """Log likelihood (P,) of a broken edge ``shift`` steps wide, whatever its brightness."""
    near, far = table[:, :count], table[:, shift : shift + count]
    near_seen, far_seen = near.T @ white, far.T @ white
    near2, far2 = np.sum(near**2, axis=0), np.sum(far**2, axis=0)
    both = np.sum(near * far, axis=0)
    rest = np.maximum(np.sum(white**2, axis=0), LEAST_MISFIT)
    samples = t.sample_weight * len(table)
    likely = []
    for share in t.shares:
        power = 1.0 + share**2 * near2 + (1 - share) ** 2 * far2 + 2 * share * (1 - share) * both
        explained = (share * near_seen + (1 - share) * far_seen) ** 2 / power[:, None]
        doubt = samples * np.log(1.0 - explained / rest)
        likely.append(-0.5 * (doubt + t.sample_weight * np.log(power)[:, None]))
    # Each against an even spread over all places: what a stray border would tell.
    log = np.stack(likely)
    even = np.log(np.mean(np.exp(log - log.max(axis=(0, 1))), axis=(0, 1))) + log.max(axis=(0, 1))
    robust = np.logaddexp(np.log1p(-t.stray) + log - even, np.log(t.stray))
    mixed = np.logaddexp.reduce(robust, axis=0) - np.log(len(t.shares))
    each = [
        np.log(t.all_dark) + robust[0].sum(axis=1),
        np.log(t.all_bright) + robust[t.shares.index(1.0)].sum(axis=1),
        np.log(1.0 - t.all_dark - t.all_bright) + mixed.sum(axis=1),
    ]
    return np.asarray(np.logaddexp.reduce(np.stack(each), axis=0))
