"""Files of answers: read as the page wrote them, refused in a sentence as anything else."""

from __future__ import annotations

import json
import os
from dataclasses import replace

import pytest

from rigvision.training.answers import belongs, parse_answers, read_answers
from rigvision.training.first_answers import first_answers, still_open
from rigvision.training.quiz_error import AnswersError
from tests.quiz_files import answered, as_saved, known, quiz_in


@pytest.fixture
def quiz(tmp_path):
    return quiz_in(tmp_path / "quiz", [known("pass"), known("adjust", 1.3, 0.5)])


def test_what_the_page_saves_is_read_with_every_figure(quiz, tmp_path):
    path = tmp_path / "answers.json"
    path.write_bytes(as_saved(answered(quiz, ("pass", 0.75, 0.0), ("retake",))))
    found = read_answers(path)
    assert [(a.shot, a.verdict, a.gap_mm, a.turns) for a in found.answers] == [
        (1, "pass", 0.75, 0.0),
        (2, "retake", None, None),
    ]
    belongs(found, quiz, "answers.json")


def edited(content: bytes) -> bytes:
    return content.replace(b'"pass"', b'"adjust"', 1)


def reindented(content: bytes) -> bytes:
    return json.dumps(json.loads(content), indent=2).encode()


def twice(content: bytes) -> bytes:
    return content.replace(b'{"answers"', b'{"answers":[],"answers"', 1)


@pytest.mark.parametrize(
    ("spoil", "says"),
    [
        (edited, "it was changed after the page wrote it"),
        (reindented, "not in canonical form"),
        (twice, "not in canonical form"),
        (lambda c: c[: len(c) // 2], "not a file of answers"),
        (lambda c: b"", "not a file of answers"),
        (lambda c: b"\xff" + c, "not UTF-8"),
        (lambda c: b"[" * 100_000, "nested without end"),
        (lambda c: b"[1]", "not a file of answers"),
        (lambda c: c + b" " * 1_000_000, "larger than"),
    ],
)
def test_a_file_that_is_not_as_the_page_wrote_it_is_refused(quiz, tmp_path, spoil, says):
    path = tmp_path / "hers\x1b[31m.json"
    path.write_bytes(spoil(as_saved(answered(quiz, ("pass",), ("pass",)))))
    with pytest.raises(AnswersError, match=says) as refused:
        read_answers(path)
    assert "\x1b" not in refused.value.text


@pytest.mark.parametrize(
    "changes",
    [
        {"trainee": ""},
        {"trainee": "  -- "},
        {"trainee": "Ann\u202eettO"},
        {"trainee": "A" * 81},
        {"quiz": "../../etc/passwd"},
        {"begun_at": "yesterday"},
        {"begun_at": "2026-13-01T08:00:00.000Z"},
        {"finished_at": "2026-02-01T08:00:00.000Z"},
        {"answers": []},
        {"schema": "rigvision.answers/2"},
        {"more": 1},
    ],
)
def test_a_forged_file_that_no_page_writes_is_refused_whatever_its_check(quiz, changes):
    content = as_saved(answered(quiz, ("pass",), ("pass",)) | changes)
    with pytest.raises(ValueError, match=r"\w"):
        parse_answers(content)


@pytest.mark.parametrize(
    "change",
    [
        {"verdict": "release"},
        {"gap_mm": -0.1},
        {"gap_mm": 21},
        {"gap_mm": "0.8"},
        {"turns": 11},
        {"seconds": -1},
        {"shot": 0},
        {"shot": 1.5},
    ],
)
def test_an_answer_that_cannot_be_is_refused(quiz, change):
    plain = answered(quiz, ("pass",), ("pass",))
    plain["answers"][0] |= change
    with pytest.raises(ValueError, match=r"\w"):
        parse_answers(as_saved(plain))


def test_a_shot_answered_twice_in_one_file_is_refused(quiz):
    plain = answered(quiz, ("pass",), ("pass",))
    plain["answers"][1]["shot"] = 1
    with pytest.raises(ValueError, match="answers a shot twice"):
        parse_answers(as_saved(plain))


def test_answers_for_another_quiz_are_refused(quiz, tmp_path):
    other = quiz_in(tmp_path / "other", [known("pass"), known("pass")])
    found = parse_answers(as_saved(answered(other, ("pass",), ("pass",))))
    with pytest.raises(AnswersError, match=f"quiz {other.quiz}, not {quiz.quiz}"):
        belongs(found, quiz, "a.json")
    made_anew = replace(quiz, title="Made anew")
    found = parse_answers(as_saved(answered(made_anew, ("pass",))))
    with pytest.raises(AnswersError, match="another make"):
        belongs(found, quiz, "a.json")
    found = parse_answers(as_saved(answered(quiz, ("pass",), ("pass",), ("pass",))))
    with pytest.raises(AnswersError, match="beyond the quiz's 2"):
        belongs(found, quiz, "a.json")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with names here")
def test_a_pipe_is_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(AnswersError, match="not an ordinary file"):
        read_answers(tmp_path / "pipe")


def test_a_sitting_counts_once_and_a_later_one_not_at_all(quiz):
    half = parse_answers(as_saved(answered(quiz, ("pass",))))
    whole = parse_answers(as_saved(answered(quiz, ("pass",), ("adjust",))))
    later = parse_answers(
        as_saved(
            answered(
                quiz,
                ("pass",),
                ("adjust",),
                trainee="ANN  otter".replace("  ", " "),
                begun_at="2026-03-02T08:00:00.000Z",
                finished_at="2026-03-02T08:10:00.000Z",
            )
        )
    )
    found = first_answers([("half", half), ("later", later), ("whole", whole)])
    assert found.counted == (whole,)
    assert [r.text.split()[0] for r in found.remarks] == ["half", "later"]
    assert "readings were known" in found.remarks[1].text
    same = first_answers([("a", whole), ("b", parse_answers(as_saved(_plain(quiz))))])
    assert len(same.counted) == 1
    assert "counts once" in same.remarks[0].text


def _plain(quiz):
    return answered(quiz, ("pass",), ("adjust",))


def test_a_sitting_that_was_broken_off_is_said_to_be(quiz):
    half = parse_answers(as_saved(answered(quiz, ("pass",))))
    said = still_open(half, 2)
    assert said is not None
    assert "left 1 of 2 shots" in said.text
    assert still_open(half, 1) is None
