"""A station at which the gap could not be read, and why."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

#: out-of-view: too little of it is in the picture and seen through the window.
#: saturated: the sensor's limit cuts the light off beside an edge.
#: dark: sill or door is as dark as a slot.
#: no-contrast: nothing there falls in brightness as a slot does.
#: disagrees: what is there is not straight, off the edge that the other stations show, or looks
#: no more like a slot than like one uneven face.
#: two-places: the slot fits in two places about as well, as with a shadow along the gap.
LossCause = Literal["out-of-view", "saturated", "dark", "no-contrast", "disagrees", "two-places"]


@dataclass(frozen=True, slots=True)
class LostStation:
    x_mm: float
    cause: LossCause
