"""A photo and its analysed image as layers that lie on each other to the pixel.

A page shows them in one frame: the photo around the gauge, turned level. The photo's own pixels
are kept where the gap is, and nothing is turned or scaled there: the page places them by a
matrix. The analysed image is laid on them where a search finds it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import simplejpeg

from rigvision.ground.conventions import FloatArray
from rigvision.photo.colour_codes import ColourCodes
from rigvision.report.analysed_image import PHOTO_HIGHEST_PX, WIDTH_PX
from rigvision.report.analysed_place import place_in
from rigvision.report.framing import Framing, Pixels, around_gauge, whole_photo
from rigvision.report.plate_view import PlateView
from rigvision.report.shown_part import MOST_PX, ShownPart, part_of, shown_part
from rigvision.world.gauge import Gauge

Box = tuple[float, float, float, float]

THUMB_WIDTH_PX = 320
#: JPEG quality, and how colours are kept: where single pixels are looked at, each has its own.
Packing = tuple[int, str]
BASE_PACKING: Packing = (78, "420")
GAP_PACKING: Packing = (92, "444")
OVERLAY_PACKING: Packing = (72, "420")
THUMB_PACKING: Packing = (72, "420")
#: Of the pixels around the gap; more would take too much room on the disk.
GAP_MOST_PIXELS = 2_400_000
#: Room around the gap, in parts of its window's height, and around all of that.
GAP_NEAR, GAP_MARGIN = 0.25, 0.25


@dataclass(frozen=True, slots=True)
class Layer:
    """A JPEG and where its pixels lie in the frame: x' = a x + c y + e, y' = b x + d y + f.

    x and y run from the upper left corner of its first pixel, as SVG counts.
    """

    jpeg: bytes
    width_px: int
    height_px: int
    matrix: tuple[float, float, float, float, float, float]


@dataclass(frozen=True, slots=True)
class Light:
    """How a photo is lit: mean and spread of its brightness, and red over blue, around the gauge.

    Of encoded codes, 0 to 1.
    """

    mean: float
    spread: float
    warmth: float


@dataclass(frozen=True, slots=True)
class PictureLayers:
    """A frame of ``width`` by ``height`` photo pixels, and what lies in it.

    ``gap_box`` is left, top, width, height of the gap and what lies near it; None where the gauge
    was not found. ``stations`` are the middles of the gap there, from left to right. ``overlay`` is
    the analysed image, None where there is none. ``aligned``: it lies on the photo; else it is
    shown by itself.
    """

    width: float
    height: float
    base: Layer
    gap: Layer | None
    overlay: Layer | None
    aligned: bool
    gap_box: Box | None
    stations: tuple[tuple[float, float], ...]
    thumb: bytes
    light: Light


def picture_layers(
    photo: ColourCodes,
    analysed: ColourCodes | None,
    view: PlateView | None,
    gauge: Gauge | None,
    gap_mm: FloatArray | None = None,
) -> PictureLayers:
    """Layers of a photo; ``view`` and ``gauge`` are None where no view of it was solved.

    ``gap_mm`` (N, 3) are places along the middle of the gap, None where they are not known.
    """
    framing = _framing(photo, view, gauge)
    shown = shown_part(photo, framing)
    base = _placed(photo, shown, BASE_PACKING)
    small = shown.level(THUMB_WIDTH_PX / WIDTH_PX)
    window = _window(view, gauge, framing) if view and gauge else None
    stations = (
        _in_frame(framing, view.project_behind(gap_mm)) if view and gap_mm is not None else ()
    )
    window = _near_gap(window, stations) if window else None
    overlay, aligned = _overlay(analysed, shown)
    return PictureLayers(
        framing.width_px / framing.scale,
        framing.height_px / framing.scale,
        base,
        _gap(photo, framing, window) if window else None,
        overlay,
        aligned,
        window,
        stations,
        _jpeg(photo.srgb(small), THUMB_PACKING),
        _light(small),
    )


def _framing(photo: ColourCodes, view: PlateView | None, gauge: Gauge | None) -> Framing:
    """That of the analysed image, so that one lies on the other."""
    if view is None or gauge is None:
        return whole_photo(photo.whole(), WIDTH_PX, PHOTO_HIGHEST_PX)
    return around_gauge(view, gauge, WIDTH_PX, PHOTO_HIGHEST_PX)


def _gap(photo: ColourCodes, framing: Framing, window: Box) -> Layer | None:
    """The photo's own pixels around the gap; narrower where a slanted photo has too many."""
    x, y, width, height = window
    margin = GAP_MARGIN * height
    for shrink in (1.0, 0.7, 0.5, 0.3):
        half = 0.5 * shrink * width
        middle = x + 0.5 * width
        box = np.array(
            [
                [middle - half, y - margin],
                [middle + half, y - margin],
                [middle + half, y + height + margin],
                [middle - half, y + height + margin],
            ]
        )
        left, top, right, bottom = part_of(photo, framing, box)
        if 0 < (right - left) * (bottom - top) <= GAP_MOST_PIXELS:
            part = photo.part(left, top, right, bottom)
            return _placed(photo, ShownPart(part, left, top, 1, framing), GAP_PACKING)
    return None


def _placed(photo: ColourCodes, part: ShownPart, packing: Packing) -> Layer:
    """A part of the photo where it lies in its frame."""
    framing, turn = part.framing, part.framing.turn
    # Its upper left corner lies half a pixel before the middle of its first pixel.
    first = np.array([part.left - 0.5, part.top - 0.5])
    e, f = turn @ first + (framing.shift_px + 0.5) / framing.scale
    (a, c), (b, d) = part.step * turn
    height, width = part.codes.shape[:2]
    matrix = (float(a), float(b), float(c), float(d), float(e), float(f))
    return Layer(_jpeg(photo.srgb(part.codes), packing), width, height, matrix)


def _window(view: PlateView, gauge: Gauge, framing: Framing) -> Box | None:
    """The gap's window in the frame."""
    (x0, x1), (y0, y1) = gauge.plate.x_mm, gauge.windows.gap_y_mm
    corners = np.array([[x0, y0, 0.0], [x1, y0, 0.0], [x1, y1, 0.0], [x0, y1, 0.0]])
    shown = (framing.shown(view.project(corners)) + 0.5) / framing.scale
    low, high = shown.min(axis=0), shown.max(axis=0)
    limit = np.array([framing.width_px, framing.height_px]) / framing.scale
    low, high = np.clip(low, 0.0, limit), np.clip(high, 0.0, limit)
    if (high <= low).any():
        return None
    return float(low[0]), float(low[1]), float(high[0] - low[0]), float(high[1] - low[1])


def _in_frame(framing: Framing, photo_px: FloatArray) -> tuple[tuple[float, float], ...]:
    """Those points (N, 2) of the photo that the frame shows, from left to right."""
    shown = (framing.shown(photo_px) + 0.5) / framing.scale
    limit = np.array([framing.width_px, framing.height_px]) / framing.scale
    inside = [p for p in shown if np.isfinite(p).all() and (p >= 0.0).all() and (p <= limit).all()]
    return tuple(sorted((float(x), float(y)) for x, y in inside))


def _near_gap(window: Box, stations: tuple[tuple[float, float], ...]) -> Box:
    """The part of the gap's window near the gap; all of it where no place is known."""
    if not stations:
        return window
    left, top, width, height = window
    ys = [y for _, y in stations]
    low = max(top, min(ys) - GAP_NEAR * height)
    high = min(top + height, max(ys) + GAP_NEAR * height)
    return (left, low, width, high - low) if high > low else window


def _light(small: Pixels) -> Light:
    values = small.reshape(-1, 3).astype(np.float32) / 255.0
    red, _, blue = (float(v) for v in values.mean(axis=0))
    brightness = values @ np.array([0.299, 0.587, 0.114], np.float32)
    mean, spread = float(brightness.mean()), float(brightness.std())
    return Light(round(mean, 4), round(spread, 4), round(red / max(blue, 0.01), 4))


# The analysed image on the photo


def _overlay(analysed: ColourCodes | None, shown: ShownPart) -> tuple[Layer | None, bool]:
    if analysed is None:
        return None, False
    codes, framing = analysed.whole(), shown.framing
    # Drawn WIDTH_PX wide, then shrunk as a whole where it would be too high.
    shrunk = codes.shape[1] / WIDTH_PX
    at = place_in(codes, shown, shrunk)
    if at is None:
        return _alone(codes, framing), False
    x, y = at
    width, height = round(framing.width_px * shrunk), round(framing.height_px * shrunk)
    left, top = max(0, round(x)), max(0, round(y))
    part = codes[top : top + height, left : left + width]
    unit = 1.0 / (framing.scale * shrunk)
    matrix = (unit, 0.0, 0.0, unit, unit * (left - x), unit * (top - y))
    jpeg = _jpeg(part, OVERLAY_PACKING)
    return Layer(jpeg, part.shape[1], part.shape[0], matrix), True


def _alone(codes: Pixels, framing: Framing) -> Layer:
    """All of the analysed image, as large as the frame allows."""
    width, height = framing.width_px / framing.scale, framing.height_px / framing.scale
    scale = min(1.0, MOST_PX / max(codes.shape[:2]))
    small: Any = cv2.resize(codes, None, None, scale, scale, cv2.INTER_AREA)
    unit = min(width / small.shape[1], height / small.shape[0])
    at = ((width - unit * small.shape[1]) / 2.0, (height - unit * small.shape[0]) / 2.0)
    jpeg = _jpeg(small, OVERLAY_PACKING)
    return Layer(jpeg, small.shape[1], small.shape[0], (unit, 0.0, 0.0, unit, *at))


def _jpeg(pixels: Pixels, packing: Packing) -> bytes:
    quality, colours = packing
    encoded: bytes = simplejpeg.encode_jpeg(
        np.ascontiguousarray(pixels), quality, colorspace="RGB", colorsubsampling=colours
    )
    return encoded


def one_thread() -> None:
    """Let OpenCV work in the thread that calls it: for processes that share the processors."""
    cv2.setNumThreads(1)
