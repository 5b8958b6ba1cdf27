"""Scores: shares, kappas, bias and spread, worked out by hand for small sittings."""

from __future__ import annotations

import pytest

from rigvision.training.answers import parse_answers
from rigvision.training.first_answers import Remark
from rigvision.training.known import must_not_pass, right_call
from rigvision.training.score import estimates, score
from rigvision.training.score_rows import rows
from rigvision.training.score_sheet import write_sheets
from rigvision.training.sitting import sitting_of
from tests.quiz_files import answered, as_saved, known, quiz_in, truth

HOSTILE = "<img src=x onerror=alert(1)> O'Hara"


def sitting(quiz, *calls, rulings=None, **changes):
    answers = parse_answers(as_saved(answered(quiz, *calls, **changes)))
    return sitting_of(answers, quiz, quiz.known(), rulings or {})


@pytest.fixture
def quiz(tmp_path):
    shots = [
        known("pass", 0.80, 0.0),
        known("adjust", 1.20, 0.5),
        known("adjust", 0.40, -0.5),
        known("retake", None, None),
    ]
    return quiz_in(tmp_path / "quiz", shots, ["AAAA-0001", "AAAA-0002", "AAAA-0003", "AAAA-0004"])


CALLS = (("pass", 0.9, 0.0), ("pass", 1.1, 0.0), ("adjust", 0.6, -0.25), ("adjust", 0.7))


def test_calls_against_the_tool_by_hand(quiz):
    """Of four calls two are the tool's; by chance 0.25 * 0.5 + 0.5 * 0.5 = 0.375 would be:
    kappa is (0.5 - 0.375) / (1 - 0.375) = 0.2."""
    (one,) = score([sitting(quiz, *CALLS)]).trainees
    tally = one.together
    assert (tally.right.count, tally.right.total) == (2, 4)
    assert tally.tool.kappa.value == pytest.approx(0.2, abs=1e-12)
    assert tally.tool.kappa.interval is not None
    assert (tally.wrong_passes.count, tally.wrong_passes.total) == (1, 3)
    assert (tally.needless_retakes.count, tally.needless_retakes.total) == (0, 3)
    assert (tally.unseen_retakes.count, tally.unseen_retakes.total) == (1, 1)
    assert tally.trainer.same.total == 0


def test_the_trainers_word_goes_before_the_tools(quiz):
    """Ruled: the wrong pass was none, and the first was one."""
    rulings = {"AAAA-0001": "adjust", "AAAA-0002": "pass"}
    (one,) = score([sitting(quiz, *CALLS, rulings=rulings)]).trainees
    tally = one.together
    assert (tally.trainer.same.count, tally.trainer.same.total) == (1, 2)
    assert (tally.wrong_passes.count, tally.wrong_passes.total) == (1, 3)
    assert (tally.right.count, tally.right.total) == (2, 4)
    assert tally.three.subjects == 2


def test_bias_and_spread_by_hand():
    """Errors 0.1, -0.1, 0.3: mean 0.1, deviation 0.2. Student's t of 2 degrees of freedom at
    97.5 % is 4.303, chi-squared 7.378 at 97.5 % and 0.05064 at 2.5 % (common tables)."""
    found = estimates([(0.9, 0.8), (1.1, 1.2), (0.7, 0.4), (0.7, None), (None, 1.0)])
    assert found.count == 3
    assert found.bias == pytest.approx(0.1, abs=1e-12)
    assert found.spread == pytest.approx(0.2, abs=1e-12)
    reach = 4.303 * 0.2 / 3**0.5
    assert found.bias_interval == pytest.approx((0.1 - reach, 0.1 + reach), abs=1e-4)
    ends = (0.2 * (2 / 7.378) ** 0.5, 0.2 * (2 / 0.05064) ** 0.5)
    assert found.spread_interval == pytest.approx(ends, abs=1e-3)


def test_few_or_equal_estimates_say_what_they_can():
    assert estimates([]).bias is None
    one = estimates([(0.9, 0.8)])
    assert one.bias == pytest.approx(0.1)
    assert (one.bias_interval, one.spread) == (None, None)
    same = estimates([(0.5, 0.5)] * 3)
    assert (same.bias, same.spread, same.spread_interval) == (0.0, 0.0, (0.0, 0.0))


@pytest.mark.parametrize(
    ("said", "conforms", "right", "wrong_pass"),
    [
        ("pass", True, "pass", False),
        ("pass", False, "adjust", True),
        ("adjust", True, "adjust", False),
        ("adjust", False, "adjust", True),
        ("retake", True, "retake", True),
    ],
)
def test_truth_decides_what_is_a_wrong_pass(said, conforms, right, wrong_pass):
    drawn = known(said, truth=truth(conforms))
    assert right_call(drawn, None) == right
    assert must_not_pass(drawn, None) is wrong_pass


def test_progress_runs_by_date_and_people_are_told_by_name(quiz, tmp_path):
    other = quiz_in(tmp_path / "other", [known("pass"), known("adjust")])
    early = {"begun_at": "2026-02-01T08:00:00.000Z", "finished_at": "2026-02-01T09:00:00.000Z"}
    found = score(
        [
            sitting(quiz, *CALLS),
            sitting(other, ("adjust",), ("adjust",), trainee="ann otter", **early),
            sitting(quiz, *CALLS[:2], trainee="Bo Lind"),
        ]
    )
    assert [t.trainee for t in found.trainees] == ["Ann Otter", "Bo Lind"]
    ann = found.trainees[0]
    assert [d.finished_at[:7] for d in ann.sittings] == ["2026-02", "2026-03"]
    assert (ann.together.answered, ann.together.asked) == (6, 6)
    # Both called two shots of one quiz, and both passed them: nothing beyond chance to be had.
    assert (found.among.subjects, found.among.value) == (2, None)


def test_fleiss_among_trainees_by_hand(quiz):
    """Two raters, two shots; agreed on one: 0.5. Passes 3 of 4: by chance 0.5625 + 0.0625 = 0.625.
    Kappa is (0.5 - 0.625) / 0.375 = -1/3."""
    one = sitting(quiz, ("pass",), ("pass",))
    two = sitting(quiz, ("pass",), ("adjust",), trainee="Bo Lind")
    found = score([one, two])
    assert found.among.value == pytest.approx(-1 / 3, abs=1e-12)
    assert {v for v, _ in found.by_verdict} == {"pass", "adjust"}


def test_nobody_scored_is_a_score():
    found = score([])
    assert (found.trainees, found.among.value, found.by_verdict) == ((), None, ())


def test_a_name_of_markup_is_shown_on_the_sheet_and_names_no_file(quiz, tmp_path):
    found = score([sitting(quiz, *CALLS, trainee=HOSTILE)])
    remarks = [Remark(HOSTILE, f"{HOSTILE} left 1 open."), Remark("O'Hara", "Not hers.")]
    (path,) = write_sheets(tmp_path / "sheets", found, remarks)
    text = path.read_text()
    assert "Not hers" not in text
    assert "<img" not in text
    assert text.count("&lt;img src=x onerror=alert(1)&gt;") >= 3
    assert path.name == "sheet-01-img-src-x-onerror-alert-1-O-Ha.html"


def test_rows_leave_out_what_there_is_nothing_to_say_of(quiz):
    (one,) = score([sitting(quiz, ("pass",))]).trainees
    names = [row[0] for row in rows(one.together)]
    assert "Right calls" in names
    assert not any("trainer" in name or "spread" in name for name in names)


def test_rows_give_shares_in_per_cent(quiz):
    """None of three: Clopper and Pearson's upper end is 1 - 0.025^(1/3) = 70.8 %."""
    (one,) = score([sitting(quiz, *CALLS)]).trainees
    needless = next(row for row in rows(one.together) if row[0] == "Needless retakes")
    assert needless == ("Needless retakes", "0 of 3", "0 to 71 %")
    right = next(row for row in rows(one.together) if row[0] == "Right calls")
    assert right == ("Right calls", "2 of 4", "7 to 93 %")
