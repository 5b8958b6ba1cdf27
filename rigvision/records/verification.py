"""What came of verifying a file: intact, changed, or not to be proven with what is at hand."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from rigvision.ground.shown import grouped, one_line
from rigvision.records.bodies import Statement
from rigvision.records.entry import Head
from rigvision.records.examine_record import Correction, Examined
from rigvision.records.signature import fingerprint_of, is_public_key

SCHEMA = "rigvision.verify/1"
Outcome = Literal["intact", "changed", "unproven"]
What = Literal["ledger", "bundle", "record", "page", "file"]
#: More faults than that say nothing more.
MOST_FAULTS = 20


@dataclass(frozen=True, slots=True)
class Verification:
    """One sentence first, then what it rests on, line by line. Nothing in it holds a line break
    or a terminal's command. ``head`` is the ledger's, as far as it is known."""

    what: What
    outcome: Outcome
    sentence: str
    details: tuple[str, ...] = ()
    record: str | None = None
    head: Head | None = None
    statements: tuple[Statement, ...] = ()


def intact(what: What, sentence: str, found: Examined, more: list[str]) -> Verification:
    """A record, or a file that carries one, without a fault."""
    details = [*_lines_about(found), *more, *lines_about_head(found.head)]
    return Verification(
        what, "intact", sentence, tuple(details), found.record, found.head, found.statements
    )


def changed(
    what: What, sentence: str, faults: list[str], record: str | None = None
) -> Verification:
    """Something that is not as it was written; ``faults`` say what, the first is the worst."""
    shown = [one_line(fault, 300) for fault in faults[:MOST_FAULTS]]
    if len(faults) > MOST_FAULTS:
        shown.append(f"and {len(faults) - MOST_FAULTS} faults more")
    return Verification(what, "changed", sentence, tuple(shown), record)


def unproven(
    what: What, sentence: str, details: list[str], record: str | None = None
) -> Verification:
    """What may be true, and what it would take to prove it."""
    return Verification(what, "unproven", sentence, tuple(details), record)


def in_short(found: Examined) -> str:
    """What a record says, in half a sentence: ``pass; measured by …; accepted by …``."""
    verdict = found.standing.verdict if found.standing else "no check"
    said = [f"{s.decision} by {one_line(s.person, 80)}" for s in found.statements]
    parts = [f"verdict {one_line(verdict, 20)}", *(said or ["signed by nobody"])]
    if found.corrections:
        parts.append("corrected since, so that it no longer counts")
    return "; ".join(parts)


def _lines_about(found: Examined) -> list[str]:
    lines = []
    for statement in found.statements:
        lines.append(_line_of(statement))
        if (cause := found.persons.withdrawn.get(statement.fingerprint)) is not None:
            lines.append(f"That key was withdrawn later: {one_line(cause, 200)}")
    return lines + [_line_of_correction(correction) for correction in found.corrections]


def _line_of_correction(correction: Correction) -> str:
    body = correction.body
    other = body.replaced_by
    by = f"; {one_line(other, 20)} takes its place" if other else ""
    person, cause = one_line(body.corrected_by, 80), one_line(body.cause, 300)
    return f"Corrected by {person}, {one_line(correction.recorded_at, 40)}: {cause}{by}"


def _line_of(statement: Statement) -> str:
    remark = f": {one_line(statement.remark, 300)}" if statement.remark else ""
    return (
        f"{statement.decision} by {one_line(statement.person, 80)}, {statement.role}, "
        f"{one_line(statement.signed_at, 40)}, key {grouped(statement.fingerprint)}{remark}"
    )


def lines_about_head(head: Head) -> list[str]:
    """What has to be compared with what was noted elsewhere: all else hangs on this key."""
    key = grouped(fingerprint_of(head.public_key)) if is_public_key(head.public_key) else "none"
    return [
        f"Ledger {one_line(head.ledger, 40)} at {head.count} entries, head {head.hash}",
        f"The ledger's key is {key}: compare it with the one that is known to be its own",
    ]
