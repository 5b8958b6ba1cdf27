"""Records found again: each criterion by itself and together, and ids as people type them."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from recorded.invented import INSPECTOR, MECHANIC, sign_check

from rigvision.ground.errors import UsageError
from rigvision.records import ledger as ledger_module
from rigvision.records.bodies import CheckCorrected
from rigvision.records.ledger import Ledger
from rigvision.records.search import Wanted, record_named, records_of_job, search
from tests.invented_records import job, record_check, result


@pytest.fixture(scope="module")
def ledger(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Ledger]:
    """Five records in three jobs, recorded on three days."""
    path = tmp_path_factory.mktemp("kept") / "ledger.sqlite3"
    patch = pytest.MonkeyPatch()
    with Ledger.create(path) as ledger:
        made = {}
        days = iter(["2026-03-01", "2026-03-01", "2026-03-02", "2026-03-02", "2026-03-31"])
        jobs = [job("J-1", "ENG-7", 3), job("J-2", "ENG-7", 4), job("bay", "Eng-8", 3)]
        with ledger.writing() as writing:
            for opened in jobs:
                writing.append(opened)
        for record, opened, stage, figures in (
            ("AAAA-0001", jobs[0], "before", result("adjust", borderline=True)),
            ("AAAA-0002", jobs[0], "after", result("pass")),
            ("AAAA-0003", jobs[1], None, result("adjust")),
            ("AAAA-0004", jobs[2], None, result("pass", gauge="OG-2")),
            ("AAAA-0005", jobs[2], None, result("retake", gauge=None, frame=None)),
        ):
            day = next(days)
            patch.setattr(ledger_module, "now", lambda day=day: f"{day}T23:59:59.999999Z")
            made[record] = record_check(ledger, record, of=opened, stage=stage, figures=figures)
        for record, decision in (
            ("AAAA-0001", None),
            ("AAAA-0002", "accepted"),
            ("AAAA-0003", "rejected"),
        ):
            sign_check(ledger, made[record], MECHANIC, "measured")
            if decision:
                sign_check(ledger, made[record], INSPECTOR, decision, "seen")
        with ledger.writing() as writing:
            writing.append(CheckCorrected("AAAA-0003", "wrong door", "M. Ross", "AAAA-0004"))
        patch.undo()
        yield ledger


def found(ledger: Ledger, **wanted: Any) -> list[int]:
    """The records found, the newest first, by their last digit."""
    return [int(f.record[-1]) for f in search(ledger, Wanted(**wanted)).found]


def test_everything_is_found_the_newest_first(ledger: Ledger) -> None:
    assert found(ledger) == [5, 4, 3, 2, 1]


@pytest.mark.parametrize(
    ("wanted", "records"),
    [
        ({"job": "J-1"}, [2, 1]),
        ({"job": "j-1"}, [2, 1]),
        ({"job": "J-9"}, []),
        ({"work_order": "wo-J-1"}, [2, 1]),
        ({"engine": "eng-7"}, [3, 2, 1]),
        ({"engine": "eng-_"}, []),
        ({"engine": "%"}, []),
        ({"engine": "' OR 1=1 --"}, []),
        ({"frame": "df-10"}, [5, 4, 3, 2, 1]),
        ({"door": 3}, [5, 4, 2, 1]),
        ({"gauge": "OG-2"}, [4]),
        ({"stage": "after"}, [2]),
        ({"verdict": "adjust"}, [3, 1]),
        ({"borderline": True}, [1]),
        ({"borderline": False}, [5, 4, 3, 2]),
        ({"status": "recorded"}, [5, 4]),
        ({"status": "measured"}, [1]),
        ({"status": "accepted"}, [2]),
        ({"status": "rejected"}, []),
        ({"status": "corrected"}, [3]),
        ({"since": "2026-03-02"}, [5, 4, 3]),
        ({"until": "2026-03-01"}, [2, 1]),
        ({"since": "2026-03-02", "until": "2026-03-30"}, [4, 3]),
        ({"until": "2026-02-28"}, []),
        ({"engine": "ENG-7", "door": 3, "verdict": "pass"}, [2]),
    ],
)
def test_each_criterion(ledger: Ledger, wanted: dict[str, Any], records: list[int]) -> None:
    assert found(ledger, **wanted) == records


def test_more_than_asked_for_is_said(ledger: Ledger) -> None:
    two = search(ledger, Wanted(most=2))
    assert ([f.record[-1] for f in two.found], two.more) == (["5", "4"], True)
    assert not search(ledger, Wanted(most=5)).more


def test_a_find_says_all_that_a_list_shows(ledger: Ledger) -> None:
    (first,) = search(ledger, Wanted(borderline=True)).found
    assert (first.record, first.job, first.engine, first.door) == ("AAAA-0001", "J-1", "ENG-7", 3)
    assert (first.verdict, first.borderline, first.stage) == ("adjust", True, "before")
    assert (first.recorded_at, first.status) == ("2026-03-01T23:59:59.999999Z", "measured")


def test_a_jobs_records_come_in_their_order(ledger: Ledger) -> None:
    assert [f.record for f in records_of_job(ledger, "bay")] == ["AAAA-0004", "AAAA-0005"]


@pytest.mark.parametrize(
    "day", ["2026-02-30", "yesterday", "2026-3-1", "2026-03-01T00:00", "9999-12-31", "\x1b[31m"]
)
def test_a_day_that_is_none(ledger: Ledger, day: str) -> None:
    with pytest.raises(UsageError, match="is no day") as said:
        search(ledger, Wanted(since=day))
    assert "\x1b" not in str(said.value)


@pytest.mark.parametrize("most", [0, -1, 10_001])
def test_how_many_to_list_is_limited(ledger: Ledger, most: int) -> None:
    with pytest.raises(UsageError, match="1 to 10000"):
        search(ledger, Wanted(most=most))


@pytest.mark.parametrize("typed", ["AAAA-0002", "aaaa-0002", "AAAA0002", " aaaa ooo2 "])
def test_an_id_is_understood_as_it_is_typed(ledger: Ledger, typed: str) -> None:
    assert record_named(ledger, typed) == "AAAA-0002"


def test_a_mistyped_id_names_the_nearest(ledger: Ledger) -> None:
    with pytest.raises(UsageError, match=r"no record AAAA-0W02.*Is AAAA-0002"):
        record_named(ledger, "AAAA-0W02")
    with pytest.raises(UsageError) as far:
        record_named(ledger, "ZZZZ-ZZZZ")
    assert "meant" not in far.value.remedy
    with pytest.raises(UsageError, match="is no record's id"):
        record_named(ledger, "../../etc/passwd")
