"""Invented studies: results of checks that nobody made, taken into plans by the real code."""

from __future__ import annotations

from collections.abc import Callable
from hashlib import sha256
from pathlib import Path
from typing import Any

import numpy as np

from rigvision.decision.reasons import Reason
from rigvision.decision.result import (
    CheckResult,
    GapResult,
    PhotoFacts,
    TurnsResult,
    ViewResult,
    YokeResult,
)
from rigvision.report.as_json import as_json
from rigvision.training.study_plan import StudyPlan, plan_bytes, plan_study
from rigvision.training.study_shot import Study, keep_shot, read_study
from rigvision.training.study_wanted import checked
from rigvision.world.catalogue import load
from rigvision.world.frame import Frame

PEOPLE = ("A. Fitter", "B. Rigger", "C. Smith")
#: Gaps of eight settings and what the verdict on them should be.
GAPS_MM = (0.50, 0.60, 0.68, 0.75, 0.82, 0.90, 0.98, 1.10)


def invented_result(
    gap_mm: float | None, name: str, verdict: str = "pass", **changes: Any
) -> CheckResult:
    """A check with a gap and nothing else; its photo's hash follows from its name."""
    gap = GapResult(gap_mm, 0.06, 2.0, 0.99, 0.55, 1.05, 0.0, 0.04, ())
    facts = {
        "photo": PhotoFacts(name, sha256(name.encode()).hexdigest(), 4000, 3000, None),
        "gauge": "RG-10",
        "frame": "DF-10",
        "door": None,
        "camera": "generic-phone",
        "verdict": verdict,
        "borderline": False,
        "reasons": (Reason("glare", "Glare covers the gap.", "Tilt the torch."),)
        if verdict == "retake"
        else (),
        "gap": gap,
        "yoke": YokeResult(),
        "turns": TurnsResult(None, None, None, None, ""),
        "uncertainty_budget": (),
        "view": ViewResult(None, None, None, ()),
        "version": "0.1.0",
    }
    return CheckResult(**(facts | changes))


def invented_plan(**changes: Any) -> StudyPlan:
    """Eight settings with known gaps, three people, three shots."""
    wanted = {
        "name": "Gap by phone, spring",
        "frame": "DF-10",
        "shots": 3,
        "seed": 7,
        "people": list(PEOPLE),
        "setting": [
            {
                "name": f"door {i}, {gap:.2f}",
                "door": i,
                "reference_mm": gap,
                "reference_expanded_uncertainty_mm": 0.01,
                "reference_verdict": "pass" if 0.55 <= gap <= 1.05 else "adjust",
            }
            for i, gap in enumerate(GAPS_MM, 1)
        ],
    }
    return plan_study(checked(wanted | changes), load(Frame, "DF-10"))


def plan_into(folder: Path, plan: StudyPlan) -> Study:
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "plan.json").write_bytes(plan_bytes(plan))
    return read_study(folder)


def drawn_gap(
    plan: StudyPlan,
    seed: int = 1,
    people_mm: float = 0.01,
    interaction_mm: float = 0.0,
    shots_mm: float = 0.02,
) -> Callable[[str, str], float]:
    """Readings of a setting by a person: its known gap, what people add, what shots add."""
    rng = np.random.default_rng(seed)
    person = {p: rng.normal(0, people_mm) for p in plan.people}
    cell = {(s.name, p): rng.normal(0, interaction_mm) for s in plan.settings for p in plan.people}
    known = {
        s.name: s.reference if s.reference is not None else 0.8 + 0.05 * i
        for i, s in enumerate(plan.settings)
    }

    def read(setting: str, who: str) -> float:
        middle = known[setting] + person[who] + cell[setting, who]
        return round(middle + rng.normal(0, shots_mm), 5)

    return read


def fill(
    study: Study,
    read: Callable[[str, str], float],
    skip: Callable[[Any], bool] = lambda planned: False,
) -> Study:
    """Take every shot that is not skipped; the verdict follows from the reading."""
    for planned in study.plan.order:
        if skip(planned):
            continue
        gap = read(planned.setting, planned.person)
        verdict = "pass" if 0.60 <= gap <= 1.00 else "adjust"
        result = invented_result(gap, f"IMG_{planned.shot:04d}.jpg", verdict)
        keep_shot(study, planned.shot, None, as_json(result), again=False)
    return study
