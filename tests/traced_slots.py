"""Slots from path-traced cross-sections that the network's training never saw.

``tests/data/traced-sections.npz`` holds the light of both edges of one station of 40 scenes,
traced by Blender, which shares no code with the chain; a simulated phone photographs them.
Tangent planes are at 0 (sill) and at the gap (door) by construction.
"""

from __future__ import annotations

from dataclasses import fields, replace
from pathlib import Path
from typing import NamedTuple

import numpy as np
from edge_network.photographs import Phones, draw_phones, photographed
from edge_network.places import PER_RADIUS, PLACES

from rigvision.vision.slot_profiles import SlotProfiles

FILE = Path(__file__).parent / "data" / "traced-sections.npz"
RADIUS_MM = 0.25
PX_PER_RADIUS = (2.0, 4.0)  #: of phones at the distances a check is made from
#: Of the faces: neither in deep shade nor clipped, as pictures are that are not refused.
FACE_LIGHT = (0.1, 0.8)


class Row(NamedTuple):
    """What ``photographed`` needs of a section."""

    slope: np.ndarray
    depth: np.ndarray


class TracedSlot(NamedTuple):
    """One station's profile, and where its edges truly are, (1, 2) mm."""

    profiles: SlotProfiles
    edges_mm: np.ndarray


def traced_slots(seed: int) -> list[TracedSlot]:
    """The 40 slots, each photographed by a phone of its own."""
    rng = np.random.default_rng(seed)
    with np.load(FILE) as file:
        data = {name: file[name].astype(float) for name in file.files}
    light = np.maximum(data["light"], 0.0)
    phones = _phones(light, rng)
    rows = photographed(light, Row(data["slope"], data["depth"]), phones, rng)
    return [
        _slot(rows[k].light[0], rows[k + 1].light[0], data["gap"][k], rows[k])
        for k in range(0, len(rows), 2)
    ]


def _phones(light: np.ndarray, rng: np.random.Generator) -> Phones:
    """One phone for both edges of a slot: the brighter face is exposed as the phone likes."""
    count = len(light)
    drawn = draw_phones(rng, count)
    low, high = np.log(PX_PER_RADIUS)
    drawn = replace(
        drawn,
        px_per_radius=np.exp(rng.uniform(low, high, count)),
        face_light=np.exp(rng.uniform(*np.log(FACE_LIGHT), count)),
    )
    both = replace(
        drawn, **{f.name: np.repeat(getattr(drawn, f.name)[::2], 2) for f in fields(drawn)}
    )
    face = np.median(light[:, PLACES < -1.5], axis=1)
    brighter = np.repeat(face.reshape(-1, 2).max(axis=1), 2)
    return replace(both, face_light=both.face_light * face / brighter)


def _slot(sill: np.ndarray, door: np.ndarray, gap: float, row) -> TracedSlot:
    """The sill's profile up to the slot's middle and the door's, turned round, from there."""
    v = np.arange(PLACES[0], gap - PLACES[0], 1.0 / PER_RADIUS)
    light = np.where(v < gap / 2.0, np.interp(v, PLACES, sill), np.interp(gap - v, PLACES, door))
    depth = RADIUS_MM * np.array([row.own_depth[0], row.other_depth[0]])
    profiles = SlotProfiles(
        np.zeros(1),
        RADIUS_MM * v,
        light[None],
        np.full((1, len(v)), row.error[0]),
        row.px_per_unit / RADIUS_MM,
        row.spread,
        row.focus,
        float(row.slope[0]),
        RADIUS_MM,
        float(depth[0]),
        float(depth[1]),
    )
    return TracedSlot(profiles, np.array([[0.0, RADIUS_MM * gap]]))
