"""What entries say about checks and people looked at: hashes, signatures, who may sign what.

Who has the ledger and its key can write the chain anew, but cannot sign for a person.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from typing import Any

from rigvision.ground.shown import one_line
from rigvision.records.bodies import Decision, Role, Statement
from rigvision.records.canonical import members, sha256_of
from rigvision.records.entry import Entry
from rigvision.records.ledger_report import Findings
from rigvision.records.persons import Persons
from rigvision.records.read_body import read_body
from rigvision.records.sign_off import Standing, objection_to
from rigvision.records.signature import fingerprint_of
from rigvision.records.signature_check import SignatureCheck
from rigvision.records.statement import DOMAIN

#: A short word for programs, and what is said of the entry.
Said = tuple[str, str]
#: Value and text of a part of a body, and all of them by name.
Member = tuple[Any, str]
Members = dict[str, Member]


class StatementCheck:
    """Feed it every entry in order. What was said before is looked up in the index."""

    def __init__(
        self, connection: sqlite3.Connection, findings: Findings, signatures: SignatureCheck
    ) -> None:
        self._connection = connection
        self._findings = findings
        self._signatures = signatures
        self._ledger = ""
        self._persons = Persons()

    def entry(self, entry: Entry, parts: Members) -> Iterator[Said]:
        """What is wrong with an entry, whose body has these members."""
        try:
            if entry.kind == "ledger-opened":
                self._ledger = entry.body["ledger"]
            elif entry.kind in ("person-enrolled", "person-withdrawn"):
                self._persons.take(read_body(entry.kind, entry.body))
            elif entry.kind == "check-recorded":
                yield from _hashes(entry.body, parts)
                if entry.body["measured"] is not None:
                    record = entry.body["core"]["record"]
                    yield from self._signed(entry, record, parts["measured"])
            elif entry.kind == "check-signed":
                yield from self._signed(entry, entry.body["record"], parts["signed"])
        except (ValueError, KeyError, TypeError, AttributeError) as error:
            cause = one_line(str(error), 200)
            yield "entry-wrong", f"({entry.kind}) is not of the form that it should be: {cause}."

    def _signed(self, entry: Entry, record: str, part: Member) -> Iterator[Said]:
        signed, statement = part[0], Statement(**part[0]["statement"])
        person = one_line(statement.person, 80)
        if fingerprint_of(signed["public_key"]) != statement.fingerprint:
            yield "statement-broken", f"({entry.kind}): {person} names another key."
        self._gather(entry, signed, members(part[1])["statement"][1], person)
        mismatch = self._mismatch(statement, record)
        if mismatch:
            yield "statement-broken", f"({entry.kind}): {person} {mismatch}."
        standing = self._standing(statement.record, entry.sequence)
        objection = objection_to(statement, standing, self._persons)
        if objection:
            yield "statement-forbidden", f"({entry.kind}): {objection.text}"

    def _gather(self, entry: Entry, signed: dict[str, Any], text: str, person: str) -> None:
        """The signature is over the statement's text as it stands in the ledger."""

        def broken() -> None:
            said = f"entry {entry.sequence} ({entry.kind}): {person}'s signature does not hold."
            self._findings.add("statement-broken", said, entry.sequence)

        self._signatures.add(
            signed["public_key"], signed["signature"], DOMAIN + text.encode(), broken
        )

    def _mismatch(self, statement: Statement, record: str) -> str | None:
        """Whether the check that is signed for is the one that was recorded."""
        if (statement.ledger, statement.record) != (self._ledger, record):
            return "signed for another record"
        found = self._connection.execute(
            "SELECT core_sha256, photo_sha256, image_sha256, result_sha256 "
            "FROM check_recorded WHERE record = ?",
            (statement.record,),
        ).fetchone()
        signed_for = (
            statement.core_sha256,
            statement.photo_sha256,
            statement.image_sha256,
            statement.result_sha256,
        )
        if found == signed_for:
            return None
        return "signed for another photo, image or result than is recorded"

    def _standing(self, record: str, before: int) -> Standing:
        """Where a check stood just before an entry."""
        verdict = self._connection.execute(
            "SELECT verdict FROM check_recorded WHERE record = ?", (record,)
        ).fetchone()
        earlier = self._connection.execute(
            "SELECT record, decision, person, fingerprint FROM signing "
            "WHERE record = ? AND sequence < ?",
            (record, before),
        ).fetchall()
        corrected = self._connection.execute(
            "SELECT 1 FROM correction WHERE record = ? AND sequence < ?", (record, before)
        ).fetchone()
        said = {row[1] == "measured": _brief(*row) for row in earlier}
        return Standing(
            record, verdict[0] if verdict else "", said.get(True), said.get(False), bool(corrected)
        )


def _hashes(body: dict[str, Any], parts: Members) -> Iterator[Said]:
    if sha256_of(parts["core"][1].encode()) != body["core_sha256"]:
        yield "core-changed", "has another core than its hash says."
    if sha256_of(parts["result"][1].encode()) != body["core"]["result_sha256"]:
        yield "result-changed", "has another result than its hash says."


def _brief(record: str, decision: Decision, person: str, fingerprint: str) -> Statement:
    """As much of an earlier statement as the index has; the rule asks for no more."""
    role: Role = "mechanic" if decision == "measured" else "inspector"
    rest = ("", "", "", "", role, decision, "", person, fingerprint, "")
    return Statement("rigvision.statement/1", "", record, *rest)
