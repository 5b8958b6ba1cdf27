"""From the light of a cross-section to the profile that the program would read of a photo."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigvision.vision.edge_features import EdgeProfiles
from rigvision.vision.edge_spread import SPREAD_PX, EdgeSpread

from .places import PER_RADIUS, PLACES
from .scenes import F32, Sections

#: A printed border in linear light, and the brightness it is exposed for.
MARK_DARK, MARK_LIGHT = 0.035, 0.75
STEP_PX = 0.7  #: the program's own sampling along a profile


@dataclass(frozen=True)
class Phones:
    """N phones and how each saw its section."""

    px_per_radius: F32
    blur_px: F32  # of lens and sensor in focus, without the pixel
    defocus_px: F32  # what the edges' distance from the plane in focus adds
    focus_error: F32  # of the blur at the edges, as the marks tell it: a factor
    face_light: F32  # linear light of the face after exposure
    s_curve: F32
    sharpen: F32
    sharpen_px: F32
    threshold: F32
    limit: F32
    flare: F32
    noise: F32  # standard error of the averaged profile on the face, part of its light
    jitter: F32  # error of the starting place, radii


def draw_phones(rng: np.random.Generator, count: int) -> Phones:
    """Draw phones from restrained to eager, near and far, in and a little out of focus."""

    def log_uniform(low: float, high: float) -> F32:
        return np.exp(rng.uniform(np.log(low), np.log(high), count))

    drawn = Phones(
        px_per_radius=log_uniform(0.7, 6.0),
        blur_px=rng.uniform(0.45, 1.0, count),
        defocus_px=_defocus(rng, count),
        focus_error=np.exp(rng.normal(0, rng.choice([0.02, 0.12], count))),
        face_light=log_uniform(0.02, 1.1),
        s_curve=rng.uniform(0, 0.6, count),
        sharpen=rng.uniform(0, 1.2, count),
        sharpen_px=rng.uniform(0.8, 1.8, count),
        threshold=rng.choice([0.0, 0.004], count),
        limit=rng.choice([0.12, 0.2, 10.0], count),
        flare=rng.uniform(0, 0.01, count),
        noise=log_uniform(0.0005, 0.03),
        jitter=_start_errors(rng, count),
    )
    return Phones(**{k: np.asarray(v, np.float64) for k, v in vars(drawn).items()})


def photographed(
    light: F32,
    sections: Sections,
    phones: Phones,
    rng: np.random.Generator,
    own_blur_radii: float = 0.0,
) -> list[EdgeProfiles]:
    """The profile of each section as the program reads it, in radii.

    ``own_blur_radii``: sigma by which the light given is blurred already.
    """
    own_px = own_blur_radii * phones.px_per_radius
    blur_px = np.maximum(np.hypot(phones.blur_px, phones.defocus_px), own_px)
    face = np.median(light[:, PLACES < -1.5], axis=1)
    gain = phones.face_light / np.maximum(face, 1e-3)
    pitch_px = phones.px_per_radius / PER_RADIUS
    exposed = light * gain[:, None] + phones.flare[:, None]
    seen = _developed(exposed, pitch_px, np.sqrt(blur_px**2 - own_px**2), phones)
    seen = _resampled(seen, pitch_px, STEP_PX)
    seen = _noisy(seen, pitch_px, phones, rng)
    spreads = _border_spreads(blur_px * phones.focus_error, phones)
    return [
        EdgeProfiles(
            first=PLACES[:1],
            step=1.0 / PER_RADIUS,
            light=seen[i : i + 1],
            error=np.array([phones.noise[i] * phones.face_light[i]]),
            radius=1.0,
            px_per_unit=phones.px_per_radius[i : i + 1],
            slope=sections.slope[i : i + 1].astype(float),
            own_depth=sections.depth[i : i + 1, 0].astype(float),
            other_depth=sections.depth[i : i + 1, 1].astype(float),
            spread=EdgeSpread(spreads[i]),
            focus=np.ones(1),
        )
        for i in range(len(light))
    ]


def _start_errors(rng: np.random.Generator, count: int) -> F32:
    """Errors of a first search, which may be wild, and of the readings that follow it."""
    kind = rng.random(count)
    wild, found = rng.uniform(-1.7, 1.7, count), rng.normal(0, 1, count)
    return np.where(kind < 0.2, wild, np.where(kind < 0.6, 0.5, 0.15) * found)


def _defocus(rng: np.random.Generator, count: int) -> F32:
    """Blur of what is out of focus: often hardly any, at times twice the lens's own."""
    return np.abs(rng.normal(0, rng.choice([0.15, 0.5, 1.2], count, p=[0.4, 0.4, 0.2])))


def _developed(light: F32, pitch_px: F32, blur_px: F32, phones: Phones) -> F32:
    """Lens and pixel, tone curve, sharpening, and the program's undoing of sRGB."""
    optical = _filtered(light, pitch_px, lambda f: _gauss(f, blur_px) * np.sinc(f))
    coded = _srgb(np.clip(optical, 0, 1))
    photographic = coded * coded * (3 - 2 * coded)
    coded = coded + phones.s_curve[:, None] * (photographic - coded)
    detail = coded - _filtered(coded, pitch_px, lambda f: _gauss(f, phones.sharpen_px))
    size = np.maximum(np.abs(detail) - phones.threshold[:, None], 0)
    detail = np.sign(detail) * np.minimum(size, phones.limit[:, None])
    return _linear(np.clip(coded + phones.sharpen[:, None] * detail, 0, 1))


def _resampled(light: F32, pitch_px: F32, step_px: float) -> F32:
    """What interpolation between pixels, and between the profile's rows, smooths away."""
    return _filtered(light, pitch_px, lambda f: np.sinc(f) ** 2 * np.sinc(f * step_px) ** 2)


def _noisy(light: F32, pitch_px: F32, phones: Phones, rng: np.random.Generator) -> F32:
    """Noise of the averaged profile, alike over about a pixel, some of it as light, some not."""
    level = phones.face_light[:, None]
    sigma = phones.noise[:, None] * (
        0.3 * level + 0.5 * light + 0.2 * np.sqrt(level * np.maximum(light, 0))
    )
    white = rng.standard_normal(light.shape)
    grain = _filtered(white, pitch_px, lambda f: _gauss(f, np.full(len(light), 0.6)))
    grain = grain / np.maximum(grain.std(axis=1, keepdims=True), 1e-6)
    return np.clip(light + sigma * grain, 0.0, None)


def _border_spreads(blur_px: F32, phones: Phones) -> F32:
    """Response (N, len(SPREAD_PX)) of each phone to a mark's border, placed as an erf fit does."""
    pitch = 1 / 16
    x = np.arange(-16, 16, pitch)
    border = np.where(x < 0, MARK_DARK, MARK_LIGHT)[None] * np.ones((len(phones.blur_px), 1))
    seen = _developed(border, np.full(len(border), pitch), blur_px, phones)
    seen = _filtered(seen, np.full(len(border), pitch), lambda f: np.sinc(f / 2))
    dark = seen[:, np.abs(x + 6) < 2].mean(axis=1, keepdims=True)
    bright = seen[:, np.abs(x - 6) < 2].mean(axis=1, keepdims=True)
    response = (seen - dark) / (bright - dark)
    middle = np.array([np.interp(0.5, np.maximum.accumulate(r), x) for r in response])
    return np.stack([np.interp(SPREAD_PX + m, x, r) for m, r in zip(middle, response, strict=True)])


def _filtered(rows: F32, pitch_px: F32, transfer) -> F32:
    """Rows (N, K) through a filter given by its transfer at frequencies in cycles per px."""
    margin = rows.shape[1] // 2
    padded = np.pad(rows, ((0, 0), (margin, margin)), mode="edge")
    cycles = np.fft.rfftfreq(padded.shape[1])[None] / np.asarray(pitch_px)[:, None]
    spectrum = np.fft.rfft(padded, axis=1) * transfer(cycles)
    return np.fft.irfft(spectrum, padded.shape[1], axis=1)[:, margin:-margin]


def _gauss(cycles: F32, sigma_px: F32) -> F32:
    return np.exp(-2.0 * (np.pi * cycles * np.asarray(sigma_px)[:, None]) ** 2)


def _srgb(light: F32) -> F32:
    """IEC 61966-2-1."""
    bright = 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055
    return np.where(light <= 0.0031308, 12.92 * light, bright)


def _linear(coded: F32) -> F32:
    return np.where(
        coded <= 0.04045, coded / 12.92, ((np.maximum(coded, 0) + 0.055) / 1.055) ** 2.4
    )
