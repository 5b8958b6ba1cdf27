"""A study's report for programs."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from rigvision.training.component import Component
from rigvision.training.rr import GaugeStudy
from rigvision.training.study_findings import StudyFindings
from rigvision.training.study_words import judgement

SCHEMA = "rigvision.study-report/1"


def report_as_json(findings: StudyFindings) -> dict[str, Any]:
    """Figures in the quantity's unit; shares are parts of 1; what is not known is None."""
    plan, judged = findings.study.plan, judgement(findings)
    gauge, bias = findings.gauge, findings.bias
    return {
        "schema": SCHEMA,
        "name": plan.name,
        "frame": plan.frame,
        "quantity": plan.quantity,
        "unit": plan.about.unit,
        "limits": list(findings.limits),
        "planned": len(plan.order),
        "taken": len(findings.study.taken),
        "call": judged.call,
        "reasons": list(judged.reasons),
        "first": judged.first,
        "remarks": list(findings.remarks),
        "chosen": gauge.chosen.method if gauge else None,
        "why": gauge.why if gauge else findings.why_no_gauge,
        "methods": [_method(study) for study in gauge.all] if gauge else [],
        "not_possible": dict(gauge.missing) if gauge else {},
        "people": [asdict(tally) for tally in findings.tallies],
        "verdicts": asdict(findings.verdicts),
        "bias": asdict(bias) if bias else None,
        "claimed_standard_uncertainty": findings.claimed,
    }


def _method(study: GaugeStudy) -> dict[str, Any]:
    return {
        "method": study.method,
        "estimator": study.table.estimator if study.table else None,
        "components": [_component(study, c) for c in study.components],
        "distinct_categories": study.distinct_categories,
        "distinct_categories_interval": study.distinct_categories_interval,
        "negative": list(study.negative),
        "table": [
            {
                "source": line.source,
                "degrees_of_freedom": line.degrees_of_freedom,
                "sum_of_squares": line.sum_of_squares,
                "mean_square": line.value,
            }
            for line in (study.table.lines if study.table else ())
        ],
        "tests": [asdict(test) for test in study.tests],
    }


def _component(study: GaugeStudy, component: Component) -> dict[str, Any]:
    return {
        "part": component.part,
        "standard_deviation": component.deviation,
        "interval": component.deviation_interval,
        "estimated_variance": component.estimated,
        "share_of_study": study.share_of_study(component),
        "share_of_variance": study.share_of_variance(component),
        "share_of_tolerance": study.share_of_tolerance(component),
        "share_of_tolerance_interval": study.share_of_tolerance_interval(component),
    }
