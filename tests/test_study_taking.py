"""Photos into a plan: in order, again after a break, and nothing into the wrong shot."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from rigvision.decision.result import CheckResult
from rigvision.ground.errors import PhotoError, UsageError
from rigvision.photo.picture import shown_name
from rigvision.training.study_error import StudyError
from rigvision.training.study_shot import Study, read_study
from rigvision.training.study_taking import Outcome, take_photos
from tests.invented_study import invented_plan, invented_result, plan_into

Check = Callable[[Path, int | None], CheckResult]


@pytest.fixture
def study(tmp_path: Path) -> Study:
    return plan_into(tmp_path / "study", invented_plan())


def photo(folder: Path, name: str, content: bytes | None = None) -> Path:
    path = folder / name
    path.write_bytes(name.encode() if content is None else content)
    return path


def photos(folder: Path, count: int) -> list[Path]:
    return [photo(folder, f"IMG_{i}.jpg") for i in range(1, count + 1)]


def checks(
    verdicts: dict[str, str] | None = None,
    gaps: dict[str, float | None] | None = None,
    times: dict[str, str] | None = None,
    seen: list[tuple[str, int | None]] | None = None,
) -> Check:
    """In the check's place: a gap of 0.8 mm unless another is asked for by the photo's name."""

    def check(path: Path, door: int | None) -> CheckResult:
        name = path.name
        if seen is not None:
            seen.append((name, door))
        if path.read_bytes() == b"broken":
            raise PhotoError("broken", f"{name} is broken.", "Copy it again.")
        if path.read_bytes() == b"other rig":
            raise UsageError("gauge-and-frame", "Gauge X does not belong.", "Take another.")
        found = invented_result(
            (gaps or {}).get(name, 0.8),
            path.read_bytes().decode(),
            (verdicts or {}).get(name, "pass"),
        )
        return replace(
            found,
            photo=replace(found.photo, name=shown_name(path), taken_at=(times or {}).get(name)),
        )

    return check


def take(study: Study, paths: list[Path], check: Check, only: int | None = None) -> list[Outcome]:
    return list(take_photos(study, paths, check, only))


def shots_of(outcomes: list[Outcome]) -> list[tuple[str, int | None]]:
    return [(o.came, o.planned.shot if o.planned else None) for o in outcomes]


def test_photos_go_into_the_plan_in_its_order(study, tmp_path):
    seen: list[tuple[str, int | None]] = []
    found = take(study, photos(tmp_path, 3), checks(seen=seen))
    assert shots_of(found) == [("taken", 1), ("taken", 2), ("taken", 3)]
    doors = [study.plan.setting(s.setting).door for s in study.plan.order[:3]]
    assert seen == [(f"IMG_{i}.jpg", door) for i, door in enumerate(doors, 1)]
    assert "0.800 mm" in found[0].text
    again = read_study(study.folder)
    assert sorted(again.taken) == [1, 2, 3]
    assert again.open_shots[0] == 4


def test_a_break_changes_nothing(study, tmp_path):
    """The same command again, with more photos: what is there uses up no shot."""
    paths = photos(tmp_path, 4)
    verdicts = {"IMG_2.jpg": "retake"}
    take(study, paths[:3], checks(verdicts))
    again = read_study(study.folder)
    found = take(again, paths, checks(verdicts))
    assert shots_of(found) == [("known", 1), ("known", 2), ("known", 3), ("taken", 4)]
    assert "again" in found[1].text
    assert again.open_shots[:2] == [2, 5]


def test_a_photo_to_be_taken_again_moves_no_other(study, tmp_path):
    paths = photos(tmp_path, 3)
    found = take(study, paths, checks({"IMG_2.jpg": "retake"}))
    assert shots_of(found) == [("taken", 1), ("again", 2), ("taken", 3)]
    assert "Glare" in found[1].text
    assert "--shot 2" in found[1].text
    found = take(study, [photo(tmp_path, "IMG_4.jpg")], checks())
    assert shots_of(found) == [("taken", 4)]  # the next, not silently the one passed over
    found = take(study, [photo(tmp_path, "IMG_2b.jpg")], checks(), 2)
    assert shots_of(found) == [("taken", 2)]
    assert len(read_study(study.folder).again) == 1


def test_a_break_with_an_unreadable_photo_moves_no_other(study, tmp_path):
    """Nothing is kept of a file that was no photo; its place in the list keeps its shot."""
    paths = photos(tmp_path, 5)
    paths[1].write_bytes(b"broken")
    take(study, paths[:3], checks())
    found = take(read_study(study.folder), paths, checks())
    assert shots_of(found) == [
        ("known", 1),
        ("unreadable", 2),
        ("known", 3),
        ("taken", 4),
        ("taken", 5),
    ]


def test_shots_that_were_passed_over_come_when_nothing_else_is_open(tmp_path):
    plan = invented_plan(shots=1, people=["A. One"], setting=[{"name": f"s{i}"} for i in range(3)])
    study = plan_into(tmp_path / "small", plan)
    paths = photos(tmp_path, 3)
    take(study, paths[:2], checks({"IMG_1.jpg": "retake"}))
    more = [paths[2], photo(tmp_path, "again.jpg")]
    assert shots_of(take(study, more, checks())) == [("taken", 3), ("taken", 1)]


def test_a_photo_given_twice_is_taken_once(study, tmp_path):
    paths = photos(tmp_path, 2)
    copy = photo(tmp_path, "copy.jpg", paths[0].read_bytes())
    found = take(study, [paths[0], copy, paths[1]], checks())
    assert shots_of(found) == [("taken", 1), ("known", 1), ("taken", 2)]
    assert "already" in found[1].text


def test_what_is_no_photo_leaves_its_shot_open(study, tmp_path):
    bad = photo(tmp_path, "bad.jpg", b"broken")
    other = photo(tmp_path, "other.jpg", b"other rig")
    paths = [bad, tmp_path / "missing.jpg", other, photo(tmp_path, "IMG_1.jpg")]
    found = take(study, paths, checks())
    assert shots_of(found) == [
        ("unreadable", 1),
        ("unreadable", 2),
        ("wrong", 3),
        ("taken", 4),
    ]
    assert all("stays open" in o.text for o in found[:3])


def test_a_photo_of_another_frame_is_not_taken(study, tmp_path):
    def other(path: Path, door: int | None) -> CheckResult:
        return invented_result(0.8, path.name, frame="OF-2")

    found = take(study, photos(tmp_path, 1), other)
    assert shots_of(found) == [("wrong", 1)]
    assert read_study(study.folder).taken == {}


def test_a_figure_that_was_not_read_leaves_the_shot_open(study, tmp_path):
    found = take(study, photos(tmp_path, 1), checks(gaps={"IMG_1.jpg": None}))
    assert shots_of(found) == [("again", 1)]
    assert "could not be read" in found[0].text


def test_photos_in_the_wrong_order_are_noticed_by_their_times(study, tmp_path):
    times = {"IMG_1.jpg": "2026-05-01T10:02:00", "IMG_2.jpg": "2026-05-01T10:01:00"}
    found = take(study, photos(tmp_path, 2), checks(times=times))
    assert found[0].remarks == ()
    assert "exchanged" in found[1].remarks[0]
    assert "before shot 1, by the plan after it" in found[1].remarks[0]


def test_a_reading_far_from_its_setting_is_noticed(study, tmp_path):
    """Shots of one setting, U 0.06 mm at k 2: 0.8 and 0.81, then 1.2 mm."""
    setting = study.plan.order[0].setting
    shots = [s.shot for s in study.plan.order if s.setting == setting][:3]
    gaps = {"IMG_1.jpg": 0.8, "IMG_2.jpg": 0.81, "IMG_3.jpg": 1.2}
    found = [
        take(study, [path], checks(gaps=gaps), shot)[0]
        for path, shot in zip(photos(tmp_path, 3), shots, strict=True)
    ]
    assert found[1].remarks == ()
    assert "far from every other" in found[2].remarks[0]


def test_a_single_photo_goes_into_the_shot_that_was_named(study, tmp_path):
    assert shots_of(take(study, photos(tmp_path, 1), checks(), 17)) == [("taken", 17)]
    for only, code in ((17, "shot-taken"), (0, "no-such-shot"), (73, "no-such-shot")):
        with pytest.raises(UsageError) as refused:
            take(study, [photo(tmp_path, "more.jpg")], checks(), only)
        assert refused.value.code == code
    with pytest.raises(UsageError):
        take(study, photos(tmp_path, 2), checks(), 3)


def test_a_photo_in_the_study_is_not_taken_into_a_named_shot_either(study, tmp_path):
    paths = photos(tmp_path, 1)
    take(study, paths, checks())
    assert shots_of(take(study, paths, checks(), 5)) == [("known", 1)]


def test_photos_beyond_the_plan_are_said(tmp_path):
    study = plan_into(
        tmp_path / "small", invented_plan(shots=1, people=["A. One"], setting=[{"name": "x"}])
    )
    found = take(study, photos(tmp_path, 2), checks())
    assert shots_of(found) == [("taken", 1), ("no-shot", None)]


def test_a_hostile_name_is_shown_harmlessly(study, tmp_path):
    name = "\x1b[31m\u202egpj.jpg"
    found = take(study, [photo(tmp_path, name, b"IMG_1.jpg")], checks())
    assert "\x1b" not in found[0].name
    assert "\u202e" not in found[0].name


@pytest.mark.parametrize(
    ("what", "change"),
    [
        ("another plan", lambda p: p.update(plan_sha256="0" * 64)),
        ("no such shot", lambda p: p.update(shot=99)),
        ("a shot that is true", lambda p: p.update(shot=True)),
        ("no result", lambda p: p.pop("result")),
        ("a result that is none", lambda p: p["result"].update(verdict="fine")),
        ("another schema", lambda p: p.update(schema="x")),
    ],
)
def test_a_shot_that_was_changed_by_hand_is_refused(study, tmp_path, what, change):
    take(study, photos(tmp_path, 1), checks())
    path = study.folder / "shots" / "0001.json"
    plain = json.loads(path.read_text())
    change(plain)
    path.write_text(json.dumps(plain))
    with pytest.raises(StudyError) as refused:
        read_study(study.folder)
    assert "0001.json" in refused.value.text


def test_one_photo_for_two_shots_would_agree_with_itself(study, tmp_path):
    take(study, photos(tmp_path, 1), checks())
    shots = study.folder / "shots"
    plain = json.loads((shots / "0001.json").read_text()) | {"shot": 2}
    (shots / "0002.json").write_text(json.dumps(plain))
    with pytest.raises(StudyError) as refused:
        read_study(study.folder)
    assert refused.value.code == "photo-twice"
