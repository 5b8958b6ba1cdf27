"""What is said of marks that were not read: by cause, with their places in the picture."""

from __future__ import annotations

import pytest

from rigvision.decision.lost_marks import UnreadMark, noted, too_few
from rigvision.decision.reasons import reason

FACTS = {"found": 3, "total": 8, "needed": 4, "missing": "100, 101, 103, 104, 106"}
PLACES = {
    100: (-90.0, -70.0),
    101: (2.0, -70.0),
    102: (90.0, -70.0),
    103: (-90.0, 1.0),
    104: (90.0, 0.0),
    105: (-90.0, 70.0),
    106: (0.0, 70.0),
    107: (90.0, 70.0),
}


def marks(cause: str, *ids: int) -> list[UnreadMark]:
    return [UnreadMark(i, cause, PLACES[i]) for i in ids]


def said(lost: list[UnreadMark]):
    code, facts = too_few(lost, FACTS)
    return reason(code, **facts)


def test_covered_marks_are_to_be_wiped_and_are_named_by_place():
    found = said(marks("hidden", 100, 101, 103, 104, 106))
    assert found.code == "too-few-marks"
    assert "3 of 8" in found.text
    assert "100 (upper left), 101 (upper), 103 (left), 104 (right), 106 (lower)" in found.text
    assert found.remedy == "Uncover and wipe these marks, and take it again."


@pytest.mark.parametrize(
    ("ids", "words"),
    [
        ((102, 104, 107), "to the right"),
        ((100, 101, 102), "up"),
        ((103, 105, 106), "down and to the left"),
    ],
)
def test_marks_outside_the_picture_say_which_way_to_aim(ids, words):
    found = said(marks("outside", *ids))
    assert found.code == "gauge-cut-off"
    assert f"aim further {words}," in found.remedy


def test_blown_marks_are_glares_fault_and_black_ones_want_light():
    glare = said(marks("bright", 101, 102, 104) + marks("hidden", 100))
    assert glare.code == "glare"
    assert "the marks 101 (upper), 102 (upper right), 104 (right)" in glare.text
    assert "3 of 8 marks" in glare.text
    dark = said(marks("dark", 100, 103, 105, 106))
    assert dark.code == "too-few-marks"
    assert "Light the whole gauge" in dark.remedy


def test_marks_whose_places_nobody_knows_are_named_without():
    lost = [UnreadMark(i, "hidden", None) for i in (100, 101)]
    assert "100, 101" in said(lost).text
    assert "3 of 8" in said([]).text
    assert "100, 101, 103, 104, 106" in said([]).text


def test_marks_lost_beside_enough_others_are_noted_by_cause():
    code, facts = noted(marks("hidden", 101) + marks("outside", 104, 107))
    text = reason(code, **facts).text
    assert "101 (upper) covered or dirty; 104 (right), 107 (lower right) outside" in text
