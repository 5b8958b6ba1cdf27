"""A disturbance of a shot, and the changes that disturbances are made of."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np

from .camera import View
from .rig import Pair, Rig
from .shots import Shot, scaled_to
from .staged import Body, Patch

STRENGTHS = (1, 2, 3)
#: Lengths in pixels are stated for a picture of this width and grow with it.
STATED_WIDTH_PX = 4000
#: How far in front of the marks plane a rag's lowest folds lie, mm.
RAG_Z_MM = 0.6

T = TypeVar("T")


@dataclass(frozen=True)
class Circumstances:
    """How strong, on which rig, by which random numbers."""

    strength: int
    rig: Rig
    rng: np.random.Generator

    def of(self, slight: T, clear: T, gross: T) -> T:
        """Return the value for this strength."""
        return (slight, clear, gross)[self.strength - 1]

    def between(self, low: float, high: float) -> float:
        """Return a random number."""
        return float(self.rng.uniform(low, high))

    def sign(self) -> int:
        """Return -1 or 1, at random."""
        return int(self.rng.choice([-1, 1]))

    def body(self) -> Body:
        """Return one of the gap's two sides."""
        return "door" if self.rng.random() < 0.5 else "sill"

    def marks(self, number: int) -> list[tuple[int, float, float]]:
        """Return so many of the plate's marks: id and centre."""
        chosen = self.rng.choice(len(self.rig.mark_centres), number, replace=False)
        return [self.rig.mark_centres[int(i)] for i in sorted(chosen)]


@dataclass(frozen=True, kw_only=True)
class Disturbance:
    """One thing that goes wrong: what the strengths mean and how a shot is changed.

    1 is slight; 2 is clear, but a person still reads the gap; 3 may be refused for one of
    the reasons in ``accepted_codes``.
    """

    name: str
    strengths: tuple[str, str, str]
    accepted_codes: tuple[str, ...]
    change: Callable[[Shot, Circumstances], Shot]


def disturbance_of(shot: Shot) -> dict[str, object]:
    """Return the truth file's entry, nothing for an undisturbed shot."""
    if shot.disturbed is None:
        return {}
    told = shot.disturbed
    return {
        "disturbance": {
            "name": told.name,
            "strength": told.strength,
            "accepted_codes": list(told.accepted_codes),
        }
    }


def staged(shot: Shot, **changes: object) -> Shot:
    """Return the shot with more on its stage."""
    stage = replace(shot.look.staged, **changes)
    return replace(shot, look=replace(shot.look, staged=stage))


def looked(shot: Shot, **changes: object) -> Shot:
    """Return the shot with other surfaces or lights."""
    return replace(shot, look=replace(shot.look, **changes))


def viewed(shot: Shot, **changes: object) -> Shot:
    """Return the shot from elsewhere."""
    return replace(shot, view=replace(shot.view, **changes))


def phoned(shot: Shot, **changes: object) -> Shot:
    """Return the shot by another phone."""
    return replace(shot, phone=replace(shot.phone, **changes))


def px(shot: Shot, stated: float) -> float:
    """Return a length stated for a 4000 px wide picture, in this one."""
    return stated * max(shot.view.size_px) / STATED_WIDTH_PX


def toward_eye(
    view: View, place_mm: tuple[float, float], z_mm: float, seen_at_z_mm: float
) -> tuple[float, float]:
    """Return where, at ``z_mm``, the camera sees a place that lies at another depth."""
    eye = view.position_mm
    part = (z_mm - seen_at_z_mm) / (eye[2] - seen_at_z_mm)
    x, y = (p + part * (e - p) for p, e in zip(place_mm, eye[:2], strict=True))
    return float(x), float(y)


def marks_outside(view: View, rig: Rig) -> set[int]:
    """Return the plate's marks that the picture does not show whole."""
    half = rig.mark_size / 2
    signs = np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]])
    outside = set()
    for tag, x, y in rig.mark_centres:
        seen = view.project(np.column_stack([np.array([x, y]) + half * signs, np.zeros(4)]))
        if not ((seen > 0) & (seen < np.array(view.size_px) - 1)).all():
            outside.add(tag)
    return outside


def whole_gauge(view: View, rig: Rig) -> View:
    """Return the view from as far as it takes for every mark to be in the picture."""
    view = replace(view, aim_mm=(0.3 * view.aim_mm[0], 0.3 * view.aim_mm[1]))
    while marks_outside(view, rig):
        view = replace(view, distance_mm=1.03 * view.distance_mm)
    return view


def lens(view: View, focal_35mm: int, distance_mm: float, k1: float, rig: Rig) -> View:
    """Return the view through another lens, from so near or as near as all marks allow."""
    return whole_gauge(
        replace(view, focal_35mm=focal_35mm, distance_mm=distance_mm, k1=k1, focal_scale=1.0), rig
    )


def smaller(shot: Shot, width: int) -> Shot:
    """Return the shot no wider than that."""
    return scaled_to(shot, min(width, max(shot.view.size_px)))


def metal_around(x: float, y: float, rig: Rig) -> tuple[Pair, Pair]:
    """Return the part of the plate beside its windows that a mark lies on: ranges of x and y."""
    top, bottom, side = rig.window_gap_y[1], rig.window_yoke_y[0], rig.window_gap_x
    if y > top:
        return rig.plate_x, (top, rig.plate_y[1])
    if y < bottom:
        return rig.plate_x, (rig.plate_y[0], bottom)
    return ((side[1], rig.plate_x[1]) if x > 0 else (rig.plate_x[0], side[0])), rig.plate_y


def strip_beside(mark: tuple[int, float, float], rig: Rig, c: Circumstances) -> Patch:
    """Return tape along one side of a mark: dark beside its border, or bright upon it."""
    _, x, y = mark
    half, module = rig.mark_size / 2, rig.mark_size / 8
    dark = bool(c.rng.random() < 0.5)
    modules = c.between(*c.of((0.5, 0.7), (0.6, 1.0), (1.0, 2.0)))
    # All of the border gone, the tag would not decode and no wrong outline would be found.
    width = module * (modules if dark else min(modules, 0.85))
    middle = half + width / 2 if dark else half - width / 2 + 0.05
    turn = 90.0 * int(c.rng.integers(4))
    away = np.array([np.sin(np.radians(-turn)), np.cos(np.radians(turn))]) * middle
    return Patch(
        (x + float(away[0]), y + float(away[1])),
        (2 * half + 1.0, width),
        turn,
        0.025 if dark else 0.77,
        1.0,
        ragged=False,
    )
