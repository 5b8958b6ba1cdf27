"""Two analysed images beside each other, and under them their figures in one table.

As wide as an analysed image. Beside each other the images show what was seen; what is to be
read stands in the table, at the size of an analysed image's own figures.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from io import BytesIO

import cv2
import numpy as np
from PIL import ExifTags, Image

import rigvision
from rigvision.ground.shown import one_line
from rigvision.report.canvas import (
    GREY,
    INK,
    WHITE,
    Canvas,
    Colour,
    font,
    shortened,
    wrapped,
)
from rigvision.report.wording import CAUTION

WIDTH_PX = 2000
GUTTER_PX = 24
COLUMN_PX = (WIDTH_PX - GUTTER_PX) // 2
PAD_PX = 40
TITLE_PX, HEADING_PX, LINE_PX, FIGURE_PX, NOTE_PX = 64, 60, 40, 46, 40
JPEG_QUALITY = 88
#: No analysed image has more.
MOST_PIXELS = 20_000_000
_GROUND: Colour = (46, 46, 50)
#: Where the table's columns begin: name, left, right, change.
_COLUMNS_PX = (PAD_PX + 54, 590, 1060, 1530)


@dataclass(frozen=True, slots=True)
class Side:
    """One of the two: a word in the verdict's colour, lines about it, its image as JPEG."""

    heading: str
    colour: Colour
    lines: tuple[str, ...]
    jpeg: bytes


@dataclass(frozen=True, slots=True)
class TableRow:
    """A figure's name, left, right and what lies between them; ``marked`` where it stands out."""

    cells: tuple[str, str, str, str]
    marked: bool = False


def side_by_side(
    title: str, sides: tuple[Side, Side], rows: Sequence[TableRow], notes: Sequence[str]
) -> bytes:
    """The whole as JPEG. Raises ValueError where an image is none."""
    parts = [
        _title(title),
        _beside(_column(sides[0]), _column(sides[1])),
        _table(rows),
        _notes(notes),
    ]
    canvas = Canvas(WIDTH_PX, sum(part.height_px for part in parts))
    top = 0
    for part in parts:
        canvas.paste(part.pixels, 0, top)
        top += part.height_px
    return _jpeg(canvas)


def _title(title: str) -> Canvas:
    canvas = Canvas(WIDTH_PX, 2 * PAD_PX + TITLE_PX)
    face = font(TITLE_PX, True)
    canvas.text(PAD_PX, PAD_PX, shortened(one_line(title), face, WIDTH_PX - 2 * PAD_PX), face)
    return canvas


def _column(side: Side) -> Canvas:
    """Heading, lines, image, one under the other."""
    pixels = _pixels(side.jpeg)
    head_px = PAD_PX + round(1.3 * HEADING_PX + 1.4 * LINE_PX * len(side.lines)) + PAD_PX // 2
    canvas = Canvas(COLUMN_PX, head_px + pixels.shape[0])
    canvas.box(0, 0, COLUMN_PX, head_px, side.colour)
    heading = font(HEADING_PX, True)
    room = COLUMN_PX - 2 * PAD_PX
    canvas.text(PAD_PX, PAD_PX / 2, shortened(one_line(side.heading), heading, room), heading)
    y = PAD_PX / 2 + 1.4 * HEADING_PX
    for line in side.lines:
        face = font(LINE_PX)
        canvas.text(PAD_PX, y, shortened(one_line(line), face, room), face)
        y += 1.4 * LINE_PX
    canvas.paste(pixels, 0, head_px)
    return canvas


def _pixels(jpeg: bytes) -> np.ndarray:
    """RGB pixels (h, COLUMN_PX, 3) of an analysed image made as wide as a column."""
    try:
        with Image.open(BytesIO(jpeg), formats=("JPEG",)) as image:
            if image.width * image.height > MOST_PIXELS:
                raise ValueError("the analysed image is larger than any that was made here")
            whole = np.asarray(image.convert("RGB"))
    except (OSError, SyntaxError) as error:
        raise ValueError("the analysed image is no JPEG") from error
    height_px = round(whole.shape[0] * COLUMN_PX / whole.shape[1])
    return np.asarray(cv2.resize(whole, (COLUMN_PX, height_px), interpolation=cv2.INTER_AREA))


def _beside(left: Canvas, right: Canvas) -> Canvas:
    canvas = Canvas(WIDTH_PX, max(left.height_px, right.height_px))
    canvas.paste(left.pixels, 0, 0)
    canvas.paste(right.pixels, WIDTH_PX - COLUMN_PX, 0)
    return canvas


def _table(rows: Sequence[TableRow]) -> Canvas:
    step = 1.5 * FIGURE_PX
    canvas = Canvas(WIDTH_PX, round(step * len(rows)) + 2 * PAD_PX)
    for index, row in enumerate(rows):
        y = PAD_PX + step * (index + 0.5)
        face = font(FIGURE_PX, row.marked)
        canvas.text(PAD_PX, y, "◆" if row.marked else "", face, WHITE, anchor="lm")
        for x, cell, ends in zip(_COLUMNS_PX, row.cells, (*_COLUMNS_PX[1:], WIDTH_PX), strict=True):
            words = shortened(one_line(cell), face, ends - x - 12)
            canvas.text(x, y, words, face, WHITE if row.marked or x > 600 else GREY, anchor="lm")
    return canvas


def _notes(notes: Sequence[str]) -> Canvas:
    """What must be known of the table, then the caution, dark on white."""
    room = WIDTH_PX - 2 * PAD_PX
    face, bold = font(NOTE_PX), font(NOTE_PX, True)
    lines = [line for note in notes for line in wrapped(one_line(note), face, room)]
    caution = wrapped(CAUTION, bold, room)
    step = 1.4 * NOTE_PX
    canvas = Canvas(WIDTH_PX, round(step * (len(lines) + len(caution))) + 2 * PAD_PX, _GROUND)
    y = PAD_PX / 2
    for line in lines:
        canvas.text(PAD_PX, y, line, face, WHITE)
        y += step
    canvas.box(0, round(y + 10), WIDTH_PX, canvas.height_px, WHITE)
    for index, line in enumerate(caution):
        canvas.text(PAD_PX, y + 24 + step * index, line, bold, INK)
    return canvas


def _jpeg(canvas: Canvas) -> bytes:
    exif = Image.Exif()
    exif[ExifTags.Base.Software] = f"rigvision {rigvision.__version__}"
    stream = BytesIO()
    image = Image.fromarray(canvas.pixels)
    image.save(stream, "JPEG", quality=JPEG_QUALITY, subsampling=0, exif=exif)
    return stream.getvalue()
