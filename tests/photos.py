"""What the tests photograph with: sizes and views, none of them square-on."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import rigvision
from rigvision.decision.result import CheckResult
from rigvision.synthetic import PhoneCamera
from rigvision.synthetic.camera import Development

#: Small enough to be quick, large enough for 5 to 9 px a mm at arm's length.
SIZE_PX = (2000, 1500)


class Shot(NamedTuple):
    """A file and what is true of it."""

    path: Path
    truth: dict[str, Any]


Photographer = Callable[..., Shot]

#: Nothing between lens and file that could move an edge: no tone curve, no sharpening,
#: hardly any noise, JPEG at its best.
CLEAN = Development(
    blur_sigma_px=0.8,
    flare=0.0,
    vignetting=0.0,
    shot_noise=0.004,
    read_noise=0.001,
    noise_grain_px=0.0,
    s_curve=0.0,
    sharpen=0.0,
    jpeg_quality=97,
)


def camera_at(**changes: Any) -> PhoneCamera:
    """A phone held by hand: from above right, rolled, off-centre."""
    usual: dict[str, Any] = {
        "width_px": SIZE_PX[0],
        "height_px": SIZE_PX[1],
        "distance_mm": 235.0,
        "tilt_deg": 14.0,
        "azimuth_deg": 62.0,
        "roll_deg": 5.0,
        "aim_mm": (4.0, -3.0),
    }
    return PhoneCamera(**(usual | changes))


@cache
def checked(path: Path) -> CheckResult:
    """A photo's result; photos of one session never change."""
    return rigvision.check(path)
