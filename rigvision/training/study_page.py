"""A study's report and its plan as pages: one file each, no network, fit for print and phone."""

from __future__ import annotations

from base64 import b64encode
from typing import Any

from rigvision.training.component import Component, SourceTest
from rigvision.training.drawn import STUDIES, again
from rigvision.training.linearity import LinearityStudy
from rigvision.training.mean_squares import MeanSquare, effect_columns
from rigvision.training.page_set import rendered
from rigvision.training.quantity import Quantity
from rigvision.training.readings import Readings
from rigvision.training.rr import GaugeStudy
from rigvision.training.study_findings import StudyFindings
from rigvision.training.study_plan import StudyPlan
from rigvision.training.study_plots import person_code, study_plots
from rigvision.training.study_words import (
    METHOD_WORDS,
    PART_WORDS,
    judgement,
    notes_on,
    percent,
    person_offsets,
    person_scatters,
    tenths,
)


def plan_page(plan: StudyPlan) -> str:
    """The plan, to be printed and ticked off."""
    return rendered("study_plan.html", title=f"{plan.name}: plan", plan=plan)


def report_page(findings: StudyFindings, made_at: str = "") -> str:
    """The whole report. ``made_at`` as it shall be shown."""
    study, readings = findings.study, findings.readings
    return rendered(
        "study_report.html",
        title=f"{study.plan.name}: report",
        plan=study.plan,
        limits=findings.limits,
        taken=len(study.taken),
        days=_days(findings),
        judged=judgement(findings),
        remarks=findings.remarks,
        plots=[
            {
                "title": p.title,
                "alternative": p.alternative,
                "address": _address(p.svg),
            }
            for p in study_plots(findings)
        ],
        people=_people(readings),
        settings=readings.settings if readings else (),
        tallies=_tallies(findings),
        verdicts=findings.verdicts,
        bias=findings.bias,
        linearity=_linearity_sentences(findings.bias, study.plan.about),
        why_no_bias=findings.why_no_bias,
        cells=_cells(readings, study.plan.about) if readings else (),
        made_at=made_at,
        **_gauge(findings),
    )


def _address(svg: bytes) -> str:
    """A picture as an address that needs no file and no network."""
    return f"data:image/svg+xml;base64,{b64encode(svg).decode()}"


def _gauge(findings: StudyFindings) -> dict[str, Any]:
    """What the page says of the gauge; all empty where it could not be worked out."""
    if findings.gauge is None:
        empty: tuple[Any, ...] = ()
        names = ("parts", "notes", "methods", "missing", "tables")
        return {"categories": "", "why": "", "again": "", "studies": STUDIES} | dict.fromkeys(
            names, empty
        )
    about, chosen = findings.study.plan.about, findings.gauge.chosen
    return {
        "parts": [_part(chosen, c, about) for c in chosen.components],
        "categories": _categories(chosen),
        "notes": notes_on(chosen),
        "why": findings.gauge.why,
        "methods": [_method(s, s is chosen, about) for s in findings.gauge.all],
        "missing": [(METHOD_WORDS[m], cause) for m, cause in findings.gauge.missing.items()],
        "tables": [
            {"words": f"Table of the {METHOD_WORDS[s.method]}", "rows": _lines(s)}
            for s in findings.gauge.all
            if s.table is not None
        ],
        "again": _again(findings, chosen),
        "studies": STUDIES,
    }


def _part(study: GaugeStudy, component: Component, about: Quantity) -> dict[str, Any]:
    ends = component.deviation_interval
    digits = about.digits + 1
    return {
        "words": PART_WORDS[component.part],
        "whole": component.part in ("gauge", "total"),
        "deviation": f"{component.deviation:.{digits}f}",
        "interval": f"{ends[0]:.{digits}f} to {ends[1]:.{digits}f}" if ends else "-",
        "of_study": _percent(study.share_of_study(component)),
        "of_tolerance": "-"
        if component.part in ("settings", "total")
        else _percent(study.share_of_tolerance(component)),
    }


def _method(study: GaugeStudy, chosen: bool, about: Quantity) -> dict[str, Any]:
    gauge, categories = study.component("gauge"), study.distinct_categories
    assert gauge is not None
    return {
        "words": METHOD_WORDS[study.method],
        "chosen": chosen,
        "deviation": f"{gauge.deviation:.{about.digits + 1}f}",
        "of_study": _percent(study.share_of_study(gauge)),
        "of_tolerance": _percent(study.share_of_tolerance(gauge)),
        "categories": "-" if categories is None else tenths(categories),
    }


def _categories(study: GaugeStudy) -> str:
    categories, ends = study.distinct_categories, study.distinct_categories_interval
    if categories is None:
        return ""
    text = (
        f"Groups of settings that are told apart (number of distinct categories): {categories:.1f}"
    )
    return f"{text}, 95 % interval {ends[0]:.1f} to {ends[1]:.1f}." if ends else f"{text}."


def _lines(study: GaugeStudy) -> list[dict[str, str]]:
    assert study.table is not None
    tests = {t.source: t for t in study.tests}
    return [_line(line, tests.get(line.source)) for line in study.table.lines]


def _line(line: MeanSquare, test: SourceTest | None) -> dict[str, str]:
    known = test is not None and test.f is not None and test.probability is not None
    return {
        "source": "shots (rest)" if line.source == "shots" else line.source,
        "freedom": str(line.degrees_of_freedom),
        "sum": f"{line.sum_of_squares:.6g}",
        "mean": f"{line.value:.4g}",
        "f": f"{test.f:.3f}" if test and known else "-",
        "p": f"{test.probability:.4f}" if test and known else "-",
    }


def _again(findings: StudyFindings, study: GaugeStudy) -> str:
    """The drawn studies in words; nothing where nothing varies."""
    if study.table is None or findings.readings is None or not study.table.values.any():
        return ""
    about = findings.study.plan.about
    found = again(study.table, effect_columns(findings.readings))
    words = {"shots": "shot to shot", "settings": "settings", "people": "people"}
    return "; ".join(
        f"{words.get(source, source)} {low:.{about.digits + 1}f} to {high:.{about.digits + 1}f} "
        f"{about.unit}"
        for source, (low, high) in found.items()
    )


def _tallies(findings: StudyFindings) -> list[dict[str, Any]]:
    readings, about = findings.readings, findings.study.plan.about
    offsets: dict[str, float] = {}
    scatters: dict[str, float | None] = {}
    if readings is not None:
        scatters = dict(zip(readings.people, person_scatters(readings), strict=True))
        if len(readings.people) > 1 and not readings.nested:
            offsets = dict(zip(readings.people, person_offsets(readings).tolist(), strict=True))
    rows = []
    for tally in findings.tallies:
        offset, scatter = offsets.get(tally.person), scatters.get(tally.person)
        rows.append(
            {
                "person": tally.person,
                "planned": tally.planned,
                "taken": tally.taken,
                "again": tally.again,
                "offset": "-" if offset is None else f"{offset:+.{about.digits + 1}f} {about.unit}",
                "scatter": "-"
                if scatter is None
                else f"{scatter:.{about.digits + 1}f} {about.unit}",
            }
        )
    return rows


def _linearity_sentences(bias: LinearityStudy | None, about: Quantity) -> list[str]:
    if bias is None:
        return []
    found = [f"Mean bias of all shots: {bias.overall:+.{about.digits}f} {about.unit}."]
    line = bias.line
    if line is None:
        return [*found, bias.why_no_line]
    low, high = line.slope_interval()
    found.append(
        f"Along the range the bias changes by {line.slope:+.4f} {about.unit} per {about.unit} "
        f"(95 % interval {low:+.4f} to {high:+.4f}"
        + (
            f", p = {line.slope_probability:.3f}), "
            if line.slope_probability is not None
            else "), "
        )
        + (
            "which is more than chance: the gauge is not linear."
            if line.proven
            else "which may be chance."
        )
    )
    if line.lack_of_fit is not None and line.lack_of_fit < 0.05:
        found.append(
            f"A straight line does not describe it (p = {line.lack_of_fit:.3f}): look at each "
            "setting's bias."
        )
    found.append("The line takes shots as independent; people who differ make it surer than it is.")
    return found


def _cells(readings: Readings, about: Quantity) -> list[dict[str, Any]]:
    return [
        {
            "setting": name,
            "cells": [
                ", ".join(f"{v:.{about.digits}f}" for v in readings.cell(s, p)) or "-"
                for p in range(len(readings.people))
            ],
        }
        for s, name in enumerate(readings.settings)
    ]


def _people(readings: Readings | None) -> list[tuple[str, str]]:
    return [(person_code(i), p) for i, p in enumerate(readings.people)] if readings else []


def _days(findings: StudyFindings) -> str:
    """First and last day by the photos' own times."""
    times = [s.result.photo.taken_at for s in findings.study.taken.values()]
    days = sorted(t[:10] for t in times if t)
    if not days:
        return ""
    return f"on {days[0]}" if days[0] == days[-1] else f"from {days[0]} to {days[-1]}"


def _percent(share: float | None) -> str:
    return "-" if share is None else percent(share)
