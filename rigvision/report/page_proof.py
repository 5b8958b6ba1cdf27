"""On a record's page: what a later reader can prove it by, and the cautions."""

from __future__ import annotations

from rigvision.ground.shown import grouped
from rigvision.report.page_facts import PageFacts
from rigvision.report.page_parts import SMALL, STRONG, TEXT, Area, heading
from rigvision.report.seal import code_modules
from rigvision.report.sheet import Sheet, Style

CODE_SIDE_MM = 27.0

#: Common practice around bleed doors; no source but that.
DOOR_CAUTION = (
    "Doors and drive can move without warning: bleed off the pressure, isolate the drive, tag it, "
    "and keep hands and tools out of the opening."
)
ENGINE_CAUTION = (
    "Rotating parts: before the engine is motored, take gauge and tools out; everybody stands "
    "clear of intake, exhaust and rotating parts, and says so."
)
DEFERS = (
    "This page aids; it releases nothing. The approved maintenance data and licensed staff decide. "
    "Where in doubt, measure by hand."
)


def draw_proof(sheet: Sheet, facts: PageFacts, area: Area) -> None:
    """The record's code, in words beside it; cautions at the right."""
    top_mm = heading(sheet, area, "Proof")
    sheet.code(code_modules(facts.seal), area.left_mm - 2.0, top_mm - 0.6, CODE_SIDE_MM)
    left_mm = area.left_mm + CODE_SIDE_MM - 0.5
    _draw_ledger(sheet, facts, Area(left_mm, top_mm, 66.0))
    right_mm = left_mm + 68.0
    width_mm = area.left_mm + area.width_mm - right_mm
    for words in (DOOR_CAUTION, ENGINE_CAUTION):
        top_mm = sheet.paragraph(right_mm, top_mm, words, Style(6.8), width_mm, 4) + 0.7
    sheet.paragraph(right_mm, top_mm, DEFERS, Style(7.0, bold=True), width_mm, 4)


def _draw_ledger(sheet: Sheet, facts: PageFacts, area: Area) -> None:
    seal = facts.seal
    entries = "1 entry" if seal.count == 1 else f"{seal.count} entries"
    top_mm = area.top_mm
    for words, style in (
        (f"Record {seal.record}", STRONG),
        (f"hash {grouped(seal.core_sha256[:32])}", SMALL),
        (f"Ledger {grouped(seal.ledger)}", TEXT),
        (f"{entries} when this page was made, last:", TEXT),
        (grouped(seal.head_hash[:32]), SMALL),
    ):
        top_mm = sheet.words(area.left_mm, top_mm, words, style, area.width_mm)
    how = (
        "The whole record is attached to this file. 'rigvision verify FILE' says whether file and "
        "record are unchanged and who signed."
    )
    sheet.paragraph(area.left_mm, top_mm + 0.5, how, TEXT, area.width_mm, 3)
