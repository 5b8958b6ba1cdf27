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
#: Part of the columns that is compared: a third tells as much and takes a third of the time.
_COLUMNS = 0.4
#: How far it may lie from where it was roughly found, or off to the side. px
_ROOM = 6

GreyArray = npt.NDArray[np.uint8]


def place_in(codes: Pixels, shown: ShownPart, shrunk: float) -> tuple[float, float] | None:
    """Where the photo's upper left corner lies in the analysed image; None where it does not.

    Roughly first, then to a part of a pixel.
    """
    image = _grey(cv2.resize(codes, None, None, _FINE, _FINE, cv2.INTER_LINEAR))
    wanted = _grey(shown.level(_FINE * shrunk))
    rough = _matched(_halved(image), _halved(wanted), None)
    if rough is None:
        return None
    found = _matched(image, wanted, (round(2 * rough[0]), round(2 * rough[1])))
    return None if found is None else (found[0] / _FINE, found[1] / _FINE)


def _halved(pixels: GreyArray) -> GreyArray:
    """Means of 2 x 2 pixels: places keep their ratio, as all begin at a corner."""
    rows, columns = (length // 2 * 2 for length in pixels.shape)
    return np.asarray(
        cv2.resize(pixels[:rows, :columns], None, None, 0.5, 0.5, cv2.INTER_AREA), np.uint8
    )


def _grey(pixels: Any) -> GreyArray:
    return np.asarray(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY))


def _matched(
    image: GreyArray, wanted: GreyArray, near: tuple[int, int] | None
) -> tuple[float, float] | None:
    """Left and top of a picture in another, at most ``_ROOM`` from ``near``; without, in all of its
    height. Both are as wide, so that its middle columns do."""
    height, width = wanted.shape
    first = round(width * (1.0 - _COLUMNS) / 2.0)
    middle = wanted[:, first : width - first]
    # A border lets it be found at the image's edges.
    framed = cv2.copyMakeBorder(image, *(4 * (_ROOM,)), cv2.BORDER_REPLICATE)
    x, y = near or (0, 0)
    left, top = max(0, x) + first, max(0, y)
    lowest = framed.shape[0] if near is None else top + height + 2 * _ROOM + 1
    part = np.asarray(framed)[top:lowest, left : left + middle.shape[1] + 2 * _ROOM + 1]
    if part.shape[0] < middle.shape[0] or part.shape[1] < middle.shape[1]:
        return None
    score: Any = cv2.matchTemplate(part, middle, cv2.TM_CCOEFF_NORMED)
    _, best, _, (column, row) = cv2.minMaxLoc(score)
    if not best >= _FOUND:
        return None
    return (
        left - first - _ROOM + column + _peak(score[row, :], column),
        top - _ROOM + row + _peak(score[:, column], row),
    )


def _peak(scores: Any, at: int) -> float:
    """Offset of a parabola's top through the best score and its neighbours."""
    if not 0 < at < len(scores) - 1:
        return 0.0
    before, best, after = (float(v) for v in scores[at - 1 : at + 2])
    bend = before - 2.0 * best + after
    return 0.0 if bend >= 0.0 else float(np.clip(0.5 * (before - after) / bend, -0.5, 0.5))
