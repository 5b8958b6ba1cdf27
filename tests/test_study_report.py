"""A study's findings, what is said of them, and the page."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest

from rigvision.report.as_json import as_json
from rigvision.training.study_findings import StudyFindings, study_findings
from rigvision.training.study_json import report_as_json
from rigvision.training.study_page import report_page
from rigvision.training.study_plots import person_code, study_plots
from rigvision.training.study_shot import keep_shot
from rigvision.training.study_words import judgement
from rigvision.world.catalogue import load
from rigvision.world.frame import Frame
from tests.invented_study import (
    PEOPLE,
    drawn_gap,
    fill,
    invented_plan,
    invented_result,
    plan_into,
)


def found(folder: Path, skip: Any = lambda planned: False, **how: Any) -> StudyFindings:
    """A study filled with drawn readings; ``how`` is of the plan and of what is drawn."""
    drawn = {k: how.pop(k) for k in ("people_mm", "interaction_mm", "shots_mm") if k in how}
    plan = invented_plan(**how)
    study = plan_into(folder / "study", plan)
    fill(study, drawn_gap(plan, **drawn), skip)
    return study_findings(study, load(Frame, "DF-10"))


class Page(HTMLParser):
    """Tags, attributes and text as a browser would take them."""

    def __init__(self, content: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str]] = []
        self.text = ""
        self.feed(content)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += [(name, value or "") for name, value in attrs]

    def handle_data(self, data: str) -> None:
        self.text += f"{data} "


def page_of(findings: StudyFindings) -> Page:
    return Page(report_page(findings, "2026-05-01"))


#: A handful of settings without a known verdict, so that nothing but the spread counts.
PLAIN = [{"name": f"s{i}"} for i in range(8)]


@pytest.mark.parametrize(("shots_mm", "call"), [(0.004, "good"), (0.015, "care"), (0.05, "poor")])
def test_the_call_follows_the_share_of_the_tolerance(tmp_path, shots_mm, call):
    """Six deviations of the tolerance of 0.5 mm: some 5, 18 and 60 %."""
    findings = found(tmp_path, shots_mm=shots_mm, people_mm=0.0, setting=PLAIN)
    judged = judgement(findings)
    assert judged.call == call
    assert judged.headline in page_of(findings).text
    assert "shot" in judged.first
    assert judged.first.startswith("Nothing must be") == (call == "good")


def test_people_who_differ_are_named_first(tmp_path):
    plan = invented_plan(setting=PLAIN)
    study = plan_into(tmp_path / "study", plan)
    read = drawn_gap(plan, people_mm=0.0, shots_mm=0.005)
    apart_mm = dict(zip(PEOPLE, (-0.03, -0.02, 0.07), strict=True))
    fill(study, lambda setting, person: read(setting, person) + apart_mm[person])
    judged = judgement(study_findings(study, load(Frame, "DF-10")))
    assert judged.call == "poor"
    assert "one person from another" in judged.first
    assert re.search(rf"{re.escape(PEOPLE[2])} reads .* 0.06\d mm above", judged.first)


def test_an_interaction_is_kept_and_named_first(tmp_path):
    findings = found(tmp_path, interaction_mm=0.06, people_mm=0.0, shots_mm=0.005, setting=PLAIN)
    assert findings.gauge.chosen.method == "with-interaction"
    assert "certain settings" in judgement(findings).first


def test_good_is_not_said_where_the_interval_reaches_too_far(tmp_path):
    """Two people tell hardly anything of people: the upper end lies beyond what can be used."""
    findings = found(
        tmp_path, people=["A. One", "B. Two"], people_mm=0.005, shots_mm=0.003, setting=PLAIN
    )
    gauge = findings.gauge.chosen.component("gauge")
    assert findings.gauge.chosen.share_of_tolerance(gauge) < 0.1
    assert findings.gauge.chosen.share_of_tolerance_interval(gauge)[1] > 0.3
    assert judgement(findings).call == "care"


def test_a_wrong_pass_comes_before_everything(tmp_path):
    """At setting 1, 0.50 mm, everything passes though it must not."""
    plan = invented_plan()
    study = plan_into(tmp_path / "study", plan)
    read = drawn_gap(plan, shots_mm=0.003, people_mm=0.0)
    for planned in plan.order:
        gap = read(planned.setting, planned.person)
        verdict = "pass" if 0.62 <= gap <= 0.98 or gap < 0.55 else "adjust"
        result = invented_result(gap, f"{planned.shot}.jpg", verdict)
        keep_shot(study, planned.shot, None, as_json(result), again=False)
    judged = judgement(study_findings(study, load(Frame, "DF-10")))
    assert judged.call == "care"
    assert judged.reasons[0].startswith("9 of ")
    assert "wrong pass" in judged.first


def test_a_bias_larger_than_the_spread_comes_first(tmp_path):
    plan = invented_plan(
        setting=[{"name": f"s{i}", "reference_mm": 0.6 + 0.1 * i} for i in range(4)]
    )
    study = plan_into(tmp_path / "study", plan)
    read = drawn_gap(plan, shots_mm=0.005, people_mm=0.0)
    fill(study, lambda setting, person: read(setting, person) + 0.06)
    judged = judgement(study_findings(study, load(Frame, "DF-10")))
    assert judged.call == "care"
    assert any("too large" in reason for reason in judged.reasons)
    assert "calibration" in judged.first


def test_claims_smaller_than_the_spread_are_said(tmp_path):
    """Photos claim 0.03 mm; the shots drawn scatter by 0.05."""
    reasons = " ".join(judgement(found(tmp_path, shots_mm=0.05, setting=PLAIN)).reasons)
    assert "less than the spread found" in reasons


def test_good_is_not_said_where_photos_claim_too_little(tmp_path):
    """Shots scatter by 0.004 mm, six of which are 5 % of the tolerance; photos claim 0.002 mm."""
    plan = invented_plan(setting=PLAIN)
    read = drawn_gap(plan, people_mm=0.0, shots_mm=0.004)
    calls = {}
    for claimed_mm in (0.002, 0.01):
        study = plan_into(tmp_path / f"{claimed_mm}", plan)
        for planned in plan.order:
            result = invented_result(read(planned.setting, planned.person), f"{planned.shot}.jpg")
            gap = replace(result.gap, expanded_uncertainty_mm=2 * claimed_mm)
            plain = as_json(replace(result, gap=gap))
            keep_shot(study, planned.shot, None, plain, again=False)
        calls[claimed_mm] = judgement(study_findings(study, load(Frame, "DF-10"))).call
    assert calls == {0.002: "care", 0.01: "good"}


def test_settings_that_hardly_differ_are_not_held_against_the_gauge(tmp_path):
    alike = [{"name": f"s{i}", "reference_mm": 0.8 + 0.002 * i} for i in range(8)]
    reasons = " ".join(judgement(found(tmp_path, shots_mm=0.01, setting=alike)).reasons)
    assert "says more of them" in reasons


def test_an_empty_study_is_a_page_that_makes_sense(tmp_path):
    findings = found(tmp_path, skip=lambda planned: True)
    page = page_of(findings)
    assert "It cannot be told yet" in page.text
    assert "study take" in page.text
    assert "img" not in page.tags
    assert json.loads(json.dumps(report_as_json(findings)))["call"] == "unknown"


def test_a_single_photo_is_not_enough_and_says_so(tmp_path):
    findings = found(tmp_path, skip=lambda planned: planned.shot > 1)
    assert findings.gauge is None
    assert "at least two shots" in page_of(findings).text


def test_a_person_who_left_is_left_out_and_named(tmp_path):
    findings = found(tmp_path, skip=lambda planned: planned.person == PEOPLE[2])
    assert f"{PEOPLE[2]} has taken no shot and is left out." in findings.remarks
    assert findings.gauge.chosen.component("people") is not None
    assert PEOPLE[2] in page_of(findings).text


def test_a_person_who_left_midway_leaves_missing_cells(tmp_path):
    findings = found(
        tmp_path, skip=lambda planned: planned.person == PEOPLE[2] and planned.shot > 12
    )
    assert any(r.startswith(f"{PEOPLE[2]} has taken ") for r in findings.remarks)
    page = page_of(findings)
    assert "fitting constants" in page.text
    assert "same number of shots" in page.text  # why there are no averages and ranges


def test_one_person_alone(tmp_path):
    findings = found(tmp_path, people=["A. One"])
    assert any("Only one person" in r for r in findings.remarks)
    assert findings.gauge.chosen.component("people") is None
    page_of(findings)


def test_one_shot_a_cell(tmp_path):
    findings = found(tmp_path, shots=1)
    assert findings.gauge.chosen.method == "without-interaction"
    assert "No setting was shot twice" in page_of(findings).text


def test_a_nested_study(tmp_path):
    findings = found(tmp_path, kind="nested")
    assert findings.gauge.chosen.method == "nested"
    titles = {p.title for p in study_plots(findings)}
    assert "Interaction" not in titles
    assert "By person" in titles


def test_equal_readings_call_nothing_good(tmp_path):
    plan = invented_plan(setting=PLAIN)
    study = plan_into(tmp_path / "study", plan)
    fill(study, lambda setting, person: 0.8)
    findings = study_findings(study, load(Frame, "DF-10"))
    assert judgement(findings).call == "unknown"
    assert "equal" in page_of(findings).text


def test_a_negative_component_is_said(tmp_path):
    findings = found(tmp_path, people_mm=0.0, setting=PLAIN)
    chosen = findings.gauge.chosen
    assert ("people" in chosen.negative) == ("came out negative" in page_of(findings).text)
    for seed in range(20):  # half of all studies without differences have one
        plan = invented_plan(setting=PLAIN)
        study = plan_into(tmp_path / f"n{seed}", plan)
        fill(study, drawn_gap(plan, seed, people_mm=0.0))
        findings = study_findings(study, load(Frame, "DF-10"))
        if findings.gauge.chosen.negative:
            assert "counts as 0" in page_of(findings).text
            return
    pytest.fail("no study had a negative component")


def test_names_full_of_markup_are_shown_not_run(tmp_path):
    hostile = '<script>alert(1)</script> & "$\\alpha$"'
    findings = found(
        tmp_path,
        name="</title><script>x</script>",
        people=[hostile, "<img src=x onerror=y>"],
        setting=[{"name": f"<b>{i}</b>' onload='z"} for i in range(4)],
    )
    page = page_of(findings)
    assert "script" not in page.tags
    assert "b" not in page.tags
    assert hostile in page.text
    assert not any(name.startswith("on") for name, _ in page.attributes)
    assert {value[:19] for name, value in page.attributes if name == "src"} == {
        "data:image/svg+xml;"
    }
    for plot in study_plots(findings):
        assert b"alert" not in plot.svg
        assert b"alpha" not in plot.svg


def test_the_page_needs_no_network_and_says_what_can_be_seen(tmp_path):
    findings = found(tmp_path)
    page = page_of(findings)
    addresses = [v for n, v in page.attributes if n in ("src", "href", "action", "srcset")]
    assert all(a.startswith("data:") for a in addresses)
    assert [v for n, v in page.attributes if n == "alt" and len(v) < 20] == []
    assert ("content", "width=device-width, initial-scale=1") in page.attributes
    assert "url(" not in report_page(findings)
    assert len(report_page(findings)) < 600_000
    titles = [p.title for p in study_plots(findings)]
    assert titles == [
        "Components",
        "By setting",
        "By person",
        "Interaction",
        "Range chart",
        "Bias and linearity",
    ]
    for plot in study_plots(findings):
        root = ElementTree.fromstring(plot.svg)
        assert not [e for e in root.iter() if e.tag.endswith(("script", "image", "foreignObject"))]


def test_the_same_study_is_the_same_page(tmp_path):
    findings = found(tmp_path)
    assert report_page(findings, "x") == report_page(findings, "x")


def test_figures_for_programs_are_those_of_the_page(tmp_path):
    findings = found(tmp_path)
    plain = json.loads(json.dumps(report_as_json(findings), allow_nan=False))
    assert plain["limits"] == [0.55, 1.05]
    chosen = next(m for m in plain["methods"] if m["method"] == plain["chosen"])
    gauge = next(c for c in chosen["components"] if c["part"] == "gauge")
    assert re.search(rf"\b{gauge['standard_deviation']:.4f}\b", page_of(findings).text)


def test_codes_of_people():
    assert [person_code(i) for i in (0, 25, 26, 27, 49)] == ["A", "Z", "AA", "AB", "AX"]
