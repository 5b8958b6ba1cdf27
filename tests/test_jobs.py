"""Jobs: opened once, found however they are typed, closed for good."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from rigvision.ground.errors import UsageError
from rigvision.records.jobs import (
    JobWanted,
    all_jobs,
    close_job,
    job_named,
    open_job,
    open_job_named,
)
from rigvision.records.ledger import Ledger
from rigvision.records.ledger_error import LedgerError
from rigvision.world.frame import Frame
from tests.invented_records import record_check

WANTED = JobWanted("WO 4711", "ESN-7", 3, "ordinary", "A. Fitter")


@pytest.fixture
def ledger(tmp_path: Path) -> Iterator[Ledger]:
    with Ledger.create(tmp_path / "ledger.sqlite3") as ledger:
        yield ledger


def refused(ledger: Ledger, frame: Frame, **changes: object) -> UsageError:
    """What is said of a job that cannot be opened; nothing is in the ledger then."""
    with pytest.raises(UsageError) as said:
        open_job(ledger, replace(WANTED, **changes), frame)  # type: ignore[arg-type]
    assert ledger.head().count == 1
    return said.value


def test_a_job_is_kept_as_it_was_opened(ledger: Ledger, frame: Frame) -> None:
    open_job(ledger, replace(WANTED, position="master", remark="after the change"), frame)
    job = job_named(ledger, "J-0001")
    opened = job.opened
    assert (opened.work_order, opened.engine, opened.door) == ("WO 4711", "ESN-7", 3)
    assert (opened.frame, opened.position) == ("DF-10", "master")
    assert (opened.opened_by, opened.remark) == ("A. Fitter", "after the change")
    assert job.is_open
    assert job.checks == 0


def test_numbers_follow_the_highest_given(ledger: Ledger, frame: Frame) -> None:
    references = ["J-0001", "J-0041", "J-0042", "J-x", "J-0043"]
    asked = [None, "J-0041", None, "J-x", None]
    for reference, wanted in zip(references, asked, strict=True):
        assert open_job(ledger, replace(WANTED, reference=wanted), frame).reference == reference


def test_a_reference_is_found_in_small_letters_and_taken_once(ledger: Ledger, frame: Frame) -> None:
    open_job(ledger, replace(WANTED, reference="Bay-2"), frame)
    assert job_named(ledger, "bAY-2").reference == "Bay-2"
    with pytest.raises(UsageError, match="There is a job Bay-2 already"):
        open_job(ledger, replace(WANTED, reference="bay-2"), frame)


def test_the_nearest_is_named_where_there_is_none(ledger: Ledger, frame: Frame) -> None:
    for reference in ("J-0042", "other"):
        open_job(ledger, replace(WANTED, reference=reference), frame)
    with pytest.raises(UsageError, match=r"no job 'j-0024'.*Is J-0042 meant\?"):
        job_named(ledger, "j-0024")
    with pytest.raises(UsageError) as said:
        job_named(ledger, "zzz\x1b[31m\u202e")
    assert "\x1b" not in str(said.value)
    assert "\u202e" not in str(said.value)
    assert "meant" not in str(said.value)


def test_a_closed_job_takes_no_check_and_closes_once(ledger: Ledger, frame: Frame) -> None:
    open_job(ledger, WANTED, frame)
    job = close_job(ledger, "j-0001", "B. Lead", "done")
    assert not job.is_open
    assert job.closed is not None
    assert (job.closed.closed_by, job.closed.remark) == ("B. Lead", "done")
    for again in (
        lambda: open_job_named(ledger, "J-0001"),
        lambda: close_job(ledger, "J-0001", "B. Lead"),
    ):
        with pytest.raises(UsageError, match=r"J-0001 was closed by B\. Lead on 20"):
            again()


def test_all_are_listed_the_newest_first(ledger: Ledger, frame: Frame) -> None:
    for _ in range(3):
        open_job(ledger, WANTED, frame)
    close_job(ledger, "J-0002", "B. Lead")
    record_check(ledger, "AAAA-0001")
    assert [j.reference for j in all_jobs(ledger)] == ["J-0003", "J-0002", "J-0001"]
    assert [j.reference for j in all_jobs(ledger, open_only=True)] == ["J-0003", "J-0001"]
    assert [j.checks for j in all_jobs(ledger)] == [0, 0, 1]


@pytest.mark.parametrize("door", [0, 11, -3])
def test_a_door_that_the_frame_does_not_have(ledger: Ledger, frame: Frame, door: int) -> None:
    assert f"doors 1 to 10, not {door}" in str(refused(ledger, frame, door=door))


@pytest.mark.parametrize(
    "reference",
    ["", "../up", "a b", "J\n1", "-x", "é", "x" * 33, "J;DROP TABLE job", "%s", "\u202eJ-1"],
)
def test_a_reference_that_is_none(ledger: Ledger, frame: Frame, reference: str) -> None:
    error = refused(ledger, frame, reference=reference)
    assert error.code == "unfit-reference"


@pytest.mark.parametrize("field", ["work_order", "engine", "remark"])
@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("ESN\x1b[2J7", "do not show"),
        ("\u202eESN-7", "do not show"),
        ("ESN\u00077", "do not show"),
        ("two\nlines", "do not show"),
        ("lone \udce9", "do not show"),
        ("zero\u200bwidth", "do not show"),
        ("long " * 200, "characters; at most"),
    ],
)
def test_text_that_could_not_be_shown_again(
    ledger: Ledger, frame: Frame, field: str, text: str, said: str
) -> None:
    error = refused(ledger, frame, **{field: text})
    assert said in error.text
    assert not set(error.text) & {"\x1b", "\u202e", "\n", "\u200b"}


@pytest.mark.parametrize("field", ["work_order", "engine"])
def test_what_must_be_said_is_not_left_empty(ledger: Ledger, frame: Frame, field: str) -> None:
    assert "is empty" in refused(ledger, frame, **{field: "  "}).text


def test_harmless_text_of_any_language_is_kept_in_one_form(ledger: Ledger, frame: Frame) -> None:
    """NFC: an e with its accent apart and in one are the same text."""
    remark = "  Tür   geprüft, re\u0301glage [bold]fait[/bold] שלום "
    open_job(ledger, replace(WANTED, remark=remark), frame)
    kept = job_named(ledger, "J-0001").opened.remark
    assert kept == "Tür geprüft, r\u00e9glage [bold]fait[/bold] שלום"


def test_an_entry_that_was_changed_is_a_sentence(ledger: Ledger, frame: Frame) -> None:
    open_job(ledger, WANTED, frame)
    ledger.connection.execute("DROP TRIGGER entry_no_update")
    ledger.connection.execute('UPDATE entry SET body = \'{"job":"J-0001"}\' WHERE sequence = 2')
    with pytest.raises(LedgerError, match=r"Entry 2 \(job-opened\) does not have the form"):
        job_named(ledger, "J-0001")
