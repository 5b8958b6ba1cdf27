"""A record on one page of A4, for the maintenance record: PDF/A-3B with the record attached.

From top to bottom: whose record, verdict, what people decided; the analysed image beside job,
photo, figures and reasons; what the uncertainty comes from, what to look at; signatures; the
ledger's state with its code, cautions. Every part has a fixed room and is cut to it, so the page
stays one whatever was written: all of it stands in the attachment.

Loads the library that makes PDFs: import this only where a page is made.
"""

from __future__ import annotations

from datetime import datetime
from io import BytesIO

import numpy as np
from PIL import Image

from rigvision.report.canvas import WHITE, Stroke
from rigvision.report.page_decision import draw_signatures, draw_standing, draw_verdict
from rigvision.report.page_facts import PageFacts
from rigvision.report.page_findings import (
    draw_budget,
    draw_figures,
    draw_job,
    draw_models,
    draw_notes,
    draw_reasons,
)
from rigvision.report.page_parts import LEFT_MM, RIGHT_MM, Area
from rigvision.report.page_proof import draw_proof
from rigvision.report.sheet import BLACK, Sheet, Style

#: Name of the attached record.
ATTACHMENT = "record.json"

VERDICT_TOP_MM, STANDING_TOP_MM = 15.5, 38.0
PICTURE_TOP_MM, PICTURE_BOTTOM_MM = 49.5, 203.0
LOWER_TOP_MM, SIGNATURES_TOP_MM, PROOF_TOP_MM = 205.5, 232.5, 257.5
_PICTURE_WIDTH_MM, _SPACE_MM = 92.0, 5.0


def page_pdf(facts: PageFacts) -> bytes:
    """The page. The same facts make the same bytes.

    Raises ValueError where the analysed image is no JPEG in RGB, or a time is none.
    """
    version = facts.result.version
    title = f"Record {facts.seal.record}"
    sheet = Sheet(title, f"rigvision {version}", datetime.fromisoformat(facts.as_of))
    width_mm = RIGHT_MM - LEFT_MM
    _draw_title(sheet, facts)
    draw_verdict(sheet, facts, Area(LEFT_MM, VERDICT_TOP_MM, width_mm))
    draw_standing(sheet, facts, Area(LEFT_MM, STANDING_TOP_MM, width_mm))
    _draw_picture(sheet, facts)
    _draw_beside(sheet, facts)
    half_mm = (width_mm - _SPACE_MM) / 2.0
    draw_budget(sheet, facts, Area(LEFT_MM, LOWER_TOP_MM, half_mm))
    right = Area(LEFT_MM + half_mm + _SPACE_MM, LOWER_TOP_MM, half_mm)
    draw_notes(sheet, facts, right, SIGNATURES_TOP_MM - 0.5)
    draw_signatures(sheet, facts, Area(LEFT_MM, SIGNATURES_TOP_MM, width_mm))
    draw_proof(sheet, facts, Area(LEFT_MM, PROOF_TOP_MM, width_mm))
    sheet.attach(ATTACHMENT, facts.record_json, f"The whole of record {facts.seal.record}")
    return sheet.finish()


def _draw_title(sheet: Sheet, facts: PageFacts) -> None:
    style = Style(11.5, bold=True)
    sheet.words(LEFT_MM, 8.5, "Bleed door: gap and yoke, by rig gauge", style, 110.0)
    record = f"Record {facts.seal.record}"
    sheet.words(RIGHT_MM - 75.0, 8.5, record, style, 75.0, align="right")


def _draw_picture(sheet: Sheet, facts: PageFacts) -> None:
    """As large as its room allows, in the middle of it; crossed out where the record is void."""
    aspect = _aspect(facts.image_jpeg)
    room_mm = PICTURE_BOTTOM_MM - PICTURE_TOP_MM
    width_mm = min(_PICTURE_WIDTH_MM, room_mm / aspect)
    left_mm = LEFT_MM + (_PICTURE_WIDTH_MM - width_mm) / 2.0
    sheet.photo(facts.image_jpeg, left_mm, PICTURE_TOP_MM, width_mm)
    if facts.is_void:
        right_mm, bottom_mm = left_mm + width_mm, PICTURE_TOP_MM + aspect * width_mm
        _cross_out(sheet, left_mm, PICTURE_TOP_MM, right_mm, bottom_mm)


def _aspect(jpeg: bytes) -> float:
    """Height by width."""
    try:
        with Image.open(BytesIO(jpeg), formats=("JPEG",)) as image:
            if image.mode != "RGB":
                raise ValueError(f"the analysed image is {image.mode}, not RGB")
            return image.height / image.width
    except OSError as error:
        raise ValueError("the analysed image is no JPEG") from error


def _cross_out(sheet: Sheet, left: float, top: float, right: float, bottom: float) -> None:
    """Two white lines with black edges, in mm: seen on any picture, which stays to be seen."""
    for start, end in (((left, top), (right, bottom)), ((left, bottom), (right, top))):
        for colour, width in ((BLACK, 160), (WHITE, 90)):
            sheet.line(100.0 * np.array([start, end]), Stroke(colour, width))


def _draw_beside(sheet: Sheet, facts: PageFacts) -> None:
    left_mm = LEFT_MM + _PICTURE_WIDTH_MM + _SPACE_MM
    area = Area(left_mm, PICTURE_TOP_MM, RIGHT_MM - left_mm)
    for draw in (draw_job, draw_figures, draw_models):
        area = area.below(draw(sheet, facts, area) + 1.6)
    draw_reasons(sheet, facts, area, PICTURE_BOTTOM_MM)
