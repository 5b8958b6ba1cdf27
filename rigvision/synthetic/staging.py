"""A disturbance: what it is, what right answers to it are, and where it steps in.

A photo is made in four stages: a scene before a camera, light on the sensor, a developed
picture, a file. A disturbance has a function for each stage that it alters.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from rigvision.synthetic.camera import F32, PhoneCamera
from rigvision.synthetic.case import Case
from rigvision.synthetic.finished import Finished
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge

#: Lengths in pixels are stated for a picture of this width and grow with it.
STATED_WIDTH_PX = 4000
STRENGTHS = (1, 2, 3)

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Circumstances:
    """How strong, on which rig, by which random numbers, in how large a picture."""

    strength: int
    gauge: Gauge
    frame: Frame
    rng: np.random.Generator
    width_px: int  # of a landscape picture

    def of(self, slight: T, clear: T, gross: T) -> T:
        """The value for this strength."""
        return (slight, clear, gross)[self.strength - 1]

    def px(self, stated: float) -> float:
        """A length stated for a 4000 px wide picture, in this one."""
        return stated * self.width_px / STATED_WIDTH_PX

    def between(self, low: float, high: float) -> float:
        return float(self.rng.uniform(low, high))

    def either(self) -> bool:
        return bool(self.rng.random() < 0.5)


def _same_case(case: Case, _: Circumstances) -> Case:
    return case


def _same_light(linear: F32, _camera: PhoneCamera, _: Circumstances) -> F32:
    return linear


def _same_picture(picture: Finished, _: Circumstances) -> Finished:
    return picture


@dataclass(frozen=True, slots=True, kw_only=True)
class Disturbance:
    """One thing that goes wrong with a photo, at three strengths.

    1 is what a careful mechanic's photo has; 2 is careless, but a person still sees the
    edges clearly; 3 may be refused, for one of the reasons in ``accepted_codes``.
    """

    name: str
    says: str
    #: What strengths 1, 2 and 3 mean, in physical units.
    strengths: tuple[str, str, str]
    accepted_codes: tuple[str, ...]
    scene: Callable[[Case, Circumstances], Case] = _same_case
    light: Callable[[F32, PhoneCamera, Circumstances], F32] = _same_light
    picture: Callable[[Finished, Circumstances], Finished] = _same_picture
