"""Practice: the truth stays sealed until all is answered, and is the one that was committed to."""

from __future__ import annotations

import json
from itertools import pairwise

import numpy as np
import pytest

from rigvision.cli.practice_photos import PracticePhotos, furthest
from rigvision.ground.errors import UsageError
from rigvision.synthetic.disturbance import DISTURBANCES
from rigvision.synthetic.truth import truth_of
from rigvision.training.answers import parse_answers
from rigvision.training.practice import (
    Drawn,
    PracticeWanted,
    make_practice,
    open_practice,
    photo_seed,
)
from rigvision.training.practice_level import LEVELS, SPOILT_BY, level
from rigvision.training.quiz import read_quiz
from rigvision.training.quiz_error import AnswersError, QuizError
from rigvision.training.sealed_truth import KEY_FILE, SEALED_FILE, new_key, new_truth, sealed
from tests.quiz_files import answered, as_saved, known, picture, truth


def drawn(number, _level):
    conforming = number % 2 == 0
    return Drawn(
        picture(), "DF-10 door 1", "limits: some", known("adjust", 0.777, truth=truth(conforming))
    )


@pytest.fixture
def made(tmp_path):
    quiz = make_practice(PracticeWanted(2, 7, level(3), tmp_path / "p"), drawn)
    return tmp_path / "p", quiz


def answers(quiz, *calls):
    return parse_answers(as_saved(answered(quiz, *calls)))


def test_truth_opens_to_complete_answers_as_it_was_committed_to(made):
    folder, quiz = made
    assert read_quiz(folder) == quiz
    found = open_practice(folder, quiz, answers(quiz, ("pass",), ("retake",)))
    assert found.commitment == quiz.commitment
    assert [k.truth for k in found.shots] == [truth(photo_seed(7, n) % 2 == 0) for n in (1, 2)]
    assert (found.seed, found.difficulty) == ("7", 3)


def test_half_done_answers_open_nothing(made):
    folder, quiz = made
    with pytest.raises(AnswersError, match="1 of 2 shots are not answered"):
        open_practice(folder, quiz, answers(quiz, ("pass",)))


def test_no_file_of_the_practice_shows_truth_or_seed(made):
    folder, _ = made
    for path in folder.rglob("*"):
        if path.is_file():
            content = path.read_bytes()
            assert b"0.777" not in content
            assert b"conforming" not in content
            assert b'"seed"' not in content
    assert (folder / KEY_FILE).stat().st_mode & 0o077 == 0


def test_a_truth_changed_afterwards_is_found_out_even_with_the_key(made):
    """Whoever has the key can seal another truth, but not under the hash that was told."""
    folder, quiz = made
    key = bytes.fromhex((folder / KEY_FILE).read_text().strip())
    other = new_truth(quiz.quiz, 3, 7, (known("pass"), known("pass")))
    (folder / SEALED_FILE).write_bytes(sealed(other, key))
    with pytest.raises(QuizError, match="not the one that was told"):
        open_practice(folder, quiz, answers(quiz, ("pass",), ("pass",)))


def spoilt_ciphertext(content: bytes) -> bytes:
    plain = json.loads(content)
    text = plain["ciphertext"]
    plain["ciphertext"] = ("0" if text[0] != "0" else "1") + text[1:]
    return json.dumps(plain, sort_keys=True, separators=(",", ":")).encode()


@pytest.mark.parametrize(
    ("name", "spoil", "says"),
    [
        (SEALED_FILE, spoilt_ciphertext, "was changed"),
        (SEALED_FILE, lambda c: c[:-9], "cannot be opened"),
        (SEALED_FILE, lambda c: b"{}", "cannot be opened"),
        (KEY_FILE, lambda c: new_key().hex().encode(), "the key is another's"),
        (KEY_FILE, lambda c: b"not hexadecimal", "no key"),
        (KEY_FILE, lambda c: c[:20], "no key"),
    ],
)
def test_what_was_changed_opens_nothing(made, name, spoil, says):
    folder, quiz = made
    path = folder / name
    path.write_bytes(spoil(path.read_bytes()))
    with pytest.raises(QuizError, match=says):
        open_practice(folder, quiz, answers(quiz, ("pass",), ("pass",)))


def test_a_key_kept_elsewhere_is_needed_and_no_file_is_lost_to_it(tmp_path):
    key = tmp_path / "trainer.key"
    quiz = make_practice(PracticeWanted(1, 7, level(1), tmp_path / "p", key), drawn)
    whole = answers(quiz, ("pass",))
    with pytest.raises(QuizError, match="no key"):
        open_practice(tmp_path / "p", quiz, whole)
    assert len(open_practice(tmp_path / "p", quiz, whole, key).shots) == 1
    with pytest.raises(UsageError, match="already"):
        make_practice(PracticeWanted(1, 7, level(1), tmp_path / "q", key), drawn)


def test_equal_truths_have_different_commitments():
    """Else the hash could be tried out against guesses."""
    one, other = (new_truth("a" * 16, 3, 7, (known("pass"),)) for _ in range(2))
    assert one.commitment != other.commitment


@pytest.mark.parametrize("count", [0, 201])
def test_a_count_beyond_reason_is_refused(tmp_path, count):
    with pytest.raises(UsageError, match="cannot be drawn"):
        make_practice(PracticeWanted(count, 7, level(1), tmp_path / "p"), drawn)


@pytest.mark.parametrize("number", [0, 6])
def test_a_difficulty_that_there_is_not_is_refused(number):
    with pytest.raises(UsageError, match="no difficulty"):
        level(number)


def test_each_level_is_at_least_as_hard_as_the_one_before():
    for easy, hard in pairwise(LEVELS):
        assert hard.nearness[0] < easy.nearness[0]
        assert hard.nearness[1] < easy.nearness[1]
        assert hard.dirt >= easy.dirt
        assert hard.glare >= easy.glare
        assert hard.tilt_deg[1] >= easy.tilt_deg[1]
    assert set(SPOILT_BY) <= set(DISTURBANCES)


@pytest.mark.parametrize("number", [1, 3, 5])
def test_scenes_are_as_near_to_a_limit_as_their_level_says(number, gauge, frame):
    photos = PracticePhotos(gauge, frame, 2000)
    rng = np.random.default_rng(3)
    conforming = set()
    for _ in range(6):
        case = photos._near_enough(level(number), rng)
        found = truth_of(case.scene, case.camera, gauge, frame)
        conforming.add(found["turns"]["conforming"])
        low, high = level(number).nearness
        off = furthest(found, frame) - 1.0
        assert low <= abs(off) <= high
        assert (off <= 0.0) == found["turns"]["conforming"]
    assert conforming == {True, False}


def test_a_drawn_photo_carries_reading_and_truth_and_repeats(gauge, frame):
    photos = PracticePhotos(gauge, frame, 2000)
    one = photos.drawn(photo_seed(5, 1), level(1))
    assert one.jpeg[:2] == b"\xff\xd8"
    assert one.known.truth is not None
    if one.known.gap_mm is not None:
        assert one.known.gap_mm == pytest.approx(one.known.truth.gap_mm, abs=0.3)
    assert photos.drawn(photo_seed(5, 1), level(1)) == one
