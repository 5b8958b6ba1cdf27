"""Quizzes: what is known is hidden from a glance, bound by a hash, drawn from all kinds."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from rigvision.ground.errors import UsageError
from rigvision.records.search import Found
from rigvision.training.masked import masked, unmasked
from rigvision.training.quiz import QUIZ_FILE, read_quiz
from rigvision.training.quiz_error import QuizError
from rigvision.training.quiz_page import quiz_folder
from rigvision.training.quiz_shots import in_turn
from tests.quiz_files import known, quiz_in


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


def found(record, verdict, borderline=False):
    base = ("J-1", "WO", "E", "DF-10", 3, None, "RG-10")
    return Found(record, *base, verdict, borderline, "2026", None, "recorded")


def test_a_drawn_quiz_mixes_all_kinds_and_repeats_with_its_seed():
    many = [found(f"P{n}", "pass") for n in range(40)]
    many += [found(f"A{n}", "adjust") for n in range(5)]
    many += [found(f"B{n}", "adjust", True) for n in range(3)] + [found("R0", "retake")]
    first = [f.record for f in in_turn(many, seed=4)]
    assert sorted(first) == sorted(f.record for f in many)
    assert {r[0] for r in first[:4]} == {"B", "P", "A", "R"}
    assert sum(r[0] == "B" for r in first[:9]) == 3
    assert first == [f.record for f in in_turn(list(reversed(many)), seed=4)]
    assert first != [f.record for f in in_turn(many, seed=5)]
