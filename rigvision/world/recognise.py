"""Which gauge a picture shows, and which frame it belongs to, from what was asked and seen."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from rigvision.ground.errors import Unmeasurable, UsageError
from rigvision.world.catalogue import load, load_all
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge

#: A foreign tag alone may be a ghost or a sticker in the background; two are a gauge.
FOREIGN_TAGS = 2


def recognise_gauge(seen: Sequence[int], wanted: Gauge | None) -> Gauge:
    """The gauge whose marks are seen.

    ``seen`` holds the ids of all tags found, an id as often as it was found.
    Raises Unmeasurable: ``no-gauge``, ``wrong-gauge``, ``two-gauges``.
    """
    ids = set(seen)
    candidates = [wanted] if wanted else load_all(Gauge)
    score = {g.name: len(ids & g.tag_ids) for g in candidates}
    best = max(candidates, key=lambda g: score[g.name], default=None)
    if best is None or score[best.name] == 0:
        if len(ids) >= FOREIGN_TAGS:
            who = f"gauge {wanted.name}" if wanted else "any gauge known here"
            raise Unmeasurable("wrong-gauge", ids=_listed(ids), wanted=who)
        raise Unmeasurable("no-gauge")
    foreign = ids - best.tag_ids
    twice = {i for i, count in Counter(seen).items() if count > 1 and i in best.tag_ids}
    if len(foreign) >= FOREIGN_TAGS and len(foreign) > score[best.name]:
        raise Unmeasurable("wrong-gauge", ids=_listed(ids), wanted=f"gauge {best.name}")
    if len(twice) >= FOREIGN_TAGS or _another_gauge(foreign, best):
        raise Unmeasurable("two-gauges", ids=_listed(twice or foreign))
    return best


def frame_for(gauge: Gauge, wanted: Frame | None) -> Frame:
    """The frame asked for, or the only one that the gauge fits.

    Raises UsageError where gauge and frame do not belong together or it cannot be told.
    """
    if wanted:
        if gauge.name not in wanted.gauges:
            raise UsageError(
                "gauge-and-frame",
                f"Gauge {gauge.name} does not belong to frame {wanted.name}.",
                f"Frame {wanted.name} takes {', '.join(wanted.gauges)}.",
            )
        return wanted
    fitting = [f for f in load_all(Frame) if gauge.name in f.gauges]
    if len(fitting) == 1:
        return fitting[0]
    found = ", ".join(f.name for f in fitting) or "none"
    raise UsageError(
        "frame-needed",
        f"Gauge {gauge.name} does not say by itself which frame it sits on ({found} known).",
        "Name it with --frame.",
    )


def load_gauge(name_or_file: str | None) -> Gauge | None:
    return load(Gauge, name_or_file) if name_or_file else None


def load_frame(name_or_file: str | None) -> Frame | None:
    return load(Frame, name_or_file) if name_or_file else None


def check_door(door: int | None, frame: Frame) -> None:
    """Raises UsageError for a door that the frame does not have."""
    if door is not None and not 1 <= door <= frame.doors:
        raise UsageError(
            "no-such-door",
            f"Frame {frame.name} has doors 1 to {frame.doors}, not {door}.",
            "Give the door's number as marked on the frame.",
        )


def has_index_lines(gauge: Gauge, frame: Frame) -> bool:
    """Whether yoke and socket carry the lines between which the clock is read."""
    yoke, socket = gauge.yoke, frame.socket
    return bool(yoke and yoke.index_line_width_mm and socket and socket.index_line_width_mm)


def _another_gauge(foreign: set[int], best: Gauge) -> bool:
    """Whether tags beside the gauge's own make up another known gauge."""
    others = (g for g in load_all(Gauge) if g.name != best.name)
    return any(len(foreign & g.tag_ids) >= FOREIGN_TAGS for g in others)


def _listed(ids: set[int]) -> str:
    shown = sorted(ids)
    return ", ".join(map(str, shown[:9])) + (" and more" if len(shown) > 9 else "")
