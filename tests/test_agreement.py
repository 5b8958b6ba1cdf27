"""Kappas and shares against published examples, statsmodels, a jackknife, and hand arithmetic."""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from rigvision.training.agreement import (
    cohen_kappa,
    cohen_table,
    fleiss_by_category,
    fleiss_kappa,
    proportion,
)
from rigvision.training.verdict_agreement import Call, verdict_agreement

#: Fleiss (1971): 30 patients, six psychiatrists each, five diagnoses; counts as statsmodels has
#: them in its tests.
DIAGNOSES = (
    "00060 03003 01401 00006 03030 20400 00402 20310 20040 00006 10050 11040 03300 10050 02031 "
    "00501 30012 51000 02040 10203 00006 01050 02013 20040 10041 05010 40002 02040 10500 00006"
)
#: Wikipedia's example of Fleiss's kappa: ten subjects, 14 raters, five categories.
TEN = """0 0 0 0 14|0 2 6 4 2|0 0 3 5 6|0 3 9 2 0|2 2 8 1 1|7 7 0 0 0|3 2 6 3 0|2 5 3 2 2|6 5 2 1 0
|0 2 2 3 7"""


def diagnoses() -> np.ndarray:
    return np.array([[int(c) for c in word] for word in DIAGNOSES.split()])


def test_fleiss_1971():
    """Printed 0.430; the columns' totals show that the table was copied whole."""
    counts = diagnoses()
    assert counts.sum(axis=0).tolist() == [26, 26, 30, 55, 43]
    kappa = fleiss_kappa(counts)
    assert f"{kappa.value:.3f}" == "0.430"
    assert kappa.value == pytest.approx(0.4302445, abs=5e-8)
    by_category = [k.value for k in fleiss_by_category(counts)]
    assert by_category == pytest.approx([0.244755, 0.244755, 0.520, 0.471127, 0.566118], abs=1e-6)


def test_fleiss_of_wikipedias_table():
    counts = [[int(c) for c in row.split()] for row in TEN.split("|")]
    assert fleiss_kappa(counts).value == pytest.approx(0.210, abs=5e-4)


@pytest.mark.parametrize(
    ("table", "kappa"), [([[7, 1], [3, 5]], 0.161905), ([[6.99, 0.01], [6.99, 0.01]], -1 / 6)]
)
def test_fleiss_of_randolphs_tables(table, kappa):
    """Pairs of raters as two subjects; the values are those in statsmodels' tests."""
    assert fleiss_kappa(table).value == pytest.approx(kappa, abs=1e-3)


def test_cohen_of_wikipedias_table():
    """Kappa 0.4 (from memory), standard error 0.127."""
    kappa = cohen_kappa([[20, 5], [10, 15]])
    assert kappa.value == pytest.approx(0.4)
    assert kappa.standard_error == pytest.approx(0.1270, abs=5e-5)
    assert kappa.interval == pytest.approx(
        (0.4 - 1.95996 * 0.1270, 0.4 + 1.95996 * 0.1270), abs=1e-4
    )


def test_cohen_and_its_interval_are_those_of_statsmodels():
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        rater = pytest.importorskip("statsmodels.stats.inter_rater")
    for table in ([[44, 5, 1], [7, 20, 3], [9, 5, 6]], [[3, 9], [8, 2]], [[10, 0], [1, 9]]):
        found, known = cohen_kappa(table), rater.cohens_kappa(np.array(table))
        assert found.value == pytest.approx(known.kappa)
        assert found.standard_error == pytest.approx(known.std_kappa)
        assert found.interval[0] == pytest.approx(known.kappa_low, abs=1e-6)
        assert found.interval[1] == pytest.approx(min(known.kappa_upp, 1.0), abs=1e-6)


def test_fleiss_standard_error_is_near_the_jackknifes():
    """Leaving out one subject after another is another way to the same figure."""
    counts = diagnoses()
    found = fleiss_kappa(counts)
    left_out = [fleiss_kappa(np.delete(counts, i, axis=0)).value for i in range(len(counts))]
    jackknife = np.sqrt(29 / 30 * np.sum((np.array(left_out) - np.mean(left_out)) ** 2))
    assert found.standard_error == pytest.approx(jackknife, rel=0.05)


@pytest.mark.parametrize("unequal", [False, True])
def test_fleiss_standard_error_is_that_of_each_subjects_weight(unequal):
    """A subject counted once more among hundreds of copies shows what kappa owes to it."""
    counts = diagnoses()
    if unequal:
        counts[::3] = np.minimum(counts[::3], 1)
        counts[1] = [1, 0, 0, 0, 0]
    many = np.repeat(counts, 300, axis=0)
    found, base = fleiss_kappa(counts), fleiss_kappa(many).value
    owed = [(fleiss_kappa(np.vstack([many, row])).value - base) * 9001 for row in counts]
    assert found.standard_error == pytest.approx((np.sum(np.square(owed)) / 870) ** 0.5, rel=2e-3)


@pytest.mark.parametrize("truth", [0.0, 0.5])
def test_fleiss_intervals_hold_what_they_claim(truth):
    """Raters know with this probability, else toss a coin: that is kappa. 500 drawn tables."""
    rng = np.random.default_rng(2)
    inside = 0
    for _ in range(500):
        state = rng.integers(0, 2, 40)
        knows = rng.random((40, 1)) < truth
        called = np.where(knows, state[:, None], rng.integers(0, 2, (40, 5)))
        kappa = fleiss_kappa(np.stack([(called == 0).sum(1), (called == 1).sum(1)], axis=1))
        inside += kappa.interval[0] <= truth <= kappa.interval[1]
    assert inside / 500 > 0.95 - 4 * 0.0098


def test_unequal_numbers_of_calls_are_allowed():
    """Subjects called once tell what is common, not who agrees."""
    alike = fleiss_kappa([[3, 0], [0, 2], [1, 0]])
    assert alike.value == pytest.approx(1.0)
    assert fleiss_kappa([[1, 1], [2, 2], [0, 1]]).value < 0.2


@pytest.mark.parametrize("table", [[[0, 0], [0, 0]], [[9, 0], [0, 0]]])
def test_kappa_means_nothing_where_all_is_called_alike(table):
    assert cohen_kappa(table).value is None
    assert fleiss_kappa(table).value is None
    assert cohen_kappa(table).interval is None


def test_shares_with_exact_intervals():
    """Clopper and Pearson's for 0 and 10 of 10: 1 - 0.025^(1/10); 5 of 10 from tables."""
    assert proportion(0, 10).interval == pytest.approx((0.0, 0.30850), abs=1e-5)
    assert proportion(10, 10).interval == pytest.approx((0.69150, 1.0), abs=1e-5)
    assert proportion(5, 10).interval == pytest.approx((0.18709, 0.81291), abs=1e-5)
    assert proportion(0, 0).value is None


def test_a_table_of_two_raters():
    assert cohen_table("aab", "abb", "ab").tolist() == [[1, 1], [0, 1]]


def calls_of(text: str) -> list[Call]:
    """``setting person verdicts reference`` a line, a letter a verdict."""
    words = {"p": "pass", "a": "adjust", "r": "retake", "-": None}
    return [
        Call(setting, person, shot, words[letter], words[reference])
        for setting, person, letters, reference in (line.split() for line in text.split("\n"))
        for shot, letter in enumerate(letters, 1)
    ]


STUDY = "1 A pp p\n1 B pp p\n2 A aa a\n2 B ap a\n3 A pa p\n3 B pp p\n4 A aa a\n4 B pp a"


def test_verdicts_within_between_and_against_the_reference():
    found = verdict_agreement(calls_of(STUDY))
    assert [(w.person, w.same.count, w.same.total) for w in found.within] == [
        ("A", 3, 4),
        ("B", 3, 4),
    ]
    assert (found.all_same.count, found.all_same.total) == (1, 4)
    # A's shots with B's: pp pp | aa ap | pp ap | ap ap, that is 3 + 1 agree of 8.
    assert len(found.between) == 1
    table = [[3, 0, 0], [4, 1, 0], [0, 0, 0]]
    assert found.between[0].kappa.value == pytest.approx(cohen_kappa(table).value)
    a, b = found.reference
    assert (a.right.count, b.right.count) == (3, 2)
    assert (a.wrong_passes.count, a.wrong_passes.total) == (0, 4)
    assert (b.wrong_passes.count, b.wrong_passes.total) == (3, 4)
    assert (a.missed.count, a.missed.total) == (1, 4)
    assert [v for v, _ in found.by_verdict] == ["pass", "adjust"]


def test_one_person_without_a_reference_agrees_with_nobody():
    found = verdict_agreement(calls_of("1 A pp -\n2 A pa -"))
    assert found.between == ()
    assert found.reference == ()
    assert found.all_same.total == 0
    assert found.together.value is None
    assert found.within[0].same.count == 1


def test_no_verdicts_at_all():
    found = verdict_agreement([])
    assert found.within == ()
    assert found.together.value is None
