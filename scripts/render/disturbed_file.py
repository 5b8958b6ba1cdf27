"""Disturbances of the file: copies, and EXIF that is missing."""

from __future__ import annotations

from dataclasses import replace

from .disturbed import Circumstances, Disturbance, lens, phoned, smaller
from .shots import Shot


def _recompressed(shot: Shot, c: Circumstances) -> Shot:
    quality = c.of(60, 35, 15)
    return phoned(shot, earlier_quality=quality, quality=quality)


def _messenger(shot: Shot, c: Circumstances) -> Shot:
    width, quality = c.of((1600, 75), (1280, 65), (960, 50))
    return phoned(smaller(shot, width), quality=quality, exif=False, blur_px=0.45)


def _exif_missing(shot: Shot, c: Circumstances) -> Shot:
    if c.strength == 1:
        return phoned(shot, exif_focal=False)
    if c.strength == 3:
        view = lens(shot.view, int(c.rng.integers(15, 19)), 130.0, 0.0, c.rig)
        shot = replace(shot, view=view)
    return phoned(shot, exif=False)


FILE = (
    Disturbance(
        name="recompressed",
        strengths=("twice at quality 60", "at 35", "at 15"),
        accepted_codes=(
            "recompressed",
            "blurred",
            "marks-disagree",
            "edge-hidden",
            "uncertainty-too-large",
        ),
        change=_recompressed,
    ),
    Disturbance(
        name="messenger",
        strengths=("1600 px, quality 75, no EXIF", "1280 px, 65", "960 px, 50"),
        accepted_codes=(
            "too-far",
            "recompressed",
            "blurred",
            "no-gauge",
            "uncertainty-too-large",
        ),
        change=_messenger,
    ),
    Disturbance(
        name="exif-missing",
        strengths=("no focal length", "no EXIF", "no EXIF, and a wide lens"),
        accepted_codes=("uncertainty-too-large", "too-far", "marks-disagree"),
        change=_exif_missing,
    ),
)
