"""Who may sign what: facts in, an objection or none out."""

from __future__ import annotations

from dataclasses import dataclass

from rigvision.ground.errors import SignOffError
from rigvision.records.bodies import Statement
from rigvision.records.person import same_person
from rigvision.records.persons import Persons


@dataclass(frozen=True, slots=True)
class Standing:
    """What has been said about a check so far. ``verdict`` is the check's own."""

    record: str
    verdict: str
    measured: Statement | None = None
    decided: Statement | None = None
    corrected: bool = False


@dataclass(frozen=True, slots=True)
class Objection:
    """Why a statement may not be signed: a word for programs, a sentence, what to do."""

    code: str
    text: str
    remedy: str


def objection_to(statement: Statement, standing: Standing, persons: Persons) -> Objection | None:
    """The first rule that a statement breaks, or None.

    The same rule says what may be signed now and whether what was signed then was right.
    """
    return (
        _of_the_person(statement, persons)
        or _of_the_role(statement)
        or _of_the_check(statement, standing)
        or (_of_measuring(standing) if statement.decision == "measured" else None)
        or (_of_deciding(statement, standing) if statement.decision != "measured" else None)
    )


def require_may_sign(statement: Statement, standing: Standing, persons: Persons) -> None:
    """Raises SignOffError with the objection, if there is one."""
    if found := objection_to(statement, standing, persons):
        raise SignOffError(found.code, found.text, found.remedy)


def _of_the_person(statement: Statement, persons: Persons) -> Objection | None:
    person, enrolled = statement.person, persons.enrolled.get(statement.fingerprint)
    if enrolled is None:
        return Objection(
            "not-enrolled",
            f"The key of {person} is not enrolled in this ledger.",
            "Enrol it first: rigvision key enrol FILE.",
        )
    if (enrolled.person, enrolled.role) != (person, statement.role):
        return Objection(
            "enrolled-otherwise",
            f"The key of {person}, {statement.role}, is enrolled for {enrolled.person}, "
            f"{enrolled.role}.",
            "Sign with the key file that was enrolled.",
        )
    if statement.fingerprint in persons.withdrawn:
        return Objection(
            "key-withdrawn",
            f"The key of {person} was withdrawn: {persons.withdrawn[statement.fingerprint]}.",
            "Make a new key and enrol it.",
        )
    return None


def _of_the_role(statement: Statement) -> Objection | None:
    if (statement.role == "mechanic") == (statement.decision == "measured"):
        return None
    may = "states what was measured" if statement.role == "mechanic" else "accepts or rejects"
    return Objection(
        "other-role",
        f"{statement.person} is enrolled as {statement.role}: a {statement.role} {may}.",
        "Let somebody with the other role sign, with a key of their own.",
    )


def _of_the_check(statement: Statement, standing: Standing) -> Objection | None:
    if statement.record != standing.record:
        return Objection(
            "other-record",
            f"The statement is about {statement.record}, not {standing.record}.",
            "Sign for the record that was looked at.",
        )
    if standing.corrected:
        return Objection(
            "superseded",
            f"Record {standing.record} was corrected: it can no longer be signed.",
            "Sign the record that takes its place.",
        )
    if standing.decided:
        done = standing.decided
        return Objection(
            "decided",
            f"Record {standing.record} was {done.decision} by {done.person} already.",
            "Check a new photo, or correct the record; a decision is never taken back.",
        )
    return None


def _of_measuring(standing: Standing) -> Objection | None:
    if standing.measured is None:
        return None
    return Objection(
        "measured",
        f"Record {standing.record} was signed as measured by {standing.measured.person} already.",
        "Nothing needs doing; an inspector can sign it.",
    )


def _of_deciding(statement: Statement, standing: Standing) -> Objection | None:
    measured = standing.measured
    if measured is None:
        return Objection(
            "not-measured",
            f"Nobody has signed yet for having measured {standing.record}.",
            "Let the mechanic sign first: rigvision record sign, with the mechanic's key.",
        )
    if measured.fingerprint == statement.fingerprint or same_person(
        measured.person, statement.person
    ):
        return Objection(
            "own-work",
            f"{measured.person} measured {standing.record} and cannot inspect it as "
            f"{statement.person}.",
            "Let another person inspect it.",
        )
    if statement.decision == "accepted" and standing.verdict == "retake":
        return Objection(
            "nothing-to-accept",
            f"Record {standing.record} is a retake: its photo could not be measured.",
            "Reject it, or check a new photo.",
        )
    if statement.decision == "rejected" and not statement.remark:
        return Objection(
            "no-remark",
            "A rejection without a remark tells nobody what was wrong.",
            "Say why it is rejected.",
        )
    return None
