"""On a record's page: the tool's verdict, and what people said to it."""

from __future__ import annotations

from rigvision.ground.shown import grouped
from rigvision.report.banner import borderline_words, draw_shape
from rigvision.report.canvas import WHITE, Colour
from rigvision.report.page_facts import PageFacts, PageSignature, Standing
from rigvision.report.page_parts import (
    FAINT,
    LEFT_MM,
    STRONG,
    TEXT,
    Area,
    heading,
    shown_time,
)
from rigvision.report.sheet import BLACK, Sheet, Style
from rigvision.report.wording import LOOKS, deciding_reason, what_to_do

VERDICT_HEIGHT_MM, STANDING_HEIGHT_MM = 21.0, 9.0
#: The verdict's ground where it may no longer be relied on.
VOID: Colour = (96, 96, 96)
MOST_SIGNATURES = 3

STANDING_WORDS: dict[Standing, str] = {
    "recorded": "NOT SIGNED",
    "measured": "NOT INSPECTED",
    "accepted": "ACCEPTED",
    "rejected": "REJECTED",
    "corrected": "SUPERSEDED",
}
DECISIONS = {"measured": "Measured", "accepted": "Accepted", "rejected": "Rejected"}


def draw_verdict(sheet: Sheet, facts: PageFacts, area: Area) -> None:
    """Shape and word, what to do, why; in grey and struck out where the record is void."""
    result = facts.result
    colour = VOID if facts.is_void else LOOKS[result.verdict].colour
    sheet.box(area.left_mm, area.top_mm, area.width_mm, VERDICT_HEIGHT_MM, colour)
    middle_mm = area.top_mm + VERDICT_HEIGHT_MM / 2.0
    draw_shape(sheet, 100.0 * (area.left_mm + 10.5), 100.0 * middle_mm, 820.0, result, colour)
    side_note = borderline_words(result)
    top_mm = area.top_mm + (3.2 if side_note else 5.4)
    _draw_word(sheet, LOOKS[result.verdict].word, area.left_mm + 22.0, top_mm, facts.is_void)
    note = Style(7.4, colour=WHITE)
    sheet.words(area.left_mm + 22.0, area.top_mm + 14.8, side_note, note, 54.0)
    _draw_action(sheet, facts, Area(area.left_mm + 78.0, middle_mm, area.width_mm - 80.0))


def _draw_word(sheet: Sheet, word: str, left_mm: float, top_mm: float, is_void: bool) -> None:
    large = Style(25.0, bold=True, colour=WHITE)
    sheet.words(left_mm, top_mm, word, large, 54.0)
    if is_void:
        sheet.box(left_mm - 1.0, top_mm + 5.6, sheet.width_mm(word, large) + 2.0, 1.0, WHITE)


def _draw_action(sheet: Sheet, facts: PageFacts, area: Area) -> None:
    """What to do and why, about the middle that the area begins at."""
    reason = deciding_reason(facts.result)
    parts = (
        (what_to_do(facts.result), Style(10.5, bold=True, colour=WHITE)),
        (reason.text if reason else "", Style(8.4, colour=WHITE)),
    )
    lines = [
        (line, style)
        for words, style in parts
        for line in sheet.lines(words, style, area.width_mm, 2)
    ]
    top_mm = area.top_mm - sum(style.step_mm for _, style in lines) / 2.0
    for line, style in lines:
        top_mm = sheet.words(area.left_mm, top_mm, line, style, area.width_mm)


def draw_standing(sheet: Sheet, facts: PageFacts, area: Area) -> None:
    """A framed word: dashed while somebody is still to sign, black where it is void."""
    standing = facts.standing
    sheet.box(
        area.left_mm + 0.25,
        area.top_mm,
        area.width_mm - 0.5,
        STANDING_HEIGHT_MM,
        BLACK if facts.is_void else WHITE,
        edge_mm=0.5,
        dashed=standing in ("recorded", "measured"),
    )
    colour = WHITE if facts.is_void else BLACK
    word = Style(13.0, bold=True, colour=colour)
    sheet.words(area.left_mm + 3.0, area.top_mm + 1.7, STANDING_WORDS[standing], word, 50.0)
    left_mm = area.left_mm + 6.0 + sheet.width_mm(STANDING_WORDS[standing], word)
    room_mm = area.left_mm + area.width_mm - left_mm - 3.0
    words = Style(8.6, colour=colour)
    sheet.words(left_mm, area.top_mm + 2.9, _standing_sentence(facts), words, room_mm)


def _standing_sentence(facts: PageFacts) -> str:
    """What it means, and who said so. A name comes last, as it may be read leftwards."""
    if facts.standing == "recorded":
        return "Nobody has signed for this measurement. It may not be relied on."
    if facts.standing == "measured":
        return "An inspector has not decided yet. Until then it may not be relied on."
    if facts.standing == "corrected":
        replaced = facts.corrections[-1].replaced_by
        return f"Do not use. Record {replaced} took its place." if replaced else "Do not use."
    said = [s for s in facts.signatures if s.decision == facts.standing]
    return f"{shown_time(said[-1].signed_at)}, by the {said[-1].role} {said[-1].person}"


def draw_signatures(sheet: Sheet, facts: PageFacts, area: Area) -> None:
    """Who signed what and when; that somebody is still to sign is said as well."""
    shown = facts.signatures[:MOST_SIGNATURES]
    more = len(facts.signatures) - len(shown)
    note = f", {more} more in the attached record" if more else ""
    top_mm = heading(sheet, area, f"Signatures{note}")
    for signature in shown:
        top_mm = _draw_signature(sheet, signature, area.below(top_mm))
    sheet.words(area.left_mm, top_mm, _missing(facts), TEXT, area.width_mm)


def _draw_signature(sheet: Sheet, signature: PageSignature, area: Area) -> float:
    """One line of facts in columns, one with the key's fingerprint and the remark."""
    columns = (
        (0.0, 20.0, DECISIONS[signature.decision], STRONG),
        (20.0, 76.0, signature.person, STRONG),
        (98.0, 36.0, signature.role, TEXT),
        (136.0, area.width_mm - 136.0, shown_time(signature.signed_at), TEXT),
    )
    for offset_mm, width_mm, words, style in columns:
        bottom_mm = sheet.words(area.left_mm + offset_mm, area.top_mm, words, style, width_mm)
    small = Style(6.4, colour=FAINT)
    left_mm = LEFT_MM + 20.0
    sheet.words(left_mm, bottom_mm, f"key {grouped(signature.fingerprint)}", small, 76.0)
    if signature.remark:
        room_mm = area.width_mm - 98.0
        sheet.words(area.left_mm + 98.0, bottom_mm, signature.remark, Style(6.4), room_mm)
    return bottom_mm + small.step_mm + 0.4


def _missing(facts: PageFacts) -> str:
    if facts.standing == "recorded":
        return "Not signed: the mechanic's signature and the inspector's are missing."
    if facts.standing == "measured":
        return "Not signed by an inspector, who must be another person."
    return ""
