"""Shots from records, their order in the queue, and rulings that stand beside them."""

from __future__ import annotations

from dataclasses import replace

import pytest

from rigvision.ground.errors import UsageError
from rigvision.records.ledger import Ledger
from rigvision.records.ledger_check import check_ledger
from rigvision.records.noting import note_ruling
from rigvision.records.record_view import view_record
from rigvision.training.page_set import page_folder
from rigvision.training.shot import ShotFiles, queued, shot_of_record, shot_of_result
from tests.saved_shots import judged, saved


def shot(*probabilities: float):
    return shot_of_result(saved(*probabilities), ShotFiles())


def test_the_queue_begins_where_opinions_differ_and_ends_where_nothing_was_judged():
    shots = [shot(0.999), shot(), shot(0.02), shot(0.45), shot(0.7)]
    assert [s.probability for s in queued(shots)] == [0.45, 0.7, 0.02, 0.999, None]


def test_the_call_hangs_on_the_characteristic_least_likely_to_conform():
    both = shot(0.97, 0.48)
    assert both.worst is not None
    assert (both.worst.quantity, both.probability) == ("taper", 0.48)
    assert both.from_even_odds == pytest.approx(0.02, abs=1e-12)


def test_a_probability_that_rounding_made_less_than_nothing_is_none():
    """The difference of two tails may come out at -0.0, and prints as such."""
    assert str(shot(-0.0).probability) == "0.0"


def test_keys_are_fit_for_file_names_and_differ_by_result():
    one = saved(0.4)
    other = replace(one, photo=replace(one.photo, name="../../<b>.jpg"))
    keys = {shot_of_result(r, ShotFiles()).key for r in (one, other)}
    assert len(keys) == 2
    assert all(key.replace("-", "").isalnum() for key in keys)


@pytest.fixture
def ledger(tmp_path):
    with Ledger.create(tmp_path / "ledger.sqlite3") as made:
        yield made


def test_a_ruling_is_an_entry_beside_an_unchanged_record(ledger):
    record = judged(ledger, "AAAA-AAAA", saved(0.4))
    before = view_record(ledger, record).plain
    note_ruling(ledger, record, "retake", "grain on the sill edge", "T. Rainer")
    note_ruling(ledger, record, "adjust", "seen at the door", "T. Rainer")
    view = view_record(ledger, record)
    found = shot_of_record(ledger, view)
    assert view.plain == before
    assert [(r.word, r.text) for r in found.rulings] == [
        ("retake", "grain on the sill edge"),
        ("adjust", "seen at the door"),
    ]
    assert found.ruling is not None
    assert (found.ruling.word, found.ruling.by) == ("adjust", "T. Rainer")
    assert found.job is not None
    assert found.files.photo is not None
    assert check_ledger(ledger.path).intact


@pytest.mark.parametrize(
    ("ruling", "text", "by", "code"),
    [
        ("maybe", "why", "T. Rainer", "unknown-ruling"),
        ("pass", " ", "T. Rainer", "unfit-text"),
        ("pass", "a\x1b[2Jb", "T. Rainer", "unfit-text"),
        ("pass", "why", "", "unfit-name"),
    ],
)
def test_what_cannot_be_kept_is_refused_and_nothing_is_entered(ledger, ruling, text, by, code):
    record = judged(ledger, "AAAA-AAAA", saved(0.4))
    count = ledger.head().count
    with pytest.raises(UsageError) as refused:
        note_ruling(ledger, record, ruling, text, by)
    assert refused.value.code == code
    assert ledger.head().count == count


def test_only_an_empty_folder_or_one_of_our_own_is_written_to(tmp_path):
    mine = page_folder(tmp_path / "new", "review")
    mine.note({"a.jpg": "1"})
    assert page_folder(tmp_path / "new", "review").made == {"a.jpg": "1"}
    with pytest.raises(UsageError, match="something else"):
        page_folder(tmp_path / "new", "quiz")
    (tmp_path / "other").mkdir()
    (tmp_path / "other" / "letter.txt").write_text("dear")
    with pytest.raises(UsageError, match="something else"):
        page_folder(tmp_path / "other", "review")
