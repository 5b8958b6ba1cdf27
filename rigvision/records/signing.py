"""People sign a recorded check: the rule is asked, what is signed is looked at, one entry more."""

from __future__ import annotations

from collections.abc import Callable

from rigvision.ground.errors import SignOffError
from rigvision.records.bodies import (
    CheckCore,
    CheckRecorded,
    CheckSigned,
    Decision,
    FileFacts,
    Signed,
    Statement,
)
from rigvision.records.clock import now
from rigvision.records.enrolment import persons_in
from rigvision.records.entry import Entry
from rigvision.records.ledger import Ledger
from rigvision.records.person_key import OpenKey, PersonKey
from rigvision.records.persons import Persons
from rigvision.records.read_body import core_sha256, read_body, result_sha256
from rigvision.records.sign_off import Standing, require_may_sign
from rigvision.records.standing import standing_of
from rigvision.records.statement import sign_statement, statement_on


def sign_record(
    ledger: Ledger, record: str, key: OpenKey, decision: Decision, remark: str = ""
) -> Entry:
    """Sign a recorded check, in one transaction.

    Raises SignOffError where the rule forbids it, UsageError for an unfit remark, LedgerError
    where the record, its photo or its image is no longer what was recorded.
    """
    with ledger.writing() as writing:
        statement = _permitted(ledger, record, key.owner, decision, remark, writing.recorded_at)
        return writing.append(CheckSigned(record, sign_statement(statement, key)))


def require_may_sign_now(
    ledger: Ledger, record: str, owner: PersonKey, decision: Decision, remark: str = ""
) -> None:
    """Raises what ``sign_record`` would, before anybody is asked for a passphrase."""
    _permitted(ledger, record, owner, decision, remark, now())


def _permitted(
    ledger: Ledger, record: str, owner: PersonKey, decision: Decision, remark: str, signed_at: str
) -> Statement:
    """The statement, where its owner may sign it as the ledger stands."""
    entries = list(ledger.entries_of(record))
    check = _whole_check(ledger, record, entries)
    bodies = [read_body(entry.kind, entry.body) for entry in entries]
    statement = statement_on(check, owner, decision, remark, signed_at)
    require_may_sign(statement, standing_of(record, bodies), persons_in(ledger))
    return statement


def measuring(
    key: OpenKey, persons: Persons, remark: str = ""
) -> Callable[[CheckCore, str, FileFacts], Signed]:
    """What signs *measured* while a check is being recorded: of its core, hash and image.

    It raises SignOffError where the key may not: another role, not enrolled, withdrawn.
    """

    def sign(core: CheckCore, core_hash: str, image: FileFacts) -> Signed:
        check = CheckRecorded(core, core_hash, image, {}, None, ())
        statement = statement_on(check, key.owner, "measured", remark, core.recorded_at)
        require_may_sign(statement, Standing(core.record, ""), persons)
        return sign_statement(statement, key)

    return sign


def require_may_measure(owner: PersonKey, persons: Persons) -> None:
    """Raises SignOffError where this key can sign no check as measured, whichever it is."""
    statement = Statement(
        schema="rigvision.statement/1",
        ledger="",
        record="",
        core_sha256="",
        photo_sha256="",
        image_sha256="",
        result_sha256="",
        role=owner.role,
        decision="measured",
        remark="",
        person=owner.person,
        fingerprint=owner.fingerprint,
        signed_at="",
    )
    require_may_sign(statement, Standing("", ""), persons)


def _whole_check(ledger: Ledger, record: str, entries: list[Entry]) -> CheckRecorded:
    """The check as it was recorded, its files looked at: nobody signs for what is not there."""
    for entry in entries:
        body = read_body(entry.kind, entry.body) if entry.kind == "check-recorded" else None
        if not isinstance(body, CheckRecorded) or body.core.record != record:
            continue
        if core_sha256(entry.body["core"]) != body.core_sha256:
            raise _changed(record, "its core has another hash")
        if result_sha256(entry.body["result"]) != body.core.result_sha256:
            raise _changed(record, "its result has another hash")
        ledger.evidence.read(body.core.photo.sha256)
        ledger.evidence.read(body.image.sha256)
        return body
    raise SignOffError(
        "no-such-record",
        f"There is no record {record} in this ledger.",
        "'rigvision record list' shows those there are.",
    )


def _changed(record: str, what: str) -> SignOffError:
    return SignOffError(
        "record-changed",
        f"Record {record} is not as it was recorded: {what}.",
        "Run 'rigvision verify' on the ledger and restore the newest backup.",
    )
