"""What is wrong with a recorded check or a signature under it, looked at by itself."""

from __future__ import annotations

from collections.abc import Iterator

from rigvision.ground.shown import one_line
from rigvision.records.bodies import CheckRecorded, Signed
from rigvision.records.entry import Entry
from rigvision.records.persons import Persons
from rigvision.records.read_body import core_sha256, result_sha256
from rigvision.records.record_id import record_id
from rigvision.records.sign_off import Standing, objection_to
from rigvision.records.statement import flaw_of, mismatch_of


def check_faults(entry: Entry, check: CheckRecorded, ledger: str) -> Iterator[str]:
    """What contradicts itself in a check, in words that follow "the check"; ``check`` is the
    entry's body. The signature in it is not looked at."""
    core = check.core
    if core.ledger != ledger:
        yield "is of another ledger"
    if check.core_sha256 != core_sha256(entry.body["core"]):
        yield "has another core than its hash says"
    if core.result_sha256 != result_sha256(entry.body["result"]):
        yield "has another result than its hash says"
    if core.record != record_id(
        core.ledger, core.job, core.photo.sha256, core.result_sha256, core.recorded_at
    ):
        yield "has another id than follows from it"
    if (core.follows_count, core.follows_hash) != (entry.sequence - 1, entry.previous):
        yield "does not follow the entry that it says it follows"
    photo = check.result.get("photo")
    if not isinstance(photo, dict) or photo.get("sha256") != core.photo.sha256:
        yield "has a result of another photo"


def signature_faults(
    signed: Signed, check: CheckRecorded, standing: Standing, persons: Persons
) -> Iterator[str]:
    """What is wrong with a signature, as a sentence without its point: it does not hold, it is
    about something else, or it should not have been given."""
    if flaw := flaw_of(signed):
        yield flaw
    if mismatch := mismatch_of(signed.statement, check):
        yield mismatch
    if objection := objection_to(signed.statement, standing, persons):
        yield one_line(objection.text, 300).removesuffix(".")
