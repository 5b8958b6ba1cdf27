"""Which flags a check gets, from times and resemblances written down by hand."""

from __future__ import annotations

from dataclasses import replace
from string import Formatter

import pytest

from rigvision.records.bodies import Definition, Flag
from rigvision.records.flags import FLAGS, Checked, Earlier, Place, Relied, flags_of
from rigvision.records.sameness import Sameness

BEFORE = Place("J-0001", "ESN 1", "DF-10", 3, "before")
AFTER = replace(BEFORE, stage="after")
#: Opened at eight, photographed at nine, recorded a minute later; the phone is an hour ahead.
GOOD = Checked(
    BEFORE, "2026-03-05T10:00:00+01:00", "2026-03-05T09:01:00.000000Z", "2026-03-05T08:00:00Z"
)
SAME_PHOTO = Sameness("same-photo", "the camera stood in one place")
SAME_SETUP = Sameness("same-setup", "all figures agree")


def codes(flags: tuple[Flag, ...]) -> list[str]:
    return [f.code for f in flags]


def with_earlier(place: Place, earlier: Place, sameness: Sameness) -> list[str]:
    return codes(flags_of(replace(GOOD, place=place), [Earlier("K7Q2-M9XA", earlier, sameness)]))


def test_a_good_check_has_no_flags() -> None:
    assert flags_of(GOOD) == ()


@pytest.mark.parametrize("place", [BEFORE, AFTER, replace(BEFORE, door=4)])
def test_a_copy_counts_nowhere(place: Place) -> None:
    assert with_earlier(place, BEFORE, SAME_PHOTO) == ["same-photo"]


def test_several_photos_of_one_set_up_are_welcome() -> None:
    assert with_earlier(BEFORE, BEFORE, SAME_SETUP) == []


@pytest.mark.parametrize(
    "other",
    [
        replace(BEFORE, door=4),
        replace(BEFORE, engine="ESN 2"),
        replace(BEFORE, frame="DF-11"),
        replace(AFTER, job="J-0002", door=9),
    ],
)
def test_one_set_up_is_not_two_doors(other: Place) -> None:
    assert with_earlier(BEFORE, other, SAME_SETUP) == ["same-setup-other-door"]


@pytest.mark.parametrize("later", [AFTER, replace(BEFORE, job="J-0002")])
def test_an_untouched_door_has_no_after(later: Place) -> None:
    assert with_earlier(later, BEFORE, SAME_SETUP) == ["same-setup-after"]


def test_an_engine_is_the_same_however_it_is_typed() -> None:
    typed = replace(BEFORE, engine=" esn  1")
    assert with_earlier(typed, BEFORE, SAME_SETUP) == []


@pytest.mark.parametrize("kind", ["same-parts", "different", "unknown"])
def test_the_same_door_moved_is_no_flag(kind: str) -> None:
    assert with_earlier(AFTER, BEFORE, Sameness(kind)) == []  # type: ignore[arg-type]


def test_the_earlier_record_is_named_and_others_counted() -> None:
    earlier = [
        Earlier("K7Q2-M9XA", replace(BEFORE, engine="a\x1b[31mb\u202ec"), SAME_SETUP),
        Earlier("AAAA-BBBB", replace(BEFORE, door=5), SAME_SETUP),
    ]
    (flag,) = flags_of(GOOD, earlier)
    assert flag.record == "K7Q2-M9XA"
    assert "record K7Q2-M9XA and 1 more" in flag.text
    assert "all figures agree" in flag.text
    assert flag.text.isprintable()


@pytest.mark.parametrize(
    ("taken_at", "offset_min", "expected"),
    [
        (None, 0, ["taken-at-missing"]),
        ("2026-99-99T10:00:00", 0, ["taken-at-missing"]),
        ("0001-01-01T00:00:00", 600, ["taken-at-missing"]),  # no such day in UTC
        ("2026-03-05T07:57:59+00:00", 0, ["taken-before-job"]),
        ("2026-03-05T07:58:01+00:00", 0, []),  # clocks differ by less than two minutes
        ("2026-03-05T08:30:00+01:00", 0, ["taken-before-job"]),
        ("2026-03-05T08:30:00", 0, []),
        ("2026-03-05T08:30:00", 60, ["taken-before-job"]),  # 07:30 UTC
        ("2026-03-05T03:30:00", -300, []),  # 08:30 UTC
        ("2026-03-05T09:02:59Z", 0, []),
        ("2026-03-05T09:03:01Z", 0, ["taken-after-recording"]),
    ],
)
def test_when_it_was_taken(taken_at: str | None, offset_min: int, expected: list[str]) -> None:
    checked = replace(GOOD, taken_at=taken_at, clock_offset_min=offset_min)
    assert codes(flags_of(checked)) == expected


@pytest.mark.parametrize(
    ("due", "offset_min", "expected"),
    [
        (None, 0, []),
        ("2026-03-05", 0, []),  # holds to the end of the day
        ("2026-03-04", 0, ["calibration-overdue"]),
        ("2026-03-05", 15 * 60, ["calibration-overdue"]),  # here it is the 6th already
    ],
)
def test_calibration_due(due: str | None, offset_min: int, expected: list[str]) -> None:
    gauge = Definition("gauge", "RG-10", "0" * 64, due)
    checked = replace(GOOD, definitions=(gauge,), clock_offset_min=offset_min)
    assert codes(flags_of(checked)) == expected


def test_another_file_under_a_relied_name() -> None:
    frame, gauge = Definition("frame", "DF-10", "1" * 64), Definition("gauge", "RG-10", "2" * 64)
    checked = replace(GOOD, definitions=(gauge, frame))
    same = Relied("K7Q2-M9XA", frame)
    other = Relied("K7Q2-M9XA", replace(frame, sha256="3" * 64))
    namesake = Relied("K7Q2-M9XA", replace(frame, kind="camera", sha256="3" * 64))
    assert flags_of(checked, relied=[same, namesake]) == ()
    (flag,) = flags_of(checked, relied=[other])
    assert (flag.code, flag.record) == ("definition-changed", "K7Q2-M9XA")
    assert flag.text.startswith("The file of frame DF-10 is another than the one that record K7Q2")


def test_every_flag_says_what_was_found_and_what_to_do() -> None:
    for kind in FLAGS.values():
        assert kind.text.endswith(".")
        assert kind.remedy.endswith(".")
        assert not [name for _, name, _, _ in Formatter().parse(kind.remedy) if name]
