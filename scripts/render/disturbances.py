"""The table of disturbances, and shots with one of them each; nothing is rendered here.

Names are those of rigvision's own synthetic photographs.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from .disturbed import STRENGTHS, Circumstances, Disturbance
from .disturbed_edges import EDGES
from .disturbed_file import FILE
from .disturbed_light import LIGHT
from .disturbed_marks import MARKS
from .disturbed_phone import PHONE
from .disturbed_view import VIEW
from .rig import Rig
from .shots import Disturbed, Shot, random_shot

#: Tells a disturbance's random numbers from those of its scene.
_SERIES = 91

DISTURBANCES: tuple[Disturbance, ...] = (*EDGES, *LIGHT, *MARKS, *PHONE, *VIEW, *FILE)


def disturbed_shots(
    numbers: range,
    seed: int,
    rig: Rig,
    size_px: tuple[int, int],
    only: list[str] | None = None,
) -> list[Shot]:
    """Return shots that go through the table again and again, with all strengths in three rounds.

    Raises SystemExit for a name that is no disturbance.
    """
    unknown = set(only or ()) - {d.name for d in DISTURBANCES}
    if unknown:
        raise SystemExit(f"no disturbance named {', '.join(sorted(unknown))}; see --list")
    table = [d for d in DISTURBANCES if not only or d.name in only]
    shots = []
    for number in numbers:
        turn, place = divmod(number, len(table))
        strength = STRENGTHS[(turn + place) % len(STRENGTHS)]
        shots.append(disturbed_shot(table[place], strength, number, seed, rig, size_px))
    return shots


def disturbed_shot(
    disturbance: Disturbance,
    strength: int,
    number: int,
    seed: int,
    rig: Rig,
    size_px: tuple[int, int],
) -> Shot:
    """Return a shot of zone "nominal" with one disturbance."""
    shot = random_shot(number, seed, rig, size_px, "nominal")
    # By the name, so that one more disturbance changes no other's shots.
    rng = np.random.default_rng([seed, number, _SERIES, *disturbance.name.encode()])
    shot = disturbance.change(shot, Circumstances(strength, rig, rng))
    return replace(
        shot,
        name=f"{disturbance.name}-{strength}-{seed}-{number:03d}",
        condition=f"{disturbance.name}: {disturbance.strengths[strength - 1]}",
        disturbed=Disturbed(disturbance.name, strength, disturbance.accepted_codes),
    )
