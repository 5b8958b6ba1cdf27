"""Plans: every cell, in random order; what cannot be planned is said in a sentence."""

from __future__ import annotations

import json
from collections import Counter
from pathlib import Path

import pytest

from rigvision.ground.errors import RigvisionError, UsageError
from rigvision.training.study_error import StudyError
from rigvision.training.study_page import plan_page
from rigvision.training.study_plan import plan_bytes, plan_study, read_plan
from rigvision.training.study_wanted import checked, read_wanted
from rigvision.world.catalogue import load
from rigvision.world.frame import Frame
from tests.invented_study import PEOPLE, invented_plan

WANTED = {
    "name": "S",
    "frame": "DF-10",
    "shots": 2,
    "people": ["A. One", "B. Two"],
    "setting": [{"name": "tight"}, {"name": "wide", "door": 3}],
}


def test_every_cell_is_shot_as_often_as_was_asked():
    plan = invented_plan()
    counts = Counter((s.setting, s.person) for s in plan.order)
    assert len(counts) == 8 * 3
    assert set(counts.values()) == {3}
    assert [s.shot for s in plan.order] == list(range(1, 73))


def test_nobody_shoots_a_setting_again_before_everybody_has_shot_all():
    plan = invented_plan()
    rounds = [plan.order[i : i + 24] for i in (0, 24, 48)]
    for number, shots in enumerate(rounds, 1):
        assert {s.repeat for s in shots} == {number}
    assert [s.setting for s in rounds[0]] != [s.setting for s in rounds[1]]


def test_the_same_seed_is_the_same_order_and_another_is_not():
    assert invented_plan(seed=7) == invented_plan(seed=7)
    assert invented_plan(seed=7).order != invented_plan(seed=8).order


def test_a_seed_that_was_not_given_is_stated():
    plan = plan_study(checked(WANTED), load(Frame, "DF-10"))
    again = plan_study(checked(WANTED | {"seed": plan.seed}), load(Frame, "DF-10"))
    assert again.order == plan.order


def test_nested_settings_go_round_or_to_whom_they_are_given():
    plan = invented_plan(kind="nested")
    owners = {(s.setting, s.person) for s in plan.order}
    assert len(owners) == 8
    assert Counter(p for _, p in owners) == {PEOPLE[0]: 3, PEOPLE[1]: 3, PEOPLE[2]: 2}
    given = checked(
        WANTED
        | {
            "kind": "nested",
            "setting": [
                {"name": "a", "person": "B. Two"},
                {"name": "b", "person": "B. Two"},
            ],
        }
    )
    plan = plan_study(given, load(Frame, "DF-10"))
    assert {s.person for s in plan.order} == {"B. Two"}


def test_a_plan_is_read_as_it_was_written(tmp_path: Path):
    plan = invented_plan()
    (tmp_path / "plan.json").write_bytes(plan_bytes(plan))
    found, digest = read_plan(tmp_path)
    assert found == plan
    assert len(digest) == 64


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({"people": []}, "people"),
        ({"setting": []}, "setting"),
        ({"shots": 0}, "shots"),
        ({"people": ["A. One", "a one"]}, "twice"),
        ({"setting": [{"name": "x"}, {"name": "X"}]}, "two settings"),
        ({"setting": [{"name": "a\u202eb"}]}, "do not show"),
        ({"people": ["\x1b[31mRed"]}, "do not show"),
        ({"setting": [{"name": "x", "reference_deg": 1.0}]}, "unit"),
        ({"setting": [{"name": "x", "person": "A. One"}]}, "everybody"),
        ({"name": ""}, "empty"),
        ({"quantity": "weight"}, "quantity"),
        ({"setting": [{"name": f"{i}"} for i in range(200)], "shots": 50}, "2000"),
    ],
)
def test_what_cannot_be_planned_is_said(changes, word):
    with pytest.raises(RigvisionError) as refused:
        checked(WANTED | changes)
    assert word in refused.value.text
    assert refused.value.remedy


def test_a_door_that_the_frame_has_not():
    with pytest.raises(UsageError) as refused:
        invented_plan(setting=[{"name": "x", "door": 11}])
    assert refused.value.code == "no-such-door"


FILE = """
name = "Gap, spring"
frame = "DF-10"
shots = 2
seed = 3
people = ["A. One", "B. Two"]

[[setting]]
name = "door 1, tight"
door = 1
reference_mm = 0.6
reference_verdict = "adjust"

[[setting]]
name = "door 2"
"""


def test_a_study_file(tmp_path: Path):
    path = tmp_path / "study.toml"
    path.write_text(FILE)
    wanted = read_wanted(path)
    assert wanted.setting[0].reference_mm == 0.6
    assert wanted.setting[1].door is None
    path.write_text(FILE.replace("shots = 2", "shot = 2"))
    with pytest.raises(StudyError) as refused:
        read_wanted(path)
    assert "The study file" in refused.value.text
    assert "shots" in refused.value.text


@pytest.mark.parametrize(
    ("what", "change"),
    [
        ("no shot", lambda p: p.update(order=[])),
        ("a person that is not in it", lambda p: p["order"][0].update(person="X. Other")),
        ("a shot twice", lambda p: p["order"][1].update(p["order"][0] | {"shot": 2})),
        ("numbers with a gap", lambda p: p["order"][3].update(shot=40)),
        ("a name that turns the line", lambda p: p["people"].append("a\u202eb")),
        ("another schema", lambda p: p.update(schema="rigvision.study-plan/9")),
        ("a name twice", lambda p: p["settings"].append(p["settings"][0])),
    ],
)
def test_a_plan_that_was_changed_by_hand_is_refused(tmp_path: Path, what, change):
    plain = json.loads(plan_bytes(invented_plan()))
    change(plain)
    (tmp_path / "plan.json").write_text(json.dumps(plain))
    with pytest.raises(StudyError) as refused:
        read_plan(tmp_path)
    assert refused.value.code == "no-plan"


@pytest.mark.parametrize("content", [b"", b"[]", b"\xff", b"[" * 100_000, b"null"])
def test_what_is_no_plan_is_refused(tmp_path: Path, content):
    (tmp_path / "plan.json").write_bytes(content)
    with pytest.raises(StudyError):
        read_plan(tmp_path)


def test_no_plan_at_all(tmp_path: Path):
    with pytest.raises(StudyError) as refused:
        read_plan(tmp_path)
    assert "study plan" in refused.value.remedy


def test_the_page_has_a_line_a_shot_and_runs_nothing():
    plan = invented_plan(people=["<script>alert(1)</script>", "B. Two"])
    page = plan_page(plan)
    assert "<script" not in page
    assert "&lt;script&gt;" in page
    assert page.count('class="tick"') == len(plan.order)
    assert "seed 7" in page
    assert "http" not in page.replace("http-equiv", "")
