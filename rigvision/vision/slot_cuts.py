"""Which rough edges to read: those of a slot before a dark duct, or else before a light one.

A duct is dark, mostly, and looked for as that. Where no dark slot is found, or what was found
is hardly darker than its faces (an edge's round before a light duct is a dark line too), and
nothing else there is dark either, the duct may be light, and both kinds are held against each
other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from rigvision.vision.coarse_slot import Cut, CutTuning, cut_slot
from rigvision.vision.face_pieces import PieceTuning
from rigvision.vision.slot_profiles import SlotProfiles
from rigvision.world.frame import Frame


@dataclass(frozen=True, slots=True)
class DuctTuning:
    """When a duct may be light, and how it is looked for then."""

    found_part: float = 0.5  # of the stations; fewer dark slots, and the duct may be light
    # The darkest of a dark slot, as part of the darker face. Measured on disturbed quick
    # pictures: right ones up to 0.37, ducts half as light as the door from 0.39 on, what was
    # taken for a slot before lighter ones from 0.72 on.
    dark_part: float = 0.4
    # As dark as this part of the profile's lower quartile: before a light duct nothing is.
    darkest_part: float = 0.3
    face_mm: tuple[float, float] = (0.25, 0.6)  # off an edge, where its face is as it is
    # A light slot is told by less, so that faces are held to be as even as they mostly are.
    light: CutTuning = field(
        default_factory=lambda: CutTuning(
            light_duct=4.0, least_margin=0.8, pieces=PieceTuning(unevenness=0.04)
        )
    )


def slot_cuts(profiles: SlotProfiles, frame: Frame, tuning: DuctTuning | None = None) -> list[Cut]:
    """Sill and door at every station, or why not."""
    tuning = tuning or DuctTuning()
    dark = cut_slot(profiles, frame)
    found = [cut.edges_mm is not None for cut in dark]
    few = sum(found) < tuning.found_part * len(found)
    if not few and _darkest_part(profiles, dark, tuning) < tuning.dark_part:
        return dark
    if _shows_dark(profiles, tuning):
        return dark
    light = cut_slot(profiles, frame, tuning.light)
    if any(cut.edges_mm for cut in light) or not few:
        return light
    return dark


def _shows_dark(profiles: SlotProfiles, tuning: DuctTuning) -> bool:
    """Whether at half the stations in view something is as dark as only a dark duct is."""
    seen = profiles.light[np.isfinite(profiles.light).any(axis=1)]
    if not len(seen):
        return True
    lower = np.nanpercentile(seen, 25.0, axis=1)
    return bool(np.median(np.nanmin(seen, axis=1) / np.maximum(lower, 1e-6)) < tuning.darkest_part)


def _darkest_part(profiles: SlotProfiles, cuts: Sequence[Cut], tuning: DuctTuning) -> float:
    """Darkest of the slot as part of its darker face, at the median station."""
    parts = []
    low, high = tuning.face_mm
    for light, cut in zip(profiles.light, cuts, strict=True):
        if cut.edges_mm is None:
            continue
        off_mm = np.maximum(cut.edges_mm[0] - profiles.y_mm, profiles.y_mm - cut.edges_mm[1])
        below = profiles.y_mm < cut.edges_mm[0]
        beside = (off_mm > low) & (off_mm < high)
        faces = [np.nanmedian(light[beside & side]) for side in (below, ~below)]
        parts.append(np.nanmin(light[off_mm <= 0.0]) / max(min(faces), 1e-6))
    return float(np.median(parts))
