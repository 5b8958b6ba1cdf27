"""What the picture is like where the gauge is: exposure, smear, and whether it shows a screen."""

from __future__ import annotations

from dataclasses import dataclass

from rigvision.photo.picture import Picture
from rigvision.vision.exposure import Exposure, find_exposure
from rigvision.vision.pose import Pose
from rigvision.vision.screen_grid import ScreenGrid, find_screen_grid
from rigvision.vision.smear import Smear, find_smear
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge

#: Blur of the marks' borders, px, from which it is worth 0.1 s to know which way it goes.
SMEAR_FROM_PX = 1.2


@dataclass(frozen=True, slots=True)
class Conditions:
    """The picture in the gauge's own neighbourhood."""

    exposure: Exposure
    screen: ScreenGrid
    smear: Smear | None  # None where the picture is sharp, or it cannot be told


def look_over(picture: Picture, pose: Pose, gauge: Gauge, frame: Frame) -> Conditions:
    """Look at the picture around the gauge, once its place in it is known."""
    view = pose.view
    blurred = pose.blur_px > SMEAR_FROM_PX
    return Conditions(
        find_exposure(picture, view, gauge, frame),
        find_screen_grid(picture, view, gauge),
        find_smear(picture, view, gauge, pose.used) if blurred else None,
    )
