"""A result as the JSON object that programs read. Keys are only ever added."""

from __future__ import annotations

from dataclasses import asdict
from math import isfinite
from typing import TYPE_CHECKING, Any

from rigvision.decision.result import BudgetLine, CheckResult, GapResult
from rigvision.ground.errors import RigvisionError

if TYPE_CHECKING:
    from rigvision.metrology.monte_carlo import MonteCarlo

#: 0.01 micrometre, far below any uncertainty here; more digits would only pretend.
DECIMALS = 5

#: Digits kept of sensitivities and inputs, which come in units of any size.
DIGITS = 4

#: What a gap looks like where not even the frame, and so no limit, is known.
_NO_GAP: dict[str, Any] = {
    "mean_mm": None,
    "expanded_uncertainty_mm": None,
    "coverage_factor": None,
    "conformance_probability": None,
    "lower_mm": None,
    "upper_mm": None,
    "taper_mm": None,
    "taper_expanded_uncertainty_mm": None,
    "taper_coverage_factor": None,
    "acceptance_lower_mm": None,
    "acceptance_upper_mm": None,
    "stations": [],
}


def as_json(result: CheckResult, monte_carlo: MonteCarlo | None = None) -> dict[str, Any]:
    """The object of schema ``rigvision.check/1``, ready for ``json.dumps``.

    ``monte_carlo`` is added under its own key where it was run. Raises ValueError if a figure
    is not finite: that is a mistake of ours, and neither NaN nor a silent null may hide it.
    """
    plain = {
        "schema": result.schema,
        "photo": asdict(result.photo),
        "gauge": result.gauge,
        "frame": result.frame,
        "door": result.door,
        "camera": result.camera,
        "verdict": result.verdict,
        "borderline": result.borderline,
        "reasons": [asdict(r) for r in result.reasons],
        "gap": _gap(result.gap),
        "yoke": asdict(result.yoke),
        "turns": asdict(result.turns),
        "uncertainty_budget": [_budget_line(line) for line in result.uncertainty_budget],
        "view": asdict(result.view),
        "version": result.version,
        "decision": None if result.decision is None else asdict(result.decision),
    }
    if monte_carlo:
        plain["monte_carlo"] = {"draws": monte_carlo.draws, "seed": monte_carlo.seed} | {
            "quantities": [asdict(c) for c in monte_carlo.comparisons]
        }
    rounded: dict[str, Any] = _rounded(plain, "result")
    return rounded


def error_as_json(name: str, error: RigvisionError) -> dict[str, Any]:
    """What stands in the place of a photo that could not be read."""
    code, text = error.code, f"{error.text} {error.remedy}"
    return {"photo": {"name": name}, "error": {"code": code, "text": text}}


def _gap(gap: GapResult | None) -> dict[str, Any]:
    return dict(_NO_GAP) if gap is None else asdict(gap)


def _budget_line(line: BudgetLine) -> dict[str, Any]:
    """Lengths carry mm alone; angles carry null mm and their degrees beside it."""
    plain = asdict(line)
    for key in ("sensitivity", "input_standard_uncertainty"):
        if plain[key] is not None:
            plain[key] = _Exact(f"{plain[key]:.{DIGITS}g}")
    if line.standard_uncertainty_deg is None:
        del plain["standard_uncertainty_deg"]
    return plain


class _Exact(float):
    """A figure that is rounded already."""


def _rounded(value: Any, where: str) -> Any:
    """Floats to DECIMALS, tuples to lists, -0.0 to 0.0."""
    if isinstance(value, dict):
        return {key: _rounded(item, f"{where}.{key}") for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_rounded(item, f"{where}[{i}]") for i, item in enumerate(value)]
    if isinstance(value, bool) or not isinstance(value, float):
        return value
    if not isfinite(value):
        raise ValueError(f"{where} is {value}")
    return float(value) if isinstance(value, _Exact) else round(float(value), DECIMALS) + 0.0
