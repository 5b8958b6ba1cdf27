"""Several quick photos of one set-up as one check: figures, photos left out, command line."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from itertools import permutations
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pytest
from PIL import Image

import rigvision
from rigvision.cli.main import main
from rigvision.decision.reasons import REASONS
from rigvision.ground.errors import PhotoError, UsageError
from rigvision.joint_photos import GivenPhoto, of_one_gauge, results_to_draw
from rigvision.report.as_json import as_json
from rigvision.report.wording import what_to_do
from rigvision.synthetic import ideal_scene
from tests.photos import camera_at, checked
from tests.test_other_gauge import FRAME_FILE, GAUGE_FILE

#: From above right, from below left, from the right, held upright, near and far.
CAMERAS = (
    camera_at(tilt_deg=24.0, azimuth_deg=72.0),
    camera_at(tilt_deg=20.0, azimuth_deg=-115.0, roll_deg=-6.0, distance_mm=250.0),
    camera_at(tilt_deg=14.0, azimuth_deg=-8.0, roll_deg=3.0, distance_mm=228.0),
)


class SetUp(NamedTuple):
    paths: list[Path]
    truth: dict[str, Any]


@pytest.fixture(scope="module")
def set_up(shoot, gauge, frame) -> SetUp:
    """A door 0.5 mm too wide open, yoke a little aside: three photos."""
    scene = replace(
        ideal_scene(gauge, frame, 1.3), taper_mm=0.1, socket_offset_y_mm=0.2, clock_deg=14.0,
        yoke_shoulder_mm=(-6.0, -20.05), yoke_tilt_deg=0.3, sill_offset_mm=0.03,
    )  # fmt: skip
    shots = [shoot(scene, c, seed=40 + k) for k, c in enumerate(CAMERAS)]
    return SetUp([s.path for s in shots], shots[0].truth)


@pytest.fixture(scope="module")
def another(shoot, gauge, frame) -> Path:
    """The same rig after the door was closed by 0.4 mm."""
    return shoot(ideal_scene(gauge, frame, 0.9), CAMERAS[1], seed=44).path


@pytest.fixture(scope="module")
def joint(set_up):
    return rigvision.check_joint(set_up.paths, door=4)


def codes(result) -> list[str]:
    return [r.code for r in result.reasons]


def figures(result) -> dict[str, Any]:
    """What must not hang on how the photos were given."""
    plain = as_json(result)
    for key in ("photo", "view", "joint"):
        plain.pop(key, None)
    return plain


FIGURES = (
    ("gap", "mean_mm", "expanded_uncertainty_mm"),
    ("gap", "taper_mm", "taper_expanded_uncertainty_mm"),
    ("yoke", "lateral_offset_mm", "lateral_offset_expanded_uncertainty_mm"),
    ("yoke", "tilt_deg", "tilt_expanded_uncertainty_deg"),
    ("yoke", "seat_gap_mm", "seat_gap_expanded_uncertainty_mm"),
    ("yoke", "clock_deg", "clock_expanded_uncertainty_deg"),
)


@pytest.mark.parametrize(("part", "figure", "expanded"), FIGURES)
def test_errors_keep_within_an_uncertainty_smaller_than_any_photo_s_own(
    part, figure, expanded, joint, set_up
):
    found, stated = (getattr(getattr(joint, part), name) for name in (figure, expanded))
    # Six figures at 95 %: one beyond 1.2 U has a chance of 10 % in all.
    assert abs(found - set_up.truth[part][figure]) < 1.2 * stated
    own = [getattr(getattr(checked(p), part), expanded) for p in set_up.paths]
    assert stated < min(own)


def test_the_joint_result_says_what_each_photo_says(joint, set_up):
    assert joint.verdict == "adjust"
    assert (joint.gauge, joint.frame, joint.door) == ("RG-10", "DF-10", 4)
    assert joint.photo.sha256 == checked(set_up.paths[0]).photo.sha256
    assert [p.name for p in joint.joint.photos] == [p.name for p in set_up.paths]
    assert joint.joint.consistency.consistent
    assert joint.joint.consistency.odd_photos == ()
    for share, path in zip(joint.joint.photos, set_up.paths, strict=True):
        assert share.left_out is None
        assert share.gap_mm == checked(path).gap.mean_mm
        assert abs(share.deviation_mm) < 1.5 * share.deviation_expanded_uncertainty_mm
        assert share.probability > 0.01 / 3
    depths = {d.plane: d for d in joint.joint.plane_depths}
    assert set(depths) == {"edges", "yoke", "socket"}
    # The quick scenes have all planes where they are drawn.
    for depth in depths.values():
        assert abs(depth.offset_mm) < 1.2 * depth.expanded_uncertainty_mm


def test_edges_off_their_drawn_plane_are_told_by_parallax(shoot, gauge, frame):
    """The same photos of a rig whose sill and door stand 0.2 mm nearer than they are drawn.

    With a prior of 0.1 mm and an uncertainty u of what comes out, the part 1 - u^2 / 0.1^2 of
    an offset is told; the rest is left to the drawing.
    """
    nearer = frame.model_copy(
        update={"sill": frame.sill.model_copy(update={"face_z_mm": frame.sill.face_z_mm + 0.2})}
    )
    told = {}
    for shown in (frame, nearer):
        scene = ideal_scene(gauge, frame, 1.3)
        shots = [
            shoot(scene, c, seed=60 + k, rig=(gauge, shown)) for k, c in enumerate(CAMERAS[:2])
        ]
        result = rigvision.check_joint([s.path for s in shots])
        assert result.joint.consistency.consistent
        told[shown.sill.face_z_mm] = next(
            d for d in result.joint.plane_depths if d.plane == "edges"
        )
    drawn, off = told[frame.sill.face_z_mm], told[nearer.sill.face_z_mm]
    u = off.expanded_uncertainty_mm / 1.96
    part = 1.0 - (u / 0.10) ** 2
    assert part > 0.3, "two photos 40 deg apart must tell something"
    assert off.offset_mm - drawn.offset_mm == pytest.approx(0.2 * part, abs=0.03)
    assert abs(off.offset_mm - 0.2) < 1.5 * off.expanded_uncertainty_mm


def test_the_order_of_the_photos_changes_no_figure(joint, set_up):
    for order in permutations(set_up.paths):
        assert figures(rigvision.check_joint(order, door=4)) == figures(joint)


def test_one_photo_alone_is_its_own_check(set_up):
    result = rigvision.check_joint(set_up.paths[:1])
    own = checked(set_up.paths[0])
    assert codes(result) == [*codes(own), "one-view"]
    assert figures(replace(result, reasons=())) == figures(replace(own, reasons=()))
    assert result.joint.consistency is None


# ---------------------------------------------------------------- photos that do not belong


def test_the_photo_of_another_state_is_named_and_left_out(set_up, another):
    """Wherever it stands in the row."""
    first, second, _ = set_up.paths
    wanted = rigvision.check_joint([first, second])
    for order in ([another, first, second], [first, second, another]):
        result = rigvision.check_joint(order)
        assert result.joint.consistency.odd_photos == (another.name,)
        assert not result.joint.consistency.consistent
        note = next(r for r in result.reasons if r.code == "odd-photo")
        assert note.text.startswith(f"{another.name} was left out")
        odd = next(p for p in result.joint.photos if p.name == another.name)
        assert odd.left_out == note
        assert odd.probability < 0.01 / 3
        assert result.gap.mean_mm == pytest.approx(wanted.gap.mean_mm, abs=1e-9)
        assert result.photo.name == first.name


def test_two_photos_that_disagree_are_a_retake_without_figures(set_up, another):
    result = rigvision.check_joint([set_up.paths[0], another])
    assert result.verdict == "retake"
    assert codes(result) == ["views-disagree"]
    text = result.reasons[0].text
    assert set_up.paths[0].name in text
    assert another.name in text
    assert result.gap.mean_mm is None
    assert result.turns.value is None
    assert result.joint.consistency.odd_photos == ()
    assert [p.gap_mm for p in result.joint.photos] == [
        checked(p).gap.mean_mm for p in (set_up.paths[0], another)
    ]


def test_the_same_file_under_another_name_counts_once(set_up, tmp_path):
    copy = tmp_path / "copy.jpg"
    shutil.copy(set_up.paths[0], copy)
    twice = rigvision.check_joint([set_up.paths[0], copy, set_up.paths[1]])
    once = rigvision.check_joint(set_up.paths[:2])
    assert figures(replace(twice, reasons=())) == figures(replace(once, reasons=()))
    assert [p.left_out and p.left_out.code for p in twice.joint.photos] == [
        None, "same-photo", None,
    ]  # fmt: skip
    alone = rigvision.check_joint([set_up.paths[0], copy])
    assert {"same-photo", "one-view"} <= set(codes(alone))
    assert alone.gap.mean_mm == checked(copy).gap.mean_mm


@pytest.fixture(scope="module")
def not_a_gauge(tmp_path_factory) -> Path:
    """A photo of a wall, with enough edges not to count as blurred."""
    path = tmp_path_factory.mktemp("wall") / "wall.jpg"
    bricks = np.kron(np.indices((30, 40)).sum(axis=0) % 2, np.ones((40, 40))) * 150 + 60
    Image.fromarray(bricks.astype(np.uint8)).save(path, quality=95)
    return path


def test_a_photo_that_is_a_retake_by_itself_is_left_out_and_named(set_up, not_a_gauge):
    result = rigvision.check_joint([not_a_gauge, *set_up.paths[:2]])
    assert result.verdict == "adjust"
    note = next(r for r in result.reasons if r.code == "view-left-out")
    assert not_a_gauge.name in note.text
    assert "No rig gauge was found" in note.text
    assert result.photo.name == set_up.paths[0].name
    two = rigvision.check_joint(set_up.paths[:2])
    assert result.gap.mean_mm == two.gap.mean_mm


def test_nothing_but_retakes_is_a_retake_that_names_them(not_a_gauge, tmp_path):
    other = tmp_path / "other.png"
    Image.new("L", (400, 300), 128).save(other)
    result = rigvision.check_joint([not_a_gauge, other])
    assert result.verdict == "retake"
    assert codes(result)[0] == "no-usable-view"
    assert codes(result).count("view-left-out") == 2
    assert result.gap is None


def test_a_photo_of_an_unknown_gauge_is_left_out(set_up, shoot):
    from rigvision.world.catalogue import load
    from rigvision.world.frame import Frame
    from rigvision.world.gauge import Gauge

    rig = load(Gauge, str(GAUGE_FILE)), load(Frame, str(FRAME_FILE))
    foreign = shoot(ideal_scene(*rig), camera_at(), seed=80, rig=rig).path
    result = rigvision.check_joint([*set_up.paths[:2], foreign])
    assert "view-left-out" in codes(result)
    assert result.gap.mean_mm is not None


def test_of_two_known_gauges_most_photos_say_which(set_up):
    """With as many of one as of the other none is left out: then they disagree as a whole."""
    ours = checked(set_up.paths[0])
    other = replace(ours, gauge="XG-7")
    given = [GivenPhoto(f"{k}.jpg", own, None) for k, own in enumerate([ours, other, ours])]
    left_out = [p.left_out and p.left_out.code for p in of_one_gauge(given)]
    assert left_out == [None, "odd-photo", None]
    assert all(p.left_out is None for p in of_one_gauge(given[:2]))


def test_unreadable_photos_are_said_and_the_others_solved(set_up, tmp_path):
    broken = tmp_path / "broken.jpg"
    broken.write_bytes(set_up.paths[0].read_bytes()[:5000])
    result = rigvision.check_joint([broken, *set_up.paths[1:]])
    assert result.joint.photos[0].left_out.text.startswith("broken.jpg")
    assert result.joint.photos[0].sha256 is None
    assert result.gap.mean_mm == rigvision.check_joint(set_up.paths[1:]).gap.mean_mm
    with pytest.raises(PhotoError, match=r"None of the photos.*broken\.jpg"):
        rigvision.check_joint([broken])
    with pytest.raises(UsageError, match="No photo"):
        rigvision.check_joint([])


def test_no_image_says_another_turn_than_the_joint_result(set_up, another):
    result = rigvision.check_joint([*set_up.paths[:2], another])
    first, second, odd = results_to_draw(result)
    for drawn, path in ((first, set_up.paths[0]), (second, set_up.paths[1])):
        assert drawn.photo.name == path.name
        assert (drawn.verdict, drawn.turns, drawn.gap) == (
            result.verdict, result.turns, result.gap,
        )  # fmt: skip
        assert drawn.evidence.slot.stations == checked(path).evidence.slot.stations
    assert odd.verdict == "retake"
    assert odd.turns.value is None
    assert what_to_do(odd) == odd.reasons[0].remedy
    assert odd.reasons[0].code == "odd-photo"
    assert odd.gap == checked(another).gap


def test_reasons_of_joint_checks_stand_in_the_table():
    assert REASONS["views-disagree"].outcome == REASONS["no-usable-view"].outcome == "retake"
    for code in ("odd-photo", "view-left-out", "same-photo", "one-view"):
        assert REASONS[code].outcome == "note"


# ---------------------------------------------------------------- command line and reports


def run(*arguments: object) -> int:
    with pytest.raises(SystemExit) as left:
        main([str(a) for a in arguments])
    assert isinstance(left.value.code, int)
    return left.value.code


@pytest.fixture(autouse=True)
def _plain_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    monkeypatch.setenv("COLUMNS", "100")


def test_json_is_one_object_with_a_row_for_each_photo(set_up, another, tmp_path, capsys):
    broken = tmp_path / "broken.jpg"
    broken.touch()
    assert run("check", *set_up.paths[:2], another, broken, "--joint", "--json") == 1
    out, err = capsys.readouterr()
    printed = json.loads(out)
    assert "broken.jpg is empty." in err
    assert printed["schema"] == "rigvision.check/1"
    assert {"photo", "verdict", "gap", "yoke", "turns", "uncertainty_budget"} <= set(printed)
    photos = printed["joint"]["photos"]
    assert [p["name"] for p in photos] == [
        *(p.name for p in set_up.paths[:2]), another.name, "broken.jpg",
    ]  # fmt: skip
    assert [p["used"] for p in photos] == [True, True, False, False]
    assert photos[0]["left_out"] is None
    assert photos[2]["left_out"]["code"] == "odd-photo"
    assert photos[3]["left_out"]["code"] == "empty"
    assert photos[0]["view"]["tilt_deg"] == pytest.approx(24.0, abs=1.5)
    assert photos[3]["view"] is None
    assert printed["joint"]["consistency"]["odd_photos"] == [another.name]
    assert printed["joint"]["consistency"]["probability"] < 0.001


def test_the_exit_code_is_that_of_the_joint_verdict(set_up, another, capsys):
    assert run("check", *set_up.paths, "--joint", "--json") == 3
    assert run("check", set_up.paths[0], another, "--joint", "--json") == 4


def test_nothing_readable_is_an_error_object(tmp_path, capsys):
    assert run("check", tmp_path / "gone.jpg", "--joint", "--json") == 1
    out, err = capsys.readouterr()
    assert json.loads(out)["error"]["code"] == "no-readable-photo"
    assert "gone.jpg does not exist" in err


def test_monte_carlo_of_several_photos_is_wrong_usage(set_up, capsys):
    assert run("check", *set_up.paths, "--joint", "--monte-carlo", "10000") == 2
    assert "Monte Carlo draws the errors of one photo" in capsys.readouterr().err


def test_the_budget_of_the_joint_figures_is_shown(set_up, joint, capsys):
    assert run("check", *set_up.paths, "--joint", "--budget") == 3
    out = capsys.readouterr().out
    assert "edge fit" in out
    assert "combined" in out
    gap = [line for line in joint.uncertainty_budget if line.quantity == "gap"]
    total = np.sqrt(sum(line.standard_uncertainty_mm**2 for line in gap))
    assert total * joint.gap.coverage_factor == pytest.approx(joint.gap.expanded_uncertainty_mm)


def test_a_phone_held_upright_shows_each_photo_in_a_line(set_up, capsys, monkeypatch):
    monkeypatch.setenv("COLUMNS", "60")
    run("check", *set_up.paths[:2], "--joint")
    lines = capsys.readouterr().out.splitlines()
    rows = [line for line in lines if line.strip().startswith("photo-")]
    assert len(rows) == 2
    assert all("%" in row for row in rows)


def test_text_is_one_screen_and_a_row_a_photo(set_up, another, capsys):
    assert run("check", *set_up.paths[:2], another, "--joint") == 3
    out = capsys.readouterr().out
    assert "ADJUST   2 photos together" in out
    rows = [line for line in out.splitlines() if line.strip().startswith("photo-")]
    names = [*(p.name for p in set_up.paths[:2]), another.name]
    assert [row.split()[0] for row in rows[-3:]] == names
    assert "left out: another set-up" in rows[-1]
    assert out.count("Aid only") == 1


def test_images_carry_the_joint_verdict_one_for_each_photo(set_up, another, tmp_path, capsys):
    copy = tmp_path / "again.jpg"
    shutil.copy(set_up.paths[0], copy)
    out = tmp_path / "out"
    assert run("check", *set_up.paths[:2], another, copy, "--joint", "--out", out) == 3
    written = sorted(p.name for p in out.iterdir())
    assert written == sorted(f"{p.stem}.checked.jpg" for p in [*set_up.paths[:2], another])
    assert "analysed image" in capsys.readouterr().err
