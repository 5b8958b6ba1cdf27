"""The invented study that the documents show."""

from __future__ import annotations

from pathlib import Path

from rigvision.training.study_shot import Study

from .invented import drawn_gap, fill, invented_plan, plan_into


def write_example(folder: Path) -> Path:
    """Plan and shots of the example, into a folder that has no study yet."""
    example_study(folder)
    return folder


def example_study(folder: Path) -> Study:
    """Eight doors, three people, three shots; one of the people reads 0.03 mm too wide, and left
    before her last shots."""
    plan = invented_plan()
    read = drawn_gap(plan, seed=4, people_mm=0.004, shots_mm=0.011)
    late = plan.people[2]
    return fill(
        plan_into(folder, plan),
        lambda setting, person: read(setting, person) + (0.03 if person == late else 0.0),
        lambda planned: planned.person == late and planned.shot > 64,
    )
