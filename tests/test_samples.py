"""The path-traced sample pictures: every verdict right, every figure near its truth.

The pictures were drawn by a path tracer that shares no code with the chain; their truth lies
beside them. Limits are a little wider than the errors measured (README, docs/accuracy.md):
a change that makes a figure worse shows here, one that makes it better moves the limits.
"""

import json
from functools import cache
from pathlib import Path

import pytest

import rigvision

FOLDER = Path(__file__).parent.parent / "sample_images"
PICTURES = sorted(FOLDER.glob("*.jpg"))
READABLE = [
    p
    for p in PICTURES
    if json.loads(p.with_suffix(".truth.json").read_text())["verdict"] != "retake"
]
name = pytest.mark.parametrize("picture", PICTURES, ids=lambda p: p.stem)
readable = pytest.mark.parametrize("picture", READABLE, ids=lambda p: p.stem)


@cache
def checked(picture: Path):
    return rigvision.check(picture)


def truth(picture: Path) -> dict:
    return json.loads(picture.with_suffix(".truth.json").read_text())


def test_there_are_enough_pictures_and_they_are_small():
    assert len(PICTURES) >= 14
    assert sum(p.stat().st_size for p in PICTURES) < 30e6


@name
def test_the_verdict_is_right(picture):
    assert checked(picture).verdict == truth(picture)["verdict"]


@name
def test_what_is_wrong_is_named(picture):
    named = {reason.code for reason in checked(picture).reasons}
    assert set(truth(picture)["codes"]) <= named


@readable
def test_the_gap_is_near_its_truth(picture):
    # The worst measured are 0.104 mm, where glare clips the light on the sill's round, and 0.102.
    assert checked(picture).gap.mean_mm == pytest.approx(truth(picture)["gap"]["mean_mm"], abs=0.12)


@readable
def test_the_truth_lies_within_the_stated_uncertainty_of_the_gap(picture):
    # k = 2 leaves one in twenty outside by right: 1.25 U. Beyond it lies one, at 1.41 U: in
    # head-torch-glare the sensor's limit clips the highlight on the sill's round.
    gap = checked(picture).gap
    error_mm = gap.mean_mm - truth(picture)["gap"]["mean_mm"]
    limit = 1.5 if picture.stem == "head-torch-glare" else 1.25
    assert abs(error_mm) <= limit * gap.expanded_uncertainty_mm


@readable
def test_the_turns_are_near_their_truth(picture):
    # The worst measured is 0.0020, a twentieth of the aim.
    found = checked(picture).turns.value
    assert found == pytest.approx(truth(picture)["turns"]["value"], abs=0.0024)


@readable
def test_the_yoke_is_near_its_truth(picture):
    found, true = checked(picture).yoke, truth(picture)["yoke"]
    # A fifth more than the worst measured; where few lines show on a barrel in the dark, offset
    # and clock are in doubt together (shadow-along-gap: 0.072 mm and 0.71 deg).
    assert found.lateral_offset_mm == pytest.approx(true["lateral_offset_mm"], abs=0.087)
    assert found.tilt_deg == pytest.approx(true["tilt_deg"], abs=0.09)
    assert found.seat_gap_mm == pytest.approx(true["seat_gap_mm"], abs=0.052)
    assert found.clock_deg == pytest.approx(true["clock_deg"], abs=0.85)
