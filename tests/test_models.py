"""Model files: every mistake gets a sentence with file, table, key, value and what is allowed."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rigvision.ground.errors import ModelError, UsageError
from rigvision.world.camera import Camera
from rigvision.world.catalogue import load, load_all, models_folder, names
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge

KINDS = {"gauges/RG-10": Gauge, "frames/DF-10": Frame, "cameras/generic-phone": Camera}


def source(name: str) -> str:
    return (models_folder() / f"{name}.toml").read_text(encoding="utf-8")


def complaint(tmp_path: Path, name: str, old: str, new: str) -> str:
    """What is said about a shipped model in which one thing was changed."""
    text = source(name)
    assert text.count(old) == 1, f"{old!r} must stand once in {name}"
    path = tmp_path / "changed.toml"
    path.write_text(text.replace(old, new), encoding="utf-8")
    with pytest.raises(ModelError) as caught:
        load(KINDS[name], str(path))
    assert caught.value.code == "model-invalid"
    assert str(path) in caught.value.text
    assert caught.value.remedy
    return caught.value.text


#: Model, what is changed into what, and what the sentence must name.
WRONG = [
    pytest.param(
        "gauges/RG-10", "size_mm = 14.0", "", ["[marks] size_mm", "missing"], id="missing key"
    ),
    pytest.param(
        "gauges/RG-10",
        "size_mm = 14.0",
        "size_in = 0.551",
        ["[marks] size_mm is missing", "[marks] size_in", "not known", "size_mm meant"],
        id="wrong unit",
    ),
    pytest.param(
        "gauges/RG-10", "size_mm = 14.0", "size_mm = nan", ["[marks] size_mm", "nan", "finite"],
        id="nan",
    ),
    pytest.param(
        "frames/DF-10", "upper_mm = 1.05", "upper_mm = inf", ["[gap] upper_mm", "inf", "finite"],
        id="infinite",
    ),
    pytest.param(
        "gauges/RG-10",
        "size_mm = 14.0",
        "size_mm = -14.0",
        ["[marks] size_mm", "-14.0", "greater than 0"],
        id="negative size",
    ),
    pytest.param(
        "frames/DF-10",
        "radius_mm = 7.0",
        "radius_mm = 0.0",
        ["[socket] radius_mm", "0.0", "greater than 0"],
        id="zero radius",
    ),
    pytest.param(
        "gauges/RG-10",
        "size_mm = 14.0",
        'size_mm = "14 mm"',
        ["[marks] size_mm", "14 mm", "valid number"],
        id="text for a number",
    ),
    pytest.param(
        "frames/DF-10",
        "doors = 10",
        "doors = 10.5",
        ["doors", "10.5", "valid integer"],
        id="fraction of a door",
    ),
    pytest.param(
        "frames/DF-10", "doors = 10", "doors = true", ["doors", "True", "valid integer"],
        id="truth value for a number",
    ),
    pytest.param(
        "gauges/RG-10", '"36h11"', '"25h9"', ["[marks] family", "25h9", "36h11"], id="wrong family"
    ),
    pytest.param(
        "gauges/RG-10",
        "gap_x_mm = [-44.0, 44.0]",
        "gap_x_mm = [44.0, -44.0]",
        ["windows", "gap_x_mm", "44.0", "-44.0", "smaller"],
        id="swapped range",
    ),
    pytest.param(
        "gauges/RG-10",
        "gap_x_mm = [-44.0, 44.0]",
        "gap_x_mm = [-44.0, 0.0, 44.0]",
        ["[windows", "gap_x_mm", "2 items"],
        id="three ends of a range",
    ),
    pytest.param(
        "frames/DF-10",
        "span_x_mm = [-43.0, 43.0]",
        "span_x_mm = [-43.0, -43.0]",
        ["door", "span_x_mm", "-43.0", "smaller"],
        id="empty range",
    ),
    pytest.param(
        "gauges/RG-10",
        "pad_mm = 18.0",
        "pad_mm = 18.0\ncolour = 3",
        ["[marks] colour", "not known", "pad_mm"],
        id="unknown key",
    ),
    pytest.param(
        "gauges/RG-10", "pad_mm = 18.0", "pad_mm = 14.0", ["marks", "pad_mm", "14.0", "exceed"],
        id="pad no wider than its mark",
    ),
    pytest.param(
        "gauges/RG-10", "107 = [", "587 = [", ["marks", "587", "586"], id="id beyond the family"
    ),
    pytest.param(
        "gauges/RG-10", "107 = [", "top = [", ["marks", "centres_mm", "top", "whole number"],
        id="id that is no number",
    ),
    pytest.param(
        "gauges/RG-10", "tag_id = 108", "tag_id = 104", ["[yoke] tag_id = 104", "plate"],
        id="yoke's tag on the plate",
    ),
    pytest.param(
        "gauges/RG-10", "tag_id = 108", "", ["yoke", "tag_id", "together"], id="half a yoke tag"
    ),
    pytest.param(
        "gauges/RG-10",
        "due_on = 2027-06-15",
        "due_on = 2026-06-15",
        ["calibration", "due_on = 2026-06-15", "after"],
        id="calibration due on the day it was made",
    ),
    pytest.param(
        "gauges/RG-10",
        "due_on = 2027-06-15",
        "due_on = 2027-06-15T12:00:00",
        ["[calibration] due_on", "2027"],
        id="time of day for a day",
    ),
    pytest.param(
        "gauges/RG-10",
        "due_on = 2027-06-15",
        'due_on = "2027-06-15"',
        ["[calibration] due_on", "2027-06-15"],
        id="text for a day",
    ),
    pytest.param(
        "gauges/RG-10", "due_on = 2027-06-15", "", ["[calibration] due_on is missing"],
        id="calibration without an end",
    ),
    pytest.param(
        "gauges/RG-10", '"RG10-0042/26"', '"\\u202e26"', ["[calibration] certificate"],
        id="certificate that turns the line round",
    ),
    pytest.param(
        "frames/DF-10",
        "lower_mm = 0.55",
        "lower_mm = 1.55",
        ["gap", "nominal_mm = 0.8", "lower_mm = 1.55"],
        id="limits the wrong way round",
    ),
    pytest.param(
        "frames/DF-10",
        "[-36.0, -24.0,",
        "[-24.0, -36.0,",
        ["gap", "stations_x_mm", "rise"],
        id="stations out of order",
    ),
    pytest.param(
        "frames/DF-10",
        "barrel_end_x_mm = 42.0",
        "barrel_end_x_mm = 2.0",
        ["socket", "barrel_end_x_mm", "face_x_mm"],
        id="barrel inside out",
    ),
    pytest.param(
        "frames/DF-10",
        "index_line_length_mm = 10.0",
        "",
        ["socket", "index_line_width_mm", "index_line_length_mm"],
        id="half an index line",
    ),
    pytest.param(
        "frames/DF-10", "flats = 4", "flats = 0", ["[socket] flats", "0", "greater than or equal"],
        id="no flats",
    ),
    pytest.param(
        "frames/DF-10",
        'closing_direction = "clockwise"',
        'closing_direction = "left"',
        ["[drive] closing_direction", "left", "clockwise", "counter-clockwise"],
        id="direction that is none",
    ),
    pytest.param(
        "frames/DF-10",
        "conformance_probability = 0.95",
        "conformance_probability = 95",
        ["[decision] conformance_probability", "95", "less than 1"],
        id="percent for a probability",
    ),
    pytest.param(
        "frames/DF-10", "rigvision.frame/1", "rigvision.frame/9", ["schema", "frame/9", "frame/1"],
        id="schema of another day",
    ),
    pytest.param(
        "gauges/RG-10", 'name = "RG-10"', 'name = "../RG-10"', ["name", "../RG-10", "pattern"],
        id="name that is a path",
    ),
    pytest.param(
        "gauges/RG-10",
        "thermal_expansion_per_K = 11.5e-6",
        "thermal_expansion_per_K = 11.5",
        ["[plate] thermal_expansion_per_K", "11.5", "less than 0.001"],
        id="expansion without its exponent",
    ),
    pytest.param(
        "cameras/generic-phone", "default_35mm = 26.0", "default_35mm = 0",
        ["[focal] default_35mm", "0", "greater than 0"], id="no focal length",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("name", "old", "new", "named"), WRONG)
def test_a_wrong_model_is_refused_with_table_key_value_and_what_is_allowed(
    tmp_path, name, old, new, named
):
    said = complaint(tmp_path, name, old, new)
    assert [n for n in named if n not in said] == [], said


def test_a_gauge_with_three_marks_is_refused(tmp_path):
    marks = [f"{i} = " for i in range(103, 108)]
    kept = [line for line in source("gauges/RG-10").splitlines() if line[:6] not in marks]
    path = tmp_path / "few.toml"
    path.write_text("\n".join(kept), encoding="utf-8")
    with pytest.raises(ModelError, match="3 marks: at least 4"):
        load(Gauge, str(path))


def test_many_mistakes_are_told_together_but_not_all_at_once(tmp_path):
    text = source("gauges/RG-10").replace("_mm = ", "_in = ")
    path = tmp_path / "inches.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(ModelError) as caught:
        load(Gauge, str(path))
    assert " more." in caught.value.text
    assert len(caught.value.text) < 1500


def unreadable(path: Path, content: bytes) -> str:
    path.write_bytes(content)
    with pytest.raises(ModelError) as caught:
        load(Gauge, str(path))
    assert caught.value.code == "model-unreadable"
    assert str(path) in caught.value.text
    return caught.value.text


@pytest.mark.parametrize(
    ("content", "cause"),
    [
        pytest.param(source("gauges/RG-10").encode("utf-16"), "UTF-8", id="utf-16"),
        pytest.param(b'name = "M\xfcller"', "UTF-8", id="latin-1"),
        pytest.param(b"# " + b"x" * 300_000, "256 KiB", id="too large"),
        pytest.param(b"x = " + b"[" * 100_000, "TOML", id="nested without end"),
        pytest.param(b"[marks\nsize_mm = 14", "TOML", id="bracket left open"),
        pytest.param(b"size_mm = 1\nsize_mm = 2", "TOML", id="key twice"),
        pytest.param(b"\x89PNG\r\n\x1a\n" + b"\0" * 64, "not", id="a picture"),
    ],
)
def test_a_file_that_is_no_model_is_refused_by_name_and_cause(tmp_path, content, cause):
    assert cause in unreadable(tmp_path / "odd.toml", content)


def test_an_empty_file_lacks_everything(tmp_path):
    path = tmp_path / "empty.toml"
    path.write_bytes(b"")
    with pytest.raises(ModelError, match="key schema is missing"):
        load(Gauge, str(path))


def test_a_missing_file_and_a_folder_are_refused_by_name(tmp_path):
    (tmp_path / "folder.toml").mkdir()
    for name in ("nowhere.toml", "folder.toml"):
        with pytest.raises(ModelError, match=name):
            load(Frame, str(tmp_path / name))


def test_a_name_that_does_not_exist_is_answered_with_those_that_do():
    with pytest.raises(UsageError) as caught:
        load(Gauge, "RG-99")
    assert "RG-99" in caught.value.text
    assert "RG-10" in caught.value.remedy


def test_an_edited_file_is_read_anew(tmp_path):
    path = tmp_path / "frame.toml"
    path.write_text(source("frames/DF-10"), encoding="utf-8")
    assert load(Frame, str(path)).gap.upper_mm == 1.05
    path.write_text(source("frames/DF-10").replace("= 1.05", "= 1.15"), encoding="utf-8")
    assert load(Frame, str(path)).gap.upper_mm == 1.15


@pytest.mark.parametrize("kind", [Gauge, Frame, Camera])
def test_every_shipped_model_is_valid_and_named_like_its_file(kind):
    assert [model.name for model in load_all(kind)] == names(kind)
    assert names(kind)


def test_a_frame_without_a_decision_is_judged_by_guarded_acceptance_at_5_percent(frame):
    """Files written before the settings existed load, with what was usual then."""
    plain = frame.model_dump(by_alias=True)
    for decision in (None, {"conformance_probability": 0.95}):
        data = {k: v for k, v in plain.items() if k != "decision"}
        old = Frame.model_validate(data | ({"decision": decision} if decision else {}))
        assert old.decision == frame.decision
        assert old.decision.rule == "guarded-acceptance"


def test_an_unknown_rule_of_decision_is_refused_with_what_is_allowed(frame):
    with pytest.raises(ValueError, match="simple-acceptance"):
        type(frame.decision).model_validate({"rule": "lenient"})


def test_a_model_cannot_be_changed_after_reading(gauge):
    with pytest.raises(ValueError, match="frozen"):
        gauge.marks.size_mm = 15.0


@settings(max_examples=60, deadline=None)
@given(st.binary(max_size=300))
def test_whatever_stands_in_a_file_ends_in_a_model_or_a_model_error(tmp_path_factory, content):
    path = tmp_path_factory.mktemp("any") / "any.toml"
    path.write_bytes(content)
    with pytest.raises(ModelError):
        load(Gauge, str(path))


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_a_model_with_one_line_lost_or_doubled_never_escapes_the_checks(tmp_path_factory, data):
    """Either it still is a whole model, or there is a ModelError; nothing else escapes."""
    lines = source("frames/DF-10").splitlines()
    at = data.draw(st.integers(0, len(lines) - 1))
    copies = data.draw(st.sampled_from([0, 2]))
    lines[at : at + 1] = [lines[at]] * copies
    path = tmp_path_factory.mktemp("line") / "line.toml"
    path.write_text("\n".join(lines), encoding="utf-8")
    with suppress(ModelError):
        frame = load(Frame, str(path))
        assert frame.gap.lower_mm < frame.gap.upper_mm
