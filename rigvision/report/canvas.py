"""A picture to draw on: smooth lines with a dark edge, shapes, text in the shipped font.

Coordinates are (x, y) with the centre of the top-left pixel at (0, 0). Every light line
has a dark one under it, so that it stands out on any photo and in a black-and-white print.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from io import BytesIO
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
from PIL import Image, ImageDraw, ImageFont

from rigvision.ground.conventions import FloatArray

Colour = tuple[int, int, int]

WHITE: Colour = (255, 255, 255)
INK: Colour = (18, 18, 20)
GREY: Colour = (205, 205, 205)

#: OpenCV takes coordinates as whole numbers of 1/16 px.
_SHIFT = 4


@dataclass(frozen=True, slots=True)
class Stroke:
    """A line's look. ``dashes`` are lengths in px, drawn and left out in turn; none is solid."""

    colour: Colour
    width_px: int
    dashes: tuple[float, ...] = ()
    edge_px: int = 3
    edge_colour: Colour = INK


class Canvas:
    """RGB pixels (H, W, 3) and what can be drawn on them."""

    def __init__(self, width_px: int, height_px: int, ground: Colour = INK) -> None:
        self.pixels: npt.NDArray[np.uint8] = np.full((height_px, width_px, 3), ground, np.uint8)

    @property
    def width_px(self) -> int:
        return int(self.pixels.shape[1])

    @property
    def height_px(self) -> int:
        return int(self.pixels.shape[0])

    def paste(self, block: npt.NDArray[np.uint8], left: int, top: int) -> None:
        """Put RGB pixels (h, w, 3) here; they must fit."""
        self.pixels[top : top + block.shape[0], left : left + block.shape[1]] = block

    def line(self, points: FloatArray, stroke: Stroke) -> None:
        """A line through points (N, 2), its dark edge first."""
        parts = _dashed(np.asarray(points, dtype=np.float64), stroke.dashes)
        layers = [(stroke.edge_colour, stroke.width_px + 2 * stroke.edge_px)]
        for colour, width_px in [*(layers if stroke.edge_px else []), _top(stroke)]:
            for part in parts:
                cv2.polylines(
                    self.pixels, [_fixed(part)], False, colour, width_px, cv2.LINE_AA, _SHIFT
                )

    def polygon(self, points: FloatArray, fill: Colour) -> None:
        """A filled polygon (N, 2)."""
        cv2.fillPoly(self.pixels, [_fixed(points)], fill, cv2.LINE_AA, _SHIFT)

    def disc(self, x: float, y: float, radius_px: float, fill: Colour) -> None:
        centre = _fixed(np.array([[x, y]]))[0]
        at = (int(centre[0]), int(centre[1]))
        cv2.circle(
            self.pixels, at, round(radius_px * 2**_SHIFT), fill, cv2.FILLED, cv2.LINE_AA, _SHIFT
        )

    def box(self, left: int, top: int, right: int, bottom: int, fill: Colour) -> None:
        """A filled upright rectangle; parts off the canvas are left out."""
        self.pixels[max(0, top) : max(0, bottom), max(0, left) : max(0, right)] = fill

    def text(
        self,
        x: float,
        y: float,
        words: str,
        font: ImageFont.FreeTypeFont,
        colour: Colour = WHITE,
        anchor: str = "la",
    ) -> None:
        """One line of text; ``anchor`` as in Pillow."""
        left, top, right, bottom = (round(v) for v in font.getbbox(words, anchor=anchor))
        mask = Image.new("L", (right - left + 2, bottom - top + 2))
        ImageDraw.Draw(mask).text((1 - left, 1 - top), words, 255, font, anchor=anchor)
        self._blend(np.asarray(mask), round(x) + left - 1, round(y) + top - 1, colour)

    def _blend(self, mask: npt.NDArray[np.uint8], left: int, top: int, colour: Colour) -> None:
        """Lay a colour over the pixels by a mask (h, w), 255 covering; clipped to the canvas."""
        x0, y0 = max(0, left), max(0, top)
        x1 = min(self.width_px, left + mask.shape[1])
        y1 = min(self.height_px, top + mask.shape[0])
        if x0 >= x1 or y0 >= y1:
            return
        cover = mask[y0 - top : y1 - top, x0 - left : x1 - left, None].astype(np.float32) / 255.0
        under = self.pixels[y0:y1, x0:x1]
        mixed = under * (1.0 - cover) + np.array(colour, np.float32) * cover
        self.pixels[y0:y1, x0:x1] = np.round(mixed).astype(np.uint8)


@lru_cache(maxsize=64)
def font(size_px: int, bold: bool = False) -> ImageFont.FreeTypeFont:
    """The shipped font. Basic layout: the same pixels whatever else is installed."""
    return ImageFont.truetype(BytesIO(_font_bytes(bold)), size_px, layout_engine=_BASIC)


def wrapped(words: str, face: ImageFont.FreeTypeFont, width_px: float) -> list[str]:
    """The words in lines no wider than this, broken at spaces where possible."""
    lines: list[str] = []
    for word in words.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and face.getlength(longer) <= width_px:
            lines[-1] = longer
        else:
            lines.append(shortened(word, face, width_px))
    return lines


def shortened(words: str, face: ImageFont.FreeTypeFont, width_px: float) -> str:
    """The words, cut with an ellipsis where they would be wider than this."""
    if face.getlength(words) <= width_px:
        return words
    while words and face.getlength(words + "…") > width_px:
        words = words[:-1]
    return words + "…"


_BASIC = ImageFont.Layout.BASIC


@lru_cache(maxsize=2)
def _font_bytes(bold: bool) -> bytes:
    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return (files("rigvision.report") / "fonts" / name).read_bytes()


def _top(stroke: Stroke) -> tuple[Colour, int]:
    return stroke.colour, stroke.width_px


def _fixed(points: FloatArray) -> Any:
    """Points (N, 2) as OpenCV's fixed-point numbers; far ones are held where it can count."""
    held = np.clip(np.asarray(points, dtype=np.float64), -1e5, 1e5)
    return np.round(held * 2**_SHIFT).astype(np.int32)


def _dashed(points: FloatArray, dashes: tuple[float, ...]) -> list[FloatArray]:
    """The drawn pieces of a line (N, 2), each (2, 2) or, for a solid line, all of it."""
    if not dashes:
        return [points]
    steps = np.linalg.norm(np.diff(points, axis=0), axis=1)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    edges = _dash_edges(float(along[-1]), dashes)
    pieces = []
    for start, end in edges:
        corners = along[(along > start) & (along < end)]
        at = np.concatenate([[start], corners, [end]])
        piece = [np.interp(at, along, points[:, axis]) for axis in (0, 1)]
        pieces.append(np.stack(piece, axis=1))
    return pieces


def _dash_edges(length_px: float, dashes: tuple[float, ...]) -> list[tuple[float, float]]:
    """Start and end of every dash along a line of this length."""
    edges, at, index = [], 0.0, 0
    while at < length_px and index < 4000:
        step = dashes[index % len(dashes)]
        if index % 2 == 0:
            edges.append((at, min(at + step, length_px)))
        at += step
        index += 1
    return edges
