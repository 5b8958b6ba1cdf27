"""A second, quite different gauge and frame, end to end: nothing of RG-10 is in the code.

OG-2 and OF-2 (tests/data) differ in windows, mark ids, sizes and number, planes, stations,
limits, drive, flats, closing direction, sense of the socket's front, and place of the yoke.
"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

import rigvision
from rigvision.synthetic import ideal_scene
from rigvision.world.catalogue import load
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge
from tests.photos import camera_at

DATA = Path(__file__).parent / "data"
GAUGE_FILE, FRAME_FILE = DATA / "OG-2.toml", DATA / "OF-2.toml"
VIEW = {"distance_mm": 250.0, "tilt_deg": 15.0, "azimuth_deg": -50.0, "roll_deg": -7.0}


@pytest.fixture(scope="module")
def rig():
    return load(Gauge, str(GAUGE_FILE)), load(Frame, str(FRAME_FILE))


@pytest.fixture(scope="module")
def photograph(shoot, rig):
    """Check a scene of this rig; returns result and truth."""

    def take(seed: int = 80, view: dict | None = None, gap_mm: float | None = None, **state):
        scene = replace(ideal_scene(*rig, gap_mm), **state)
        shot = shoot(scene, camera_at(**(VIEW | (view or {}))), seed=seed, rig=rig)
        result = rigvision.check(shot.path, gauge=str(GAUGE_FILE), frame=str(FRAME_FILE), door=2)
        return result, shot.truth

    return take


def codes(result) -> list[str]:
    return [r.code for r in result.reasons]


def test_the_two_rigs_share_no_figure_that_matters(rig, gauge, frame):
    """So that no number of the first can stand in for the second's."""
    assert not rig[0].tag_ids & gauge.tag_ids
    assert rig[0].marks.size_mm != gauge.marks.size_mm
    assert not set(rig[1].gap.stations_x_mm) & set(frame.gap.stations_x_mm)
    assert rig[1].sill.face_z_mm != frame.sill.face_z_mm
    assert rig[1].socket.flats != frame.socket.flats
    assert rig[1].drive.closing_direction != frame.drive.closing_direction
    assert rig[1].drive.opening_moves_socket_front != frame.drive.opening_moves_socket_front
    assert rig[1].drive.gap_per_socket_turn_mm == pytest.approx(2.4, abs=1e-12)


def test_a_perfect_rig_passes(photograph):
    # As a phone takes it: a pass must be proven, and a quarter of the pixels proves less.
    result, truth = photograph(view={"width_px": 4000, "height_px": 3000})
    assert (result.gauge, result.frame, result.door) == ("OG-2", "OF-2", 2)
    assert result.gap.mean_mm == pytest.approx(truth["gap"]["mean_mm"], abs=0.12)
    assert [s.x_mm for s in result.gap.stations] == [-22.0, -8.0, 4.0, 17.0, 29.0]
    assert result.view.marks_found == (20, 21, 22, 23, 24, 25, 31)
    assert (result.verdict, codes(result)) == ("pass", [])
    assert result.turns.value == 0.0


@pytest.mark.parametrize(
    ("gap_mm", "direction", "finish"),
    [
        (4.0, "close", "counter-clockwise, finish counter-clockwise."),
        (0.8, "open", "then come back: finish counter-clockwise."),
    ],
)
def test_a_door_off_nominal_is_turned_by_this_drive(photograph, gap_mm, direction, finish):
    """Whole sixths of a turn: 2.4 mm of gap are one turn, 4.0 mm one, 0.8 mm a third back."""
    result, truth = photograph(gap_mm=gap_mm, seed=81)
    assert result.verdict == "adjust"
    assert result.turns.direction == direction
    assert result.turns.value == pytest.approx(truth["turns"]["value"], abs=0.04)
    assert result.turns.instruction.endswith(finish)
    assert truth["turns"]["value"] == pytest.approx({4.0: 1.0, 0.8: -1 / 3}[gap_mm], abs=1e-9)


def test_clock_has_the_sense_of_this_socket(photograph):
    """Opened by 0.18 mm: 0.075 turn, 27 deg, and the front moves down: clock -27 deg."""
    result, truth = photograph(gap_mm=1.78, seed=82)
    assert truth["yoke"]["clock_deg"] == pytest.approx(-27.0, abs=1e-6)
    assert result.yoke.clock_deg == pytest.approx(-27.0, abs=1.5)
    assert result.turns.source == "gap+clock"
    assert truth["turns"]["to_best_flat"] == pytest.approx(0.075, abs=1e-6)
    assert result.turns.value == pytest.approx(0.075, abs=0.04)


@pytest.mark.parametrize(
    ("state", "figure", "tolerance", "code"),
    [
        ({"socket_offset_y_mm": 0.9}, "lateral_offset_mm", 0.15, "yoke-offset"),
        ({"socket_tilt_deg": -2.2}, "tilt_deg", 0.4, "yoke-tilt"),
        ({"yoke_shoulder_mm": (0.5, -24.0)}, "seat_gap_mm", 0.15, "yoke-not-seated"),
    ],
)
def test_a_yoke_out_of_line_is_measured_on_this_rig(photograph, state, figure, tolerance, code):
    result, truth = photograph(seed=83, **state)
    assert getattr(result.yoke, figure) == pytest.approx(truth["yoke"][figure], abs=tolerance)
    assert code in codes(result)


def test_the_taper_s_sign_survives_stations_that_are_not_symmetric(photograph):
    result, truth = photograph(seed=84, taper_mm=-0.6)
    assert truth["gap"]["taper_mm"] == pytest.approx(-0.6, abs=1e-9)
    assert result.gap.taper_mm == pytest.approx(-0.6, abs=0.12)
    assert "taper" in codes(result)


def test_the_wrong_gauge_is_told_from_the_right_one(photograph, rig, shoot):
    shot = shoot(ideal_scene(*rig), camera_at(**VIEW), seed=80, rig=rig)
    result = rigvision.check(shot.path)
    assert result.verdict == "retake"
    assert codes(result) == ["wrong-gauge"]


# --------------------------------------------------------------------------------- variants


def variant(path: Path, source: Path, **tables: dict[str, None]) -> Path:
    """The same model without some keys, or without a whole table."""
    text = source.read_text()
    for table, keys in tables.items():
        if keys is None:
            text = re.sub(rf"\[{table}\][^\[]*(?:\[[-\d][^\[]*)*", "", text)
            continue
        for key in keys:
            text, count = re.subn(rf"(?m)^{key} = .*\n", "", text)
            assert count == 1, key
    path.write_text(text)
    return path


TAG_KEYS = ("tag_id", "tag_size_mm", "tag_pad_mm", "tag_centre_mm")
LINE_KEYS = ("index_line_width_mm", "index_line_length_mm")


def check_variant(shoot, gauge_file: Path, frame_file: Path, seed: int, gap_mm: float = 1.6):
    rig = load(Gauge, str(gauge_file)), load(Frame, str(frame_file))
    shot = shoot(ideal_scene(*rig, gap_mm), camera_at(**VIEW), seed=seed, rig=rig)
    return rigvision.check(shot.path, gauge=str(gauge_file), frame=str(frame_file)), shot.truth


def test_without_index_lines_there_is_no_clock_and_the_rest_decides(tmp_path, shoot):
    gauge = variant(tmp_path / "g.toml", GAUGE_FILE, yoke=LINE_KEYS)
    frame = variant(tmp_path / "f.toml", FRAME_FILE, socket=LINE_KEYS)
    result, truth = check_variant(shoot, gauge, frame, 85)
    assert truth["yoke"]["clock_deg"] is None
    assert result.yoke.clock_deg is None
    assert result.yoke.clock_expanded_uncertainty_deg is None
    assert result.yoke.lateral_offset_mm == pytest.approx(0.0, abs=0.15)
    assert "no-clock-on-gauge" in codes(result)
    assert result.turns.source == "gap"
    assert result.verdict == "pass"


def test_without_index_lines_the_gap_alone_says_the_turns(tmp_path, shoot):
    gauge = variant(tmp_path / "g.toml", GAUGE_FILE, yoke=LINE_KEYS)
    frame = variant(tmp_path / "f.toml", FRAME_FILE, socket=LINE_KEYS)
    result, _ = check_variant(shoot, gauge, frame, 86, gap_mm=2.8)
    assert result.turns.source == "gap"
    assert result.turns.value == pytest.approx(0.5, abs=0.05)  # 1.2 mm at 2.4 mm a turn


def test_without_a_line_on_the_yoke_there_is_no_clock_either(tmp_path, shoot):
    """A clock needs a line at both ends: the socket's lines alone tell nothing."""
    gauge = variant(tmp_path / "g.toml", GAUGE_FILE, yoke=LINE_KEYS)
    result, _ = check_variant(shoot, gauge, FRAME_FILE, 87)
    assert result.yoke.clock_deg is None
    assert "no-clock-on-gauge" in codes(result)


def test_without_a_yoke_tag_its_figures_are_null_and_the_verdict_stands(tmp_path, shoot):
    gauge = variant(tmp_path / "g.toml", GAUGE_FILE, yoke=TAG_KEYS)
    result, _ = check_variant(shoot, gauge, FRAME_FILE, 88)
    yoke = result.yoke
    assert (yoke.lateral_offset_mm, yoke.tilt_deg, yoke.seat_gap_mm) == (None, None, None)
    assert yoke.engaged is None
    assert codes(result) == ["no-yoke-on-gauge"]
    assert result.verdict == "pass"
    assert 31 not in result.view.marks_found


def test_without_a_yoke_only_the_gap_is_judged(tmp_path, shoot):
    gauge = variant(tmp_path / "g.toml", GAUGE_FILE, yoke=None)
    frame = variant(tmp_path / "f.toml", FRAME_FILE, yoke_limits=None, socket=None)
    assert load(Gauge, str(gauge)).yoke is None
    assert load(Frame, str(frame)).socket is None
    result, _ = check_variant(shoot, gauge, frame, 89)
    assert (result.yoke.lateral_offset_mm, result.yoke.clock_deg) == (None, None)
    assert result.verdict == "pass"
    assert result.turns.source == "gap"
    assert "clock-off" not in codes(result)
    assert result.gap.mean_mm == pytest.approx(1.6, abs=0.12)
