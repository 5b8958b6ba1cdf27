"""Whether a record that left the house is as its ledger wrote it, found from itself alone.

What that cannot tell: whether the key in it is the key of the ledger it names (compare its
fingerprint with one that was noted), and what the ledger came to say after it was exported.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from rigvision.ground.shown import one_line
from rigvision.records.bodies import (
    Body,
    CheckCorrected,
    CheckRecorded,
    CheckSigned,
    JobClosed,
    JobOpened,
    LedgerOpened,
    Noted,
    PersonEnrolled,
    PersonWithdrawn,
    Statement,
)
from rigvision.records.check_faults import check_faults, signature_faults
from rigvision.records.entry import NOTHING_BEFORE, Entry, Head, entry_hash
from rigvision.records.ledger_key import head_message
from rigvision.records.persons import Persons
from rigvision.records.read_body import read_body
from rigvision.records.record_export import RecordExport, signed_bytes
from rigvision.records.sign_off import Standing
from rigvision.records.signature import holds
from rigvision.records.standing import first_standing, standing_after

_LEDGER, _HASH = re.compile("[0-9a-f]{16}"), re.compile("[0-9a-f]{64}")


@dataclass(frozen=True, slots=True)
class Correction:
    """A correction, and when the ledger took it."""

    body: CheckCorrected
    recorded_at: str


@dataclass(slots=True)
class Examined:
    """What a record turned out to say, and every fault in it, in the order it was met."""

    record: str
    head: Head
    faults: list[str] = field(default_factory=list)
    persons: Persons = field(default_factory=Persons)
    job: JobOpened | None = None
    check: CheckRecorded | None = None
    standing: Standing | None = None
    corrections: list[Correction] = field(default_factory=list)

    @property
    def statements(self) -> tuple[Statement, ...]:
        """What was signed about it, so far as it stands."""
        said = (self.standing.measured, self.standing.decided) if self.standing else ()
        return tuple(statement for statement in said if statement)


def examine(export: RecordExport) -> Examined:
    """Look at everything that an export says. It never raises: what is wrong is a fault."""
    found = examine_entries(export.record, export.head, export.entries)
    if not holds(export.head.public_key, export.signature, signed_bytes(export)):
        found.faults.insert(0, "the ledger's signature over the record does not hold")
    return found


def examine_entries(record: str, head: Head, entries: Sequence[Entry]) -> Examined:
    """Look at the entries that concern a record, in order, and at the head of their ledger."""
    found = Examined(record, head)
    found.faults += _faults_of_the_head(head)
    found.faults += _faults_of_the_chain(head, entries)
    for entry in entries:
        try:
            faults = list(_follow(found, entry, read_body(entry.kind, entry.body)))
            found.faults += (f"entry {entry.sequence}: {fault}" for fault in faults)
        except ValueError as error:
            found.faults.append(f"entry {entry.sequence}: {one_line(str(error), 200)}")
    if found.check is None:
        found.faults.append(f"there is no check {one_line(record, 20)} in it")
    return found


def _faults_of_the_head(head: Head) -> Iterator[str]:
    if not _LEDGER.fullmatch(head.ledger) or not _HASH.fullmatch(head.hash):
        yield "the ledger's head is none"
    if not holds(head.public_key, head.signature, head_message(head.ledger, head.count, head.hash)):
        yield "the signature of the ledger's head does not hold"


def _faults_of_the_chain(head: Head, entries: Sequence[Entry]) -> Iterator[str]:
    """Hashes, signatures and order of the entries, as far as they show without those between."""
    if not entries or entries[0].kind != "ledger-opened":
        yield "the ledger's first entry is missing"
    before = None
    for entry in entries:
        name = f"entry {entry.sequence}"
        if entry.hash != _hash_of(entry):
            yield f"{name} has another hash than it says"
        message = head_message(head.ledger, entry.sequence, entry.hash)
        if not holds(head.public_key, entry.signature, message):
            yield f"the ledger's signature on {name} does not hold"
        if before and entry.sequence <= before.sequence:
            yield f"{name} stands behind entry {before.sequence}"
        if before and entry.sequence == before.sequence + 1 and entry.previous != before.hash:
            yield f"{name} does not follow entry {before.sequence}"
        if entry.sequence > head.count:
            yield f"{name} is beyond the ledger's head"
        if entry.sequence == head.count and entry.hash != head.hash:
            yield f"{name} is not the ledger's head"
        before = entry


def _hash_of(entry: Entry) -> str | None:
    """None where there is none: a damaged ledger may hold what has no canonical form."""
    try:
        return entry_hash(entry.sequence, entry.kind, entry.recorded_at, entry.body, entry.previous)
    except ValueError:
        return None


def _follow(found: Examined, entry: Entry, body: Body) -> Iterator[str]:
    """One more entry taken in; what is wrong with it. Raises ValueError where it may not stand."""
    if isinstance(body, LedgerOpened):
        yield from _opening_faults(found.head, entry, body)
    elif isinstance(body, PersonEnrolled | PersonWithdrawn):
        found.persons.take(body)
    elif isinstance(body, JobOpened):
        if found.job is not None:
            yield "a second job is in it"
        found.job = body
    elif isinstance(body, JobClosed):
        pass
    elif isinstance(body, CheckRecorded):
        yield from _follow_check(found, entry, body)
    else:
        yield from _follow_later(found, entry, body)


def _opening_faults(head: Head, entry: Entry, body: LedgerOpened) -> Iterator[str]:
    if (entry.sequence, entry.previous) != (1, NOTHING_BEFORE):
        yield "it is not the first, though it opens the ledger"
    if body.ledger != head.ledger:
        yield "it opens another ledger than the head's"
    if body.public_key != head.public_key:
        yield "its key is not the one that signs"


def _follow_check(found: Examined, entry: Entry, body: CheckRecorded) -> Iterator[str]:
    if found.check is not None or body.core.record != found.record:
        yield "another check is in it"
        return
    if found.job is None or found.job.job != body.core.job:
        yield "the check belongs to a job that was not open"
    yield from (f"the check {fault}" for fault in check_faults(entry, body, found.head.ledger))
    found.check, found.standing = body, first_standing(body)
    if body.measured:
        unsigned = Standing(body.core.record, found.standing.verdict)
        yield from signature_faults(body.measured, body, unsigned, found.persons)


def _follow_later(found: Examined, entry: Entry, body: Body) -> Iterator[str]:
    """What was said after the check was recorded."""
    about = body.record if isinstance(body, CheckSigned | CheckCorrected | Noted) else None
    if found.check is None or found.standing is None or about != found.standing.record:
        yield "it does not belong to the record"
        return
    if isinstance(body, CheckSigned):
        yield from signature_faults(body.signed, found.check, found.standing, found.persons)
    if isinstance(body, CheckCorrected):
        found.corrections.append(Correction(body, entry.recorded_at))
    found.standing = standing_after(found.standing, body)
