"""On a record's page: job and photo, figures, reasons, uncertainty, what to look at."""

from __future__ import annotations

from itertools import groupby
from math import hypot

from rigvision.decision.result import BudgetLine
from rigvision.ground.shown import grouped
from rigvision.report.budget import NAMES
from rigvision.report.figure_rows import after_turn_row, figure_rows, risk_line
from rigvision.report.figures import percent
from rigvision.report.page_facts import PageCorrection, PageFacts, PageFlag
from rigvision.report.page_parts import (
    FAINT,
    SMALL,
    STRONG,
    TEXT,
    Area,
    heading,
    named,
    shown_time,
)
from rigvision.report.saved_result import SavedResult
from rigvision.report.seal_panel import STAGES
from rigvision.report.sheet import Sheet, Style
from rigvision.report.wording import what_to_do

NAME_WIDTH_MM = 21.0
MOST_MODELS, MOST_QUANTITIES = 4, 6
SOURCE_PT = 6.4


def draw_job(sheet: Sheet, facts: PageFacts, area: Area) -> float:
    """Where and when, and with which photo."""
    seal, photo, view = facts.seal, facts.result.photo, facts.result.view
    stage = f", {STAGES.get(seal.stage, seal.stage)}" if seal.stage else ""
    away = "" if view.distance_mm is None else f", {view.distance_mm / 10.0:.0f} cm away"
    top_mm = heading(sheet, area, "Job and photo")
    for name, value, style in (
        ("Work order", facts.job.work_order, STRONG),
        ("Engine", f"{facts.job.engine}, frame {facts.job.frame}", STRONG),
        ("Door", f"{seal.door}{stage}", STRONG),
        ("Actuator", f"{facts.job.position} position", TEXT),
        ("Job", seal.job, TEXT),
        ("Taken", photo.taken_at.replace("T", " ") if photo.taken_at else "time unknown", TEXT),
        ("Recorded", shown_time(facts.recorded_at), TEXT),
        ("Photo", f"{photo.width_px} x {photo.height_px} px{away}: {photo.name}", TEXT),
        ("", f"sha256 {grouped(photo.sha256[:32])}", SMALL),
    ):
        top_mm = named(sheet, area.below(top_mm), name, value, NAME_WIDTH_MM, style)
    return top_mm


def draw_figures(sheet: Sheet, facts: PageFacts, area: Area) -> float:
    """Name, value with expanded uncertainty, limit; what is out is marked and bold."""
    result = facts.result
    top_mm = heading(sheet, area, "Figures, ± expanded uncertainty (95 %)")
    then = after_turn_row(result)
    for row in [*figure_rows(result), *([then] if then else [])]:
        style = STRONG if row.out else TEXT
        sheet.words(area.left_mm, top_mm, "◆" if row.out else "", style, 4.0)
        sheet.words(area.left_mm + 3.6, top_mm, row.name, style, 27.0)
        sheet.words(area.left_mm + 31.0, top_mm, row.value, style, 27.0)
        limit = Style(6.6, colour=FAINT)
        left_mm = area.left_mm + 58.5
        sheet.words(left_mm, top_mm + 0.2, _bare(row.limit), limit, area.width_mm - 58.5)
        top_mm += 1.06 * style.step_mm
    return sheet.paragraph(area.left_mm, top_mm, _risks(result), SMALL, area.width_mm, 2)


def _bare(limit: str) -> str:
    """The limit without the probability, which stands below."""
    return limit.partition(" (inside")[0]


def _risks(result: SavedResult) -> str:
    inside = result.gap.conformance_probability if result.gap else None
    gap = "" if inside is None else f"Probability that the gap is inside: {percent(inside)}. "
    return gap + (risk_line(result) or "")


def draw_models(sheet: Sheet, facts: PageFacts, area: Area) -> float:
    """What was measured with, and until when it is calibrated."""
    top_mm = heading(sheet, area, "Measured with")
    for model in facts.models[:MOST_MODELS]:
        due = f", calibration due {model.calibration_due}" if model.calibration_due else ""
        value = f"{model.name}{due}  {grouped(model.sha256[:8])}"
        kind = model.kind.capitalize()
        top_mm = named(sheet, area.below(top_mm), kind, value, NAME_WIDTH_MM)
    program = f"rigvision {facts.result.version}"
    return named(sheet, area.below(top_mm), "Program", program, NAME_WIDTH_MM)


def draw_reasons(sheet: Sheet, facts: PageFacts, area: Area, bottom_mm: float) -> None:
    """Each reason with its remedy, as many as there is room for; how many are left out is said."""
    result = facts.result
    top_mm = heading(sheet, area, "Why, and what to do")
    if not result.reasons:
        sheet.words(
            area.left_mm, top_mm, "The check found nothing against it.", TEXT, area.width_mm
        )
    for index, reason in enumerate(result.reasons):
        remedy = reason.remedy.replace(what_to_do(result), "").strip()
        words = f"{reason.text} {remedy}".strip()
        lines = sheet.lines(words, TEXT, area.width_mm, 4)
        left = len(result.reasons) - index
        room = int((bottom_mm - top_mm) / TEXT.step_mm) - (1 if left > 1 else 0)
        if len(lines) > room:
            more = f"{left} more in the attached record."
            sheet.words(area.left_mm, top_mm, more, SMALL, area.width_mm)
            return
        top_mm = sheet.paragraph(area.left_mm, top_mm, words, TEXT, area.width_mm, 4) + 0.5


def draw_budget(sheet: Sheet, facts: PageFacts, area: Area) -> None:
    """A line a quantity: its standard uncertainty and what it mostly comes from."""
    top_mm = heading(sheet, area, "Where the uncertainty comes from")
    budget = facts.result.uncertainty_budget
    groups = [(k, list(lines)) for k, lines in groupby(budget, key=lambda line: line.quantity)]
    if not groups:
        sheet.words(area.left_mm, top_mm, "No figure could be measured.", TEXT, area.width_mm)
    for quantity, lines in groups[:MOST_QUANTITIES]:
        sheet.words(area.left_mm, top_mm, NAMES.get(quantity, quantity), TEXT, 22.0)
        sheet.words(area.left_mm + 22.5, top_mm, _standard(lines), TEXT, 20.0)
        room_mm = area.width_mm - 43.0
        words, style = _sources(sheet, lines, room_mm), Style(SOURCE_PT)
        sheet.words(area.left_mm + 43.0, top_mm + 0.3, words, style, room_mm)
        top_mm += TEXT.step_mm


def _standard(lines: list[BudgetLine]) -> str:
    """Contributions add up in squares."""
    angle = lines[0].standard_uncertainty_deg is not None
    parts = [
        (line.standard_uncertainty_deg if angle else line.standard_uncertainty_mm) or 0.0
        for line in lines
    ]
    return f"u = {hypot(*parts):.2f} {'deg' if angle else 'mm'}"


def _sources(sheet: Sheet, lines: list[BudgetLine], room_mm: float) -> str:
    """The largest, as many as fit whole; what has under 1 % of the variance is passed over."""
    words = ""
    for line in sorted(lines, key=lambda line: -(line.share or 0.0)):
        longer = f"{words}, " if words else ""
        longer += f"{line.source} {100.0 * (line.share or 0.0):.0f} %"
        too_long = sheet.width_mm(longer, Style(SOURCE_PT)) > room_mm
        if words and (too_long or (line.share or 0.0) < 0.01):
            break
        words = longer
    return words


def draw_notes(sheet: Sheet, facts: PageFacts, area: Area, bottom_mm: float) -> None:
    """Corrections first, then what an inspector must look at; what has no room is counted."""
    top_mm = heading(sheet, area, "Corrections and flags")
    notes = [(_correction_words(c), STRONG) for c in reversed(facts.corrections)]
    notes += [(f"⚑ {_flag_words(flag)}", TEXT) for flag in facts.flags]
    for index, (words, style) in enumerate(notes or [("None.", TEXT)]):
        lines = sheet.lines(words, style, area.width_mm, 3)
        left = len(notes) - index
        room = int((bottom_mm - top_mm) / style.step_mm) - (1 if left > 1 else 0)
        if len(lines) > room:
            more = f"{left} more in the attached record."
            sheet.words(area.left_mm, top_mm, more, SMALL, area.width_mm)
            return
        top_mm = sheet.paragraph(area.left_mm, top_mm, words, style, area.width_mm, 3)


def _correction_words(correction: PageCorrection) -> str:
    """A name comes last, as it may be read leftwards."""
    instead = f" Record {correction.replaced_by} instead." if correction.replaced_by else ""
    when = shown_time(correction.corrected_at)
    cause = correction.cause.rstrip(". ")
    return f"{when}: {cause}.{instead} Corrected by {correction.corrected_by}"


def _flag_words(flag: PageFlag) -> str:
    named_already = flag.record is None or flag.record in flag.text
    return flag.text if named_already else f"{flag.text} (record {flag.record})"
