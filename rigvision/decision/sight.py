"""Is the picture good enough to be believed? Every limit that it must keep, in one place.

All of them are looked at where the gauge is, before any figure is believed.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import isfinite, nan

from rigvision.decision.cause import Cause
from rigvision.decision.directions import line, way
from rigvision.decision.lost_marks import UnreadMark, noted


@dataclass(frozen=True, slots=True)
class PhotoLimits:
    """What a picture must be for its figures to be believed."""

    tilt_deg: float = 50.0  # beyond, rounds hide what they should show
    px_per_mm: float = 3.0  # fewer, and a mark's modules are under six pixels
    blur_mm: float = 0.25  # sigma; the size of a broken edge
    rival_ratio: float = 1.2  # of 64 residuals: a chance of a wrong pose far below 1e-4
    station_part: float = 0.5  # of the stations must be read
    screen_part: float = 0.4  # of the gauge shows a grid; screens 0.6 to 1, gauges 0.25 at most
    # What a lost edge is blamed on: the gauge's white, its light and part at the sensor's limit.
    white_light: float = 0.08
    white_blown: float = 0.5
    barrel_light: float = 0.02  # of the socket's barrel, and part of it at the sensor's limit
    barrel_blown: float = 0.25
    # A copy is blamed for what cannot be read: phones write JPEG at 85 and more, at 3000 px and
    # more with their name, messengers at 60 to 80, 1280 to 1600 px and without.
    copy_quality: int = 80
    copy_longer_px: int = 2048
    sharp_px: float = 1.2  # sigma; a millimetre blurred all the same has too few pixels
    smeared_mm: float = 0.3  # of a hand's path in a blurred picture; less is the focus's fault


@dataclass(frozen=True, slots=True)
class Sight:
    """How the gauge was seen. Vectors are in the picture: x right, y down."""

    distance_mm: float
    tilt_deg: float
    px_per_mm: float
    blur_mm: float
    rival_ratio: float
    focal_known: bool
    marks_refused: tuple[int, ...] = ()
    marks_lost: tuple[UnreadMark, ...] = ()  # not read at all, or with a side misread
    focal_told: bool = False  # by the marks, where nothing else is known of it
    camera_doubted: tuple[str, ...] = ()  # what the picture contradicts of the camera's figures
    gauge_right: tuple[float, float] = (1.0, 0.0)  # the way of the gauge's x, unit vector
    camera_side: tuple[float, float] = (0.0, 1.0)  # where the camera stands, from square on
    smear_mm: float = 0.0  # length of the path that a hand's movement drew
    smear_along: tuple[float, float] = (1.0, 0.0)
    white: float = nan  # linear light of the gauge's white pads
    white_blown: float = 0.0
    barrel_light: float = nan
    barrel_blown: float = 0.0
    screen_part: float = 0.0
    screen_pitch_px: float = 0.0


def faults(sight: Sight, limits: PhotoLimits) -> Iterator[Cause]:
    """Everything for which the picture must be taken again, and notes on how it was seen."""
    if sight.screen_part > limits.screen_part:
        yield (
            "screen-photo",
            {
                "part": f"{sight.screen_part:.0%}",
                "limit": f"{limits.screen_part:.0%}",
                "pitch_px": sight.screen_pitch_px,
            },
        )
    if sight.tilt_deg > limits.tilt_deg:
        x, y = sight.camera_side
        yield (
            "too-oblique",
            {"tilt_deg": sight.tilt_deg, "limit_deg": limits.tilt_deg, "way": way(-x, -y)},
        )
    needed = limits.px_per_mm
    if sight.blur_mm > limits.blur_mm and _is_sharp(sight, limits):
        needed = max(needed, sight.px_per_mm * sight.blur_mm / limits.blur_mm)
    elif sight.blur_mm > limits.blur_mm:
        yield "blurred", _blurred(sight, limits)
    if sight.px_per_mm < needed:
        yield "too-far", _too_far(sight, needed)
    if sight.rival_ratio < limits.rival_ratio:
        yield "ambiguous-view", {"ratio": sight.rival_ratio, "limit": limits.rival_ratio}
    if sight.marks_refused:
        yield "marks-refused", {"ids": ", ".join(map(str, sight.marks_refused))}
    if sight.marks_lost:
        yield noted(sight.marks_lost)
    if sight.camera_doubted:
        yield "camera-doubted", {"what": " and ".join(sight.camera_doubted)}
    elif not sight.focal_known:
        how = "measured by the marks" if sight.focal_told else "guessed"
        yield "focal-unknown", {"how": how}


def _is_sharp(sight: Sight, limits: PhotoLimits) -> bool:
    """As sharp as pictures are: what is blurred then is so for its few pixels."""
    return sight.blur_mm * sight.px_per_mm < limits.sharp_px


def _too_far(sight: Sight, needed_px_per_mm: float) -> dict[str, object]:
    """From where it would be near enough, by the same phone and file."""
    enough_cm = int(sight.distance_mm * sight.px_per_mm / needed_px_per_mm / 10.0)
    return {
        "px_per_mm": sight.px_per_mm,
        "limit": needed_px_per_mm,
        "distance_cm": sight.distance_mm / 10.0,
        "enough_cm": enough_cm,
    }


def _blurred(sight: Sight, limits: PhotoLimits) -> dict[str, object]:
    moved = sight.smear_mm > limits.smeared_mm
    how = "is blurred"
    if moved:
        how = f"is smeared {line(*sight.smear_along)} by {sight.smear_mm:.1f} mm"
    return {
        "how": how,
        "blur": f"{sight.blur_mm:.2f} mm",
        "limit": f"{limits.blur_mm:.2f} mm",
        "cure": "hold-still" if moved else "focus",
    }


def movement_to_blame(sight: Sight, limits: PhotoLimits) -> Cause | None:
    """A hand's movement as the reason why an edge could not be read, in a picture that is sharp

    enough otherwise, as an edge across the movement is smeared more than the marks' mean.
    """
    if sight.smear_mm <= limits.smeared_mm or sight.blur_mm > limits.blur_mm:
        return None
    return "blurred", {
        "how": f"is smeared {line(*sight.smear_along)}",
        "blur": f"{sight.smear_mm:.2f} mm",
        "limit": f"{limits.smeared_mm:.2f} mm",
        "cure": "hold-still",
    }


def light_to_blame(sight: Sight, limits: PhotoLimits) -> Cause | None:
    """The exposure as the reason why something could not be read, where it is one."""
    if isfinite(sight.white) and sight.white < limits.white_light:
        return (
            "too-dark",
            {"light": f"{sight.white:.0%}", "limit": f"{limits.white_light:.0%}"},
        )
    if sight.white_blown > limits.white_blown:
        return (
            "too-bright",
            {"part": f"{sight.white_blown:.0%}", "limit": f"{limits.white_blown:.0%}"},
        )
    return None
