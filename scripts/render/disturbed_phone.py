"""Disturbances of the exposure: blur, too much light, too little."""

from __future__ import annotations

import numpy as np

from .disturbed import Circumstances, Disturbance, phoned, px, viewed
from .shots import Shot


def _defocus(shot: Shot, c: Circumstances) -> Shot:
    return viewed(shot, defocus_mm=shot.view.focus_beyond_mm(px(shot, c.of(5.0, 10.0, 28.0))))


def _motion_blur(shot: Shot, c: Circumstances) -> Shot:
    length = px(shot, c.of(2.0, 5.0, 16.0))
    return phoned(shot, motion_px=length, motion_deg=c.between(0, 180))


def _over_exposed(shot: Shot, c: Circumstances) -> Shot:
    """The phone puts pads at 0.8 of full scale at most."""
    return phoned(shot, exposure_ev=float(np.log2(c.of(1.15, 2.0, 5.0) / 0.8)))


def _dark(shot: Shot, c: Circumstances) -> Shot:
    ev = float(np.log2(c.of(0.20, 0.07, 0.02) / 0.8))
    return phoned(shot, exposure_ev=ev, iso=c.of(400, 800, 1600))


PHONE = (
    Disturbance(
        name="defocus",
        strengths=("a blur spot of 5 px at 4000 px width", "10 px", "28 px, or as much as can be"),
        accepted_codes=("blurred", "no-gauge", "too-few-marks", "uncertainty-too-large"),
        change=_defocus,
    ),
    Disturbance(
        name="motion-blur",
        strengths=("moved by 2 px at 4000 px width", "5 px", "16 px"),
        accepted_codes=("blurred", "no-gauge", "too-few-marks", "uncertainty-too-large"),
        change=_motion_blur,
    ),
    Disturbance(
        name="over-exposed",
        strengths=("pads at 1.15 of full scale", "at 2", "at 5"),
        accepted_codes=("too-bright", "glare", "edge-hidden", "no-gauge", "too-few-marks"),
        change=_over_exposed,
    ),
    Disturbance(
        name="dark",
        strengths=("pads at 20 % of full scale at most", "at 7 %", "at 2 %"),
        accepted_codes=("too-dark", "no-gauge", "too-few-marks", "uncertainty-too-large"),
        change=_dark,
    ),
)
