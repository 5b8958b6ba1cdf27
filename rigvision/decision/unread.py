"""What could not be read of the edges and the yoke, and what to blame for it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from math import isfinite
from typing import TYPE_CHECKING

from rigvision.decision.cause import Cause
from rigvision.decision.directions import way
from rigvision.decision.sight import PhotoLimits, Sight, light_to_blame, movement_to_blame

if TYPE_CHECKING:
    from rigvision.metrology.yoke import YokeAlignment
    from rigvision.vision.lost_station import LostStation

#: What hides an edge, for a person: by the cause with which the station was lost.
_HIDES = {
    "dark": "they lie in the dark",
    "no-contrast": "nothing sets them off from the slot",
    "disagrees": "something else lies over them",
    "two-places": "another line along the gap looks like one",
    "out-of-view": "the window does not show them",
}
_CURES = {
    "dark": "light-gap",
    "no-contrast": "wipe-edges",
    "disagrees": "uncover-edges",
    "two-places": "no-shadow",
    "out-of-view": "look-into-gap",
}


def unread_edges(
    lost: Sequence[LostStation],
    stations_x_mm: Sequence[float],
    glare_mm: Sequence[tuple[float, float]],
    sight: Sight,
    limits: PhotoLimits,
    *,
    gap_read: bool,
) -> Iterator[Cause]:
    """Why too little of the gap was read, or, where enough was, which stations were lost."""
    total = len(stations_x_mm)
    if gap_read and total - len(lost) >= limits.station_part * total:
        if lost:
            yield "stations-lost", {"stations": _at(lost), "because": _because(lost)}
        return
    causes = Counter(station.cause for station in lost)
    worst = causes.most_common(1)[0][0] if causes else "no-contrast"
    if worst == "saturated":
        yield _glare_on_edges(lost, glare_mm, sight, limits)
    elif (light := light_to_blame(sight, limits)) is not None:
        yield light
    elif (movement := movement_to_blame(sight, limits)) is not None:
        yield movement
    else:
        yield (
            "edge-hidden",
            {
                "found": total - len(lost) if lost else 0,
                "total": total,
                "needed": -(-total * limits.station_part // 1),
                "stations": _at(lost),
                "because": _HIDES[worst],
                "cure": _CURES[worst],
            },
        )


def _glare_on_edges(
    lost: Sequence[LostStation],
    glare_mm: Sequence[tuple[float, float]],
    sight: Sight,
    limits: PhotoLimits,
) -> Cause:
    """Bright metal under blown white is the exposure's fault, else a lamp's."""
    light = light_to_blame(sight, limits)
    if light and light[0] == "too-bright" and not _leaves_room(glare_mm):
        return light
    spans = glare_mm or [(s.x_mm, s.x_mm) for s in lost if s.cause == "saturated"]
    where = " and ".join(f"{low:.0f} to {high:.0f}" for low, high in spans)
    length = sum(high - low for low, high in spans)
    return (
        "glare",
        {
            "where": f"the gap from x = {where} mm",
            "part": f"{length:.0f} mm of its edges",
            "cure": "step-aside",
            "way": _way_out(spans, sight),
        },
    )


#: Between them, part of the gap is free of glare: a spot, and no overexposed picture.
_SPOT_MM = 60.0


def _leaves_room(spans: Sequence[tuple[float, float]]) -> bool:
    return sum(high - low for low, high in spans) < _SPOT_MM


def _way_out(spans: Sequence[tuple[float, float]], sight: Sight) -> str:
    """A mirrored lamp moves with whoever looks at it: step to where its way out is shortest."""
    middle = sum(low + high for low, high in spans) / (2 * len(spans))
    along_x, along_y = sight.gauge_right
    side = 1.0 if middle >= 0.0 else -1.0
    return way(side * along_x, side * along_y)


def _at(lost: Sequence[LostStation]) -> str:
    return ", ".join(f"{station.x_mm:g}" for station in lost)


def _because(lost: Sequence[LostStation]) -> str:
    """The causes of some stations' loss, each once."""
    words = {**_HIDES, "saturated": "glare covers them"}
    return "; ".join(dict.fromkeys(words[station.cause] for station in lost))


def unread_yoke(
    yoke: YokeAlignment,
    sight: Sight,
    limits: PhotoLimits,
    *,
    has_tag: bool,
    has_lines: bool,
    socket_found: bool,
) -> Iterator[Cause]:
    """Which of the yoke's figures are missing though gauge and frame have what they need."""
    hidden = []
    if not socket_found:
        hidden.append("socket's outline")
    elif has_tag and yoke.lateral_offset_mm is None:
        hidden.append("yoke's tag")
    elif has_tag and yoke.seat_gap_mm is None:
        hidden.append("socket's face")
    if socket_found and has_lines and yoke.clock_deg is None:
        hidden.append("socket's index lines")
    if not hidden:
        return
    what = " and ".join(hidden)
    if "yoke's tag" not in hidden and sight.barrel_blown > limits.barrel_blown:
        yield (
            "glare",
            {
                "where": f"the {what}",
                "part": f"{sight.barrel_blown:.0%} of the barrel",
                "cure": "spot-off-socket",
            },
        )
    elif isfinite(sight.barrel_light) and sight.barrel_light < limits.barrel_light:
        yield "yoke-hidden", {"what": what, "cure": "light-yoke"}
    else:
        yield "yoke-hidden", {"what": what, "cure": "uncover-yoke"}
