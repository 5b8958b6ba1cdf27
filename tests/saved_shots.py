"""Saved results with chosen figures, and records of them, for the tests of pages."""

from __future__ import annotations

import json
from typing import Any

from recorded.invented import begun, record_check
from recorded.invented import job as job

from rigvision.records.ledger import Ledger
from rigvision.report.saved_result import SavedResult, parse_saved

QUANTITIES = ("gap", "taper", "lateral_offset", "tilt")
LIMITS = {"gap": (0.5, 1.0), "taper": (-0.2, 0.2), "lateral_offset": (-0.5, 0.5), "tilt": (-1, 1)}
UNITS = {"tilt": "deg"}
STATIONS_MM = (-30.0, -10.0, 10.0, 30.0)


def plain_result(*probabilities: float, **more: Any) -> dict[str, Any]:
    """What ``--json`` prints, as far as pages look at it: a characteristic a probability."""
    verdict = "retake" if not probabilities else "pass" if min(probabilities) > 0.95 else "adjust"
    reasons = [] if verdict == "pass" else [_reason(verdict)]
    found = {
        "schema": "rigvision.check/1",
        "photo": {
            "name": "photo.jpg",
            "sha256": "0" * 64,
            "width_px": 4000,
            "height_px": 3000,
            "taken_at": "2026-02-03T10:11:12",
        },
        "gauge": "RG-10",
        "frame": "DF-10",
        "door": 3,
        "camera": "generic-phone",
        "verdict": verdict,
        "borderline": verdict == "adjust" and 0.05 < min(probabilities) < 0.95,
        "reasons": reasons,
        "gap": _gap(probabilities[0]) if probabilities else None,
        "yoke": {},
        "turns": _turns(verdict),
        "uncertainty_budget": _budget() if probabilities else [],
        "view": {
            "distance_mm": 260.0,
            "tilt_deg": 8.0,
            "px_per_mm": 14.2,
            "marks_found": [0, 1, 2, 3],
        },
        "version": "0.1.0",
        "decision": _decision(probabilities) if probabilities else None,
    }
    return found | more


def saved(*probabilities: float, **more: Any) -> SavedResult:
    (result,) = parse_saved(json.dumps(plain_result(*probabilities, **more)).encode())
    assert isinstance(result, SavedResult)
    return result


def judged(ledger: Ledger, record: str, result: SavedResult, **more: Any) -> str:
    """Record an invented check with this result's figures; its photo is no picture."""
    if ledger.head().count == 1:
        begun(ledger, job())
    probabilities = [c.conformance_probability for c in _characteristics_of(result)]
    plain = plain_result(*probabilities)
    plain["photo"]["name"] = result.photo.name
    record_check(ledger, record, figures=plain, **more)
    return record


def _characteristics_of(result: SavedResult) -> Any:
    return result.decision.characteristics if result.decision else ()


def _reason(verdict: str) -> dict[str, str]:
    if verdict == "adjust":
        return {"code": "gap-high", "text": "The gap is too wide.", "remedy": "Close the door."}
    return {"code": "no-gauge", "text": "No rig gauge was found.", "remedy": "Take it again."}


def _gap(probability: float) -> dict[str, Any]:
    stations = [
        {"x_mm": x, "gap_mm": 0.9 + 0.001 * x, "expanded_uncertainty_mm": 0.11} for x in STATIONS_MM
    ]
    return {
        "mean_mm": 0.9,
        "expanded_uncertainty_mm": 0.1,
        "coverage_factor": 2.1,
        "conformance_probability": probability,
        "lower_mm": 0.5,
        "upper_mm": 1.0,
        "taper_mm": 0.06,
        "taper_expanded_uncertainty_mm": 0.08,
        "stations": stations,
        "taper_coverage_factor": 2.0,
        "acceptance_lower_mm": 0.58,
        "acceptance_upper_mm": 0.92,
    }


def _turns(verdict: str) -> dict[str, Any]:
    adjust = verdict == "adjust"
    return {
        "value": 0.25 if adjust else None,
        "expanded_uncertainty": 0.1 if adjust else None,
        "direction": "close" if adjust else None,
        "source": "gap" if adjust else None,
        "instruction": "Turn 1/4 to close." if adjust else "",
    }


def _budget() -> list[dict[str, Any]]:
    shares = (("edge definition", "B", 0.6), ("scale", "A", 0.3), ("marks", "B", 0.1))
    return [
        {
            "quantity": "gap",
            "source": source,
            "type": kind,
            "standard_uncertainty_mm": round(0.05 * share**0.5, 5),
            "share": share,
        }
        for source, kind, share in shares
    ]


def _decision(probabilities: tuple[float, ...]) -> dict[str, Any]:
    found = [
        {
            "quantity": quantity,
            "unit": UNITS.get(quantity, "mm"),
            "value": 0.9 if quantity == "gap" else 0.06,
            "expanded_uncertainty": 0.1,
            "lower": float(LIMITS[quantity][0]),
            "upper": float(LIMITS[quantity][1]),
            "acceptance_lower": None,
            "acceptance_upper": None,
            "conformance_probability": probability,
            "accepted": probability >= 0.95,
        }
        for quantity, probability in zip(QUANTITIES, probabilities, strict=False)
    ]
    return {
        "rule": "guarded-acceptance",
        "conformance_probability": 0.95,
        "joint_risk": None,
        "joint_risk_independent": None,
        "joint_risk_at_most": None,
        "characteristics": found,
    }
