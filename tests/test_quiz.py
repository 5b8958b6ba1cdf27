"""Quizzes: what is known is hidden from a glance, bound by a hash, drawn from all kinds."""

from __future__ import annotations

import json
from dataclasses import replace
from hashlib import sha256

import pytest

from rigvision.cli.main import main
from rigvision.ground.errors import UsageError
from rigvision.training.masked import masked, unmasked
from rigvision.training.quiz import QUIZ_FILE, read_quiz
from rigvision.training.quiz_error import QuizError
from rigvision.training.quiz_page import quiz_folder
from rigvision.training.quiz_shots import asked_of, in_turn, kind_of
from rigvision.training.shot import ShotFiles, shot_of_result
from tests.quiz_files import known, picture, quiz_in
from tests.saved_shots import plain_result, saved


def test_masking_is_undone_by_the_same_quiz_and_shot_only():
    plain = bytes(range(256)) * 3 + b"odd"
    text = masked(plain, "ab12", 4)
    assert unmasked(text, "ab12", 4) == plain
    assert unmasked(text, "ab12", 5) != plain
    assert unmasked(text, "ab13", 4) != plain


def test_a_quiz_is_read_as_it_was_written(tmp_path):
    shots = [known("pass"), known("retake", None, None)]
    quiz = quiz_in(tmp_path / "quiz", shots)
    found = read_quiz(tmp_path / "quiz")
    assert found == quiz
    assert found.known() == tuple(shots)


def test_a_glance_at_the_files_tells_no_reading(tmp_path):
    """No call, figure or reason of a shot in any text of the folder, and no name that says one."""
    quiz_in(tmp_path / "q", [known("adjust", 1.2345, 0.4321), known("retake", None, None)])
    for path in sorted((tmp_path / "q").rglob("*")):
        assert not {"pass", "adjust", "retake"} & set(path.stem.split("-")), path
        if path.suffix in (".html", ".json"):
            text = path.read_text()
            for told in ("1.2345", "0.4321", "Because", "Do as told", '"verdict"'):
                assert told not in text, path


def test_a_reading_that_was_changed_in_the_quiz_is_another_quiz(tmp_path):
    quiz = quiz_in(tmp_path / "q", [known("adjust", 1.2)])
    path = tmp_path / "q" / QUIZ_FILE
    plain = json.loads(path.read_bytes())
    other = quiz_in(tmp_path / "other", [known("pass", 0.8)])
    plain["shots"][0]["reading"] = other.shots[0].reading
    path.write_text(json.dumps(plain, sort_keys=True, separators=(",", ":")))
    changed = read_quiz(tmp_path / "q")
    assert changed.sha256 != quiz.sha256
    with pytest.raises(QuizError, match="not as it was written"):
        changed.known()


def test_a_folder_without_a_whole_quiz_is_refused_in_a_sentence(tmp_path):
    with pytest.raises(QuizError, match="no whole quiz"):
        read_quiz(tmp_path)
    quiz_in(tmp_path / "q", [known("pass")])
    path = tmp_path / "q" / QUIZ_FILE
    path.write_bytes(path.read_bytes()[:-20])
    with pytest.raises(QuizError, match="no whole quiz"):
        read_quiz(tmp_path / "q")


def test_a_title_that_would_run_on_a_terminal_is_refused(tmp_path):
    quiz = quiz_in(tmp_path / "q", [known("pass")])
    (tmp_path / "q" / QUIZ_FILE).write_bytes(replace(quiz, title="\x1b[2Jgone").content)
    with pytest.raises(QuizError, match="not of one line"):
        read_quiz(tmp_path / "q")


def test_no_quiz_takes_the_place_of_another(tmp_path):
    quiz_in(tmp_path / "q", [known("pass")])
    with pytest.raises(UsageError, match="a quiz in"):
        quiz_folder(tmp_path / "q")
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "tax.xls").write_text("mine")
    with pytest.raises(UsageError, match="something else"):
        quiz_folder(tmp_path / "full")


def test_a_drawn_quiz_mixes_all_kinds_and_repeats_with_its_seed():
    kinds = {f"P{n}": kind_of("pass", False) for n in range(40)}
    kinds |= {f"A{n}": kind_of("adjust", False) for n in range(5)}
    kinds |= {f"B{n}": kind_of("adjust", True) for n in range(3)} | {"R0": "retake"}
    first = in_turn(kinds, seed=4)
    assert sorted(first) == sorted(kinds)
    assert {name[0] for name in first[:4]} == {"B", "P", "A", "R"}
    assert sum(name[0] == "B" for name in first[:9]) == 3
    assert first == in_turn(dict(reversed(kinds.items())), seed=4)
    assert first != in_turn(kinds, seed=5)


def test_saved_results_make_a_quiz_that_gives_no_verdict_away(tmp_path, capsys):
    """A retake knows no frame: shown beside passes, its missing limits would tell."""
    folder = tmp_path / "results"
    folder.mkdir()
    for name, probabilities in (("a", (0.99,)), ("b", (0.4,)), ("c", ())):
        photo = picture(ord(name), (320, 240))
        (folder / f"{name}.jpg").write_bytes(photo)
        plain = plain_result(*probabilities)
        plain["photo"] |= {"name": f"{name}.jpg", "sha256": sha256(photo).hexdigest()}
        plain["frame"] = plain["frame"] if probabilities else None
        (folder / f"{name}.json").write_text(json.dumps(plain))
    with pytest.raises(SystemExit) as ended:
        main(["training", "quiz", str(folder), "--out", str(tmp_path / "q"), "--seed", "1"])
    assert ended.value.code == 0
    quiz = read_quiz(tmp_path / "q")
    assert {k.verdict for k in quiz.known()} == {"pass", "adjust", "retake"}
    assert len({(s.place, s.limits) for s in quiz.shots}) == 1
    assert "0.55 to 1.05 mm" in quiz.shots[0].limits


def test_a_photo_that_is_not_the_one_that_was_measured_is_not_asked_about(tmp_path):
    (tmp_path / "photo.jpg").write_bytes(picture())
    shot = shot_of_result(saved(0.4), ShotFiles(tmp_path / "photo.jpg"))
    with pytest.raises(QuizError, match="not the one that was measured"):
        asked_of(shot)
