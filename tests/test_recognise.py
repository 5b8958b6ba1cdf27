"""Which gauge a picture shows, and which frame it sits on, from the ids seen."""

from __future__ import annotations

from pathlib import Path

import pytest

from rigvision.ground.errors import Unmeasurable, UsageError
from rigvision.world.catalogue import models_folder
from rigvision.world.recognise import check_door, frame_for, recognise_gauge

DATA = Path(__file__).parent / "data"
RG_10 = list(range(100, 109))


def stopped(seen: list[int], wanted=None) -> Unmeasurable:
    with pytest.raises(Unmeasurable) as caught:
        recognise_gauge(seen, wanted)
    return caught.value


@pytest.fixture
def two_gauges(tmp_path, monkeypatch):
    """Models of two gauges and their frames, in a folder of their own."""
    for kind, name in (("gauges", "OG-2"), ("frames", "OF-2")):
        folder = tmp_path / kind
        folder.mkdir()
        for shipped in (models_folder() / kind).glob("*.toml"):
            (folder / shipped.name).write_bytes(shipped.read_bytes())
        (folder / f"{name}.toml").write_bytes((DATA / f"{name}.toml").read_bytes())
    monkeypatch.setenv("RIGVISION_MODELS", str(tmp_path))


def test_all_marks_of_a_gauge_name_it():
    assert recognise_gauge(RG_10, None).name == "RG-10"


def test_one_mark_is_enough_to_name_a_gauge():
    """Whether it is enough to measure with is another step's question."""
    assert recognise_gauge([104], None).name == "RG-10"


def test_nothing_seen_is_no_gauge():
    assert stopped([]).code == "no-gauge"


def test_a_single_foreign_tag_may_be_a_sticker():
    assert stopped([7]).code == "no-gauge"
    assert recognise_gauge([*RG_10, 7], None).name == "RG-10"


def test_foreign_tags_alone_are_a_wrong_gauge_and_are_named():
    error = stopped([300, 301, 302])
    assert error.code == "wrong-gauge"
    assert error.facts["ids"] == "300, 301, 302"


def test_more_foreign_tags_than_own_are_a_wrong_gauge(gauge):
    error = stopped([100, 300, 301, 302], gauge)
    assert error.code == "wrong-gauge"
    assert error.facts["wanted"] == "gauge RG-10"


def test_marks_seen_twice_are_two_gauges():
    error = stopped([*RG_10, 101, 103, 106])
    assert error.code == "two-gauges"
    assert error.facts["ids"] == "101, 103, 106"


def test_one_mark_seen_twice_is_a_reflection_and_forgiven():
    assert recognise_gauge([*RG_10, 101], None).name == "RG-10"


def test_each_of_two_known_gauges_is_told_from_the_other(two_gauges):
    assert recognise_gauge([20, 21, 22, 23, 24], None).name == "OG-2"
    assert recognise_gauge(RG_10, None).name == "RG-10"


def test_two_known_gauges_side_by_side_are_two_gauges(two_gauges):
    assert stopped([*RG_10, 20, 21, 22]).code == "two-gauges"


def test_the_other_known_gauge_is_wrong_where_one_was_named(two_gauges, gauge):
    assert stopped([20, 21, 22, 23, 24, 25], gauge).code == "wrong-gauge"


def test_a_gauge_with_one_frame_brings_it_along(two_gauges, gauge):
    assert frame_for(gauge, None).name == "DF-10"


def test_a_frame_that_takes_another_gauge_is_refused(gauge, frame):
    other = frame.model_copy(update={"gauges": ("XX-1",)})
    with pytest.raises(UsageError) as caught:
        frame_for(gauge, other)
    assert "RG-10" in caught.value.text
    assert "XX-1" in caught.value.remedy


def test_a_gauge_that_no_known_frame_takes_asks_for_one(gauge):
    lonely = gauge.model_copy(update={"name": "XX-1"})
    with pytest.raises(UsageError, match="--frame"):
        frame_for(lonely, None)


@pytest.mark.parametrize("door", [0, -1, 11])
def test_a_door_that_the_frame_does_not_have_is_refused(door, frame):
    with pytest.raises(UsageError, match=f"doors 1 to 10, not {door}"):
        check_door(door, frame)


@pytest.mark.parametrize("door", [None, 1, 10])
def test_a_door_of_the_frame_or_none_is_fine(door, frame):
    check_door(door, frame)
