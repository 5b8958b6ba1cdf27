"""Where the photo lies in its analysed image, found by looking for it there.

The banner above it is as high as its words need, in whatever version drew it.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from rigvision.report.framing import Pixels
from rigvision.report.shown_part import ShownPart

#: The photo is looked for in the analysed image at half this scale, then at this.
_FINE = 0.25
#: Correlation below which it is not taken for found. What is drawn over the photo costs some.
_FOUND = 0.6


def place_in(codes: Pixels, shown: ShownPart, shrunk: float) -> tuple[float, float] | None:
    """Where the photo's upper left corner lies in the analysed image; None where it does not.

    Roughly first, then to a part of a pixel.
    """
    fine = _grey(cv2.resize(codes, None, None, _FINE, _FINE, cv2.INTER_LINEAR))
    coarse = cv2.resize(fine, None, None, 0.5, 0.5, cv2.INTER_AREA)
    rough = _matched(np.asarray(coarse), _grey(shown.level(0.5 * _FINE * shrunk)), None)
    if rough is None:
        return None
    near = (round(2 * rough[0]), round(2 * rough[1]))
    found = _matched(fine, _grey(shown.level(_FINE * shrunk)), near)
    return None if found is None else (found[0] / _FINE, found[1] / _FINE)


def _grey(pixels: Any) -> npt.NDArray[np.uint8]:
    return np.asarray(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY))


def _matched(
    image: npt.NDArray[np.uint8],
    wanted: npt.NDArray[np.uint8],
    near: tuple[int, int] | None,
) -> tuple[float, float] | None:
    """Left and top of a picture in another, at most 6 px from ``near``; without, anywhere."""
    room = 6
    x0, y0 = (0, 0) if near is None else (near[0] - room, near[1] - room)
    # A border lets it be found at the image's edges.
    framed = cv2.copyMakeBorder(image, room, room, room, room, cv2.BORDER_REPLICATE)
    part = framed
    if near is not None:
        height, width = wanted.shape
        top, left = max(0, y0 + room), max(0, x0 + room)
        part = framed[top : top + height + 2 * room + 1, left : left + width + 2 * room + 1]
        x0, y0 = left - room, top - room
    else:
        x0, y0 = -room, -room
    if part.shape[0] < wanted.shape[0] or part.shape[1] < wanted.shape[1]:
        return None
    score = cv2.matchTemplate(part, wanted, cv2.TM_CCOEFF_NORMED)
    _, best, _, place = cv2.minMaxLoc(score)
    if not best >= _FOUND:
        return None
    x, y = (float(v) for v in place)
    return (
        x0 + x + _peak(score[place[1], :], place[0]),
        y0 + y + _peak(score[:, place[0]], place[1]),
    )


def _peak(scores: Any, at: int) -> float:
    """Offset of a parabola's top through the best score and its neighbours."""
    if not 0 < at < len(scores) - 1:
        return 0.0
    before, best, after = (float(v) for v in scores[at - 1 : at + 2])
    bend = before - 2.0 * best + after
    return 0.0 if bend >= 0.0 else float(np.clip(0.5 * (before - after) / bend, -0.5, 0.5))
