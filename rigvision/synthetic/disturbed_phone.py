"""Disturbances of the exposure: focus, shake, exposure, and what firmware does against noise."""

from __future__ import annotations

from dataclasses import replace
from math import ceil, cos, sin
from typing import Any

import cv2
import numpy as np

from rigvision.synthetic.bloom import bloomed
from rigvision.synthetic.camera import F32, PhoneCamera
from rigvision.synthetic.case import Case
from rigvision.synthetic.finished import Finished
from rigvision.synthetic.staging import STATED_WIDTH_PX, Circumstances, Disturbance

#: Points a pixel by which kernels are drawn.
_OVERSAMPLED = 8


def disc(radius_px: float) -> F32:
    """The blur spot of a lens out of focus: an even disc, its rim shared among pixels."""
    half = ceil(radius_px + 0.5)
    fine = (np.arange((2 * half + 1) * _OVERSAMPLED) + 0.5) / _OVERSAMPLED - half - 0.5
    inside = fine[:, None] ** 2 + fine[None] ** 2 <= radius_px**2
    shape = (2 * half + 1, _OVERSAMPLED, 2 * half + 1, _OVERSAMPLED)
    kernel = inside.reshape(shape).mean(axis=(1, 3))
    return np.asarray(kernel / kernel.sum(), np.float32)


def streak(length_px: float, angle_rad: float) -> F32:
    """The way that a shaken phone moves during the exposure: a straight line, evenly."""
    half = ceil(length_px / 2 + 1)
    kernel = np.zeros((2 * half + 1, 2 * half + 1))
    way = np.linspace(-length_px / 2, length_px / 2, max(2, int(16 * length_px)))
    x, y = half + way * cos(angle_rad), half + way * sin(angle_rad)
    left, top = np.floor(x).astype(int), np.floor(y).astype(int)
    for column, across in ((left, 1 - (x - left)), (left + 1, x - left)):
        for row, down in ((top, 1 - (y - top)), (top + 1, y - top)):
            np.add.at(kernel, (row, column), across * down)
    return np.asarray(kernel / kernel.sum(), np.float32)


def _filtered(linear: F32, kernel: F32) -> F32:
    soft = cv2.filter2D(linear, -1, kernel, borderType=cv2.BORDER_REPLICATE)
    # Large kernels go by way of a Fourier transform, which leaves a trace below zero.
    return np.asarray(np.maximum(soft, 0.0, out=soft), np.float32)


def _defocus(linear: F32, _: PhoneCamera, c: Circumstances) -> F32:
    return _filtered(linear, disc(c.px(c.of(2.5, 5.0, 14.0) * c.between(0.85, 1.15))))


def _shaken(linear: F32, _: PhoneCamera, c: Circumstances) -> F32:
    length_px = c.px(c.of(2.0, 5.0, 16.0) * c.between(0.8, 1.2))
    return _filtered(linear, streak(length_px, c.between(0.0, np.pi)))


def _ghost(linear: F32, _: PhoneCamera, c: Circumstances) -> F32:
    """Exposures that are merged although the phone moved between them."""
    share = np.float32(c.of(0.12, 0.3, 0.5))
    away_px, way = c.px(c.of(3.0, 5.0, 10.0)), c.between(0.0, 2 * np.pi)
    moved = np.array([[1, 0, away_px * cos(way)], [0, 1, away_px * sin(way)]])
    size = (linear.shape[1], linear.shape[0])
    other = cv2.warpAffine(linear, moved, size, borderMode=cv2.BORDER_REPLICATE)
    # Half the shift each way: the truth lies between the two.
    back = np.array([[1, 0, -share * moved[0, 2]], [0, 1, -share * moved[1, 2]]])
    both = (1 - share) * linear + share * other
    return np.asarray(cv2.warpAffine(both, back, size, borderMode=cv2.BORDER_REPLICATE), np.float32)


def _smudged(linear: F32, camera: PhoneCamera, c: Circumstances) -> F32:
    scale = max(camera.width_px, camera.height_px) / STATED_WIDTH_PX
    return bloomed(linear, c.of(0.06, 0.2, 0.5), scale)


def _developed(case: Case, **changes: Any) -> Case:
    development = replace(case.camera.development, **changes)
    return replace(case, camera=replace(case.camera, development=development))


def _over_exposed(case: Case, c: Circumstances) -> Case:
    return _developed(case, exposure=c.of(1.15, 2.0, 5.0) * c.between(0.9, 1.1))


def _dark(case: Case, c: Circumstances) -> Case:
    return _developed(
        case,
        exposure=c.of(0.20, 0.07, 0.02) * c.between(0.9, 1.1),
        shot_noise=c.of(0.015, 0.03, 0.05),
        read_noise=c.of(0.002, 0.004, 0.007),
    )


def _noisy(case: Case, c: Circumstances) -> Case:
    """Plenty of noise for the firmware to smear."""
    return _developed(
        case, shot_noise=c.of(0.02, 0.04, 0.08), read_noise=c.of(0.003, 0.006, 0.012), sharpen=0.0
    )


def _denoised(picture: Finished, c: Circumstances) -> Finished:
    """Texture smeared by a bilateral filter, at the worst a median too, then sharpened hard."""
    luma = np.ascontiguousarray(picture.ycc[..., 0])
    scale = max(c.px(1.0), 0.5)
    for _ in range(c.of(1, 1, 2)):
        smooth = cv2.bilateralFilter(luma, 0, c.of(14.0, 28.0, 50.0), scale * c.of(1.2, 2.0, 3.0))
        luma = np.asarray(smooth, np.uint8)
    if c.strength == 3:
        luma = np.asarray(cv2.medianBlur(luma, 5), np.uint8)
    soft = cv2.GaussianBlur(luma, (0, 0), scale * c.of(1.2, 1.8, 2.5))
    amount = c.of(0.8, 1.6, 3.0)
    sharp = cv2.addWeighted(luma, 1 + amount, soft, -amount, 0.0)
    ycc = picture.ycc.copy()
    ycc[..., 0] = sharp
    return replace(picture, ycc=ycc)


PHONE = (
    Disturbance(
        name="defocus",
        says="The picture is out of focus.",
        strengths=(
            "a blur spot of 5 px across at 4000 px width",
            "10 px across",
            "28 px across",
        ),
        accepted_codes=("blurred", "no-gauge", "too-few-marks", "uncertainty-too-large"),
        light=_defocus,
    ),
    Disturbance(
        name="motion-blur",
        says="The phone moved during the exposure.",
        strengths=("by 2 px at 4000 px width", "by 5 px", "by 16 px"),
        accepted_codes=("blurred", "no-gauge", "too-few-marks", "uncertainty-too-large"),
        light=_shaken,
    ),
    Disturbance(
        name="ghost",
        says="Exposures were merged although the phone moved between them.",
        strengths=(
            "12 % of the light is 3 px off at 4000 px width",
            "30 % is 5 px off",
            "50 % is 10 px off",
        ),
        accepted_codes=("blurred", "marks-disagree", "no-gauge", "uncertainty-too-large"),
        light=_ghost,
    ),
    Disturbance(
        name="smudged-lens",
        says="A finger's grease on the lens scatters the light.",
        strengths=("6 % of the light scattered", "20 %", "50 %"),
        accepted_codes=("blurred", "glare", "no-gauge", "edge-hidden", "uncertainty-too-large"),
        light=_smudged,
    ),
    Disturbance(
        name="over-exposed",
        says="The whole picture is blown out.",
        strengths=("pads at 1.15 of full scale", "at 2", "at 5, metal clipped too"),
        accepted_codes=("too-bright", "glare", "edge-hidden", "no-gauge", "too-few-marks"),
        scene=_over_exposed,
    ),
    Disturbance(
        name="dark",
        says="There was hardly any light.",
        strengths=("pads at 20 % of full scale", "at 7 %, noisy", "at 2 %, very noisy"),
        accepted_codes=("too-dark", "no-gauge", "too-few-marks", "uncertainty-too-large"),
        scene=_dark,
    ),
    Disturbance(
        name="denoised",
        says="Firmware smeared the noise away and sharpened what was left.",
        strengths=(
            "2 % noise, smeared over 1.2 px, sharpened by 0.8",
            "4 % noise, smeared over 2 px, sharpened by 1.6",
            "8 % noise, smeared over 3 px, a median of 5 px, sharpened by 3",
        ),
        accepted_codes=("blurred", "marks-disagree", "edge-hidden", "uncertainty-too-large"),
        scene=_noisy,
        picture=_denoised,
    ),
)
