"""Disturbances of the file: copies, cuts, screens, and EXIF that is missing or wrong."""

from __future__ import annotations

from dataclasses import replace
from math import cos, pi, radians, sin

import cv2
import numpy as np

from rigvision.ground.conventions import FULL_FRAME_DIAGONAL_MM, FloatArray
from rigvision.synthetic.camera import F32
from rigvision.synthetic.case import Case, with_marks_in_view
from rigvision.synthetic.finished import U8, Finished
from rigvision.synthetic.staging import Circumstances, Disturbance

#: Standard deviation of the blur of the phone that photographs a screen, px.
SCREEN_BLUR_PX = 0.6
#: How much of the photo's width the screen fills.
SCREEN_IN_PHOTO = 0.97
#: Light of each encoded level, and the level of each of many shares of full light.
_LINEAR: F32 = ((np.arange(256) / 255.0) ** 2.2).astype(np.float32)
_ENCODED: U8 = np.round(np.linspace(0, 1, 1 << 14) ** (1 / 2.2) * 255).astype(np.uint8)


def _recompressed(picture: Finished, c: Circumstances) -> Finished:
    """Twice, the second time with the blocks elsewhere."""
    quality = c.of(60, 35, 15)
    picture = picture.recompressed(quality)
    width, height = picture.size_px
    picture = picture.cropped(3, 5, width - 3, height - 5)
    return picture.with_development(jpeg_quality=quality)


def _messenger(picture: Finished, c: Circumstances) -> Finished:
    long_side_px, quality = c.of((1600, 75), (1280, 65), (960, 50))
    small = picture.resized(min(long_side_px, max(picture.size_px)))
    return small.with_development(jpeg_quality=quality, exif=False)


def _zoom(c: Circumstances) -> float:
    return c.of(1.4, 2.0, 2.0)


def _stood_back(case: Case, c: Circumstances) -> Case:
    """Far enough for the gauge to fill the part that will be cut out."""
    camera = case.camera
    away = replace(camera, distance_mm=_zoom(c) * min(camera.distance_mm, 240.0))
    away = with_marks_in_view(away, c.gauge)
    if c.strength == 3:
        half_mm = 0.2 * away.distance_mm * away.width_px / away.lens_px
        aim = (half_mm * (1 if c.either() else -1), 0.6 * half_mm * (1 if c.either() else -1))
        away = replace(away, aim_mm=aim)
    return replace(case, camera=away)


def _cropped(picture: Finished, c: Circumstances) -> Finished:
    """The middle, or at strength 3 the part around the gauge, wherever that is."""
    width, height = picture.size_px
    size = round(width / _zoom(c)), round(height / _zoom(c))
    middle = np.array([width, height]) / 2
    if c.strength == 3:
        middle = picture.camera.project_px(np.zeros((1, 3)))[0]
    left, top = (
        int(np.clip(m - s / 2, 0, full - s))
        for m, s, full in zip(middle, size, (width, height), strict=True)
    )
    return picture.cropped(left, top, *size)


def _exif_missing(picture: Finished, c: Circumstances) -> Finished:
    if c.strength == 1:
        return picture.with_development(stated_35mm=0)
    return picture.with_development(exif=False)


def _unusual_lens(case: Case, c: Circumstances) -> Case:
    """At strength 3 a lens that nobody would expect: tele or wide."""
    if c.strength < 3:
        return case
    camera = case.camera
    diagonal_px = float(np.hypot(camera.width_px, camera.height_px))
    equivalent_mm = c.between(48.0, 70.0) if c.either() else c.between(15.0, 18.0)
    focal_px = equivalent_mm / FULL_FRAME_DIAGONAL_MM * diagonal_px
    distance_mm = camera.distance_mm * focal_px / camera.lens_px
    camera = replace(camera, focal_px=focal_px, distance_mm=distance_mm)
    return replace(case, camera=with_marks_in_view(camera, c.gauge))


def _exif_lying(picture: Finished, c: Circumstances) -> Finished:
    """A focal length that is not this picture's, now and then with a digital zoom beside it."""
    times = c.of(1.15, 1.6, 2.3)
    stated = picture.camera.equivalent_mm * (times if c.either() else 1 / times)
    zoom = times if c.either() else None
    return picture.with_development(stated_35mm=max(1, round(stated)), stated_zoom=zoom)


def _turned(picture: Finished, c: Circumstances) -> Finished:
    """The content no longer upright, and nothing in the file that says so."""
    if c.strength == 3:
        return picture.mirrored()
    return picture.turned(c.of(int(c.rng.choice([1, 3])), 2, 0))


def _screen(picture: Finished, c: Circumstances) -> Finished:
    """A photo of a screen that shows the picture."""
    pitch_px = c.px(c.of(1.7, 2.7, 4.5)) * c.between(0.95, 1.05)
    width, height = picture.size_px
    shown = cv2.resize(
        cv2.cvtColor(np.ascontiguousarray(picture.ycc[..., [0, 2, 1]]), cv2.COLOR_YCrCb2RGB),
        (max(1, round(width / pitch_px)), max(1, round(height / pitch_px))),
        interpolation=cv2.INTER_AREA,
    )
    turn = radians(c.between(-1.5, 1.5))
    px_from_px = SCREEN_IN_PHOTO * np.array([[cos(turn), -sin(turn), 0], [sin(turn), cos(turn), 0]])
    middle = np.array([width - 1, height - 1]) / 2
    px_from_px[:, 2] = middle - px_from_px[:, :2] @ middle
    seen = _photographed_screen(np.asarray(shown, np.uint8), px_from_px, (width, height), c)
    ycc = cv2.cvtColor(seen, cv2.COLOR_RGB2YCrCb)[..., [0, 2, 1]]
    return picture.mapped(np.asarray(ycc, np.uint8), px_from_px)


def _photographed_screen(
    shown: U8, px_from_px: FloatArray, size: tuple[int, int], c: Circumstances
) -> U8:
    """The screen's pixels, each of a red, a green and a blue stripe, as another phone sees them."""
    width, height = size
    # From screen pixels to those of the picture it shows, then to those of the photo.
    across, down = width / shown.shape[1], height / shown.shape[0]
    grow = np.array([[across, 0, (across - 1) / 2], [0, down, (down - 1) / 2], [0, 0, 1]])
    photo_from_screen = px_from_px @ grow
    seen = cv2.warpAffine(shown, photo_from_screen, size, flags=cv2.INTER_NEAREST)
    light = np.asarray(cv2.GaussianBlur(_LINEAR[seen], (0, 0), SCREEN_BLUR_PX), np.float32)
    u, v = np.meshgrid(np.arange(width, dtype=np.float32), np.arange(height, dtype=np.float32))
    screen_from_photo = np.linalg.inv(np.vstack([photo_from_screen, [0, 0, 1]]))
    column, row = (np.asarray(a * u + b * v + d, np.float32) for a, b, d in screen_from_photo[:2])
    pitch_px = SCREEN_IN_PHOTO * across
    band = c.of(0.1, 0.25, 0.45)
    over_all = _stripes(row, 0.8, pitch_px)
    over_all *= 1 - np.float32(band) * (0.5 + 0.5 * np.cos(v[:, :1] * (2.6 * pi / height))) ** 2
    for channel in range(3):
        stripes = _stripes(column - np.float32((channel - 1) / 3), 1 / 3, pitch_px)
        light[..., channel] *= stripes * over_all
    return _exposed(light, c.of(0.02, 0.05, 0.10))


def _exposed(light: F32, haze: float) -> U8:
    """Encoded levels of a photo that shows the brightest parts just below white."""
    lit = light + np.float32(haze * light.mean())
    white = np.float32(np.percentile(lit[::16, ::16], 99.5) / 0.9)
    level = np.clip(lit * (np.float32(len(_ENCODED) - 1) / white), 0, len(_ENCODED) - 1)
    return np.asarray(_ENCODED[level.astype(np.uint16)], np.uint8)


def _stripes(place: F32, part: float, pitch_px: float) -> F32:
    """Light of stripes that fill ``part`` of each whole number, seen through pixels and lens.

    A Fourier series whose terms the pixel's square and the lens's blur have weakened; what
    lies beyond the pixels' own rate comes out as moire, as it does in a camera. Mean 1.
    """
    rates = np.array([1.0, 2.0, 3.0]) / pitch_px
    weakened = np.sinc(rates) * np.exp(-2 * (pi * SCREEN_BLUR_PX * rates) ** 2)
    first, second, third = 2 * np.sinc(np.array([1.0, 2.0, 3.0]) * part) * weakened
    # cos 2a = 2 cos^2 a - 1 and cos 3a = 4 cos^3 a - 3 cos a, so one cosine serves all three.
    wave = np.cos(np.float32(2 * pi) * place)
    total = np.full_like(place, 4 * third)
    for factor in (2 * second, first - 3 * third, 1 - second):
        total *= wave
        total += np.float32(factor)
    return np.asarray(np.maximum(total, 0.0, out=total), np.float32)


FILE = (
    Disturbance(
        name="screen",
        says="It is a photo of a screen that shows the picture.",
        strengths=(
            "screen pixels of 1.7 px at 4000 px width, a faint refresh band",
            "of 2.7 px, haze and a band of 25 %",
            "of 4.5 px, more haze and a band of 45 %",
        ),
        accepted_codes=(
            "screen-photo",
            "blurred",
            "too-far",
            "marks-disagree",
            "uncertainty-too-large",
        ),
        picture=_screen,
    ),
    Disturbance(
        name="recompressed",
        says="The picture was saved as JPEG twice more.",
        strengths=("quality 60", "quality 35", "quality 15"),
        accepted_codes=(
            "recompressed",
            "blurred",
            "marks-disagree",
            "edge-hidden",
            "uncertainty-too-large",
        ),
        picture=_recompressed,
    ),
    Disturbance(
        name="messenger",
        says="A messenger shrank the picture and took its EXIF away.",
        strengths=(
            "1600 px, quality 75",
            "1280 px, quality 65",
            "960 px, quality 50",
        ),
        accepted_codes=("too-far", "recompressed", "blurred", "no-gauge", "uncertainty-too-large"),
        picture=_messenger,
    ),
    Disturbance(
        name="cropped",
        says="A part of the picture was cut out; its EXIF is still that of the whole.",
        strengths=(
            "1.4 times, out of the middle",
            "twice, out of the middle",
            "twice, away from the middle",
        ),
        accepted_codes=("too-far", "marks-disagree", "uncertainty-too-large"),
        scene=_stood_back,
        picture=_cropped,
    ),
    Disturbance(
        name="exif-missing",
        says="The file does not say what lens took it.",
        strengths=(
            "no focal length",
            "no EXIF at all",
            "no EXIF, and a tele or wide lens",
        ),
        accepted_codes=("uncertainty-too-large", "too-far", "marks-disagree"),
        scene=_unusual_lens,
        picture=_exif_missing,
    ),
    Disturbance(
        name="exif-lying",
        says="The file states another focal length than the lens had.",
        strengths=("wrong by 1.15 times", "by 1.6 times", "by 2.3 times"),
        accepted_codes=("marks-disagree", "uncertainty-too-large"),
        picture=_exif_lying,
    ),
    Disturbance(
        name="turned",
        says="The picture is not upright, and its EXIF does not say so.",
        strengths=("by a quarter", "upside down", "mirrored"),
        accepted_codes=("no-gauge", "wrong-gauge", "too-few-marks"),
        picture=_turned,
    ),
)
