"""People's signatures under records: by the rule of ``sign_off``, into the ledger."""

from __future__ import annotations

from rigvision.records.bodies import CheckRecorded, CheckSigned, Decision, Signed
from rigvision.records.enrolment import persons_in
from rigvision.records.entry import Entry
from rigvision.records.ledger import Ledger
from rigvision.records.person_key import OpenKey, PersonKey
from rigvision.records.record_view import RecordView, view_record
from rigvision.records.recording import Sign
from rigvision.records.sign_off import Standing, require_may_sign
from rigvision.records.statement import sign_statement, statement_on


def standing_of(view: RecordView) -> Standing:
    """What has been said about a record so far."""
    return Standing(
        view.record,
        view.result.verdict,
        view.measured.statement if view.measured else None,
        view.decided.statement if view.decided else None,
        corrected=bool(view.corrections),
    )


def require_may_decide(
    ledger: Ledger, view: RecordView, owner: PersonKey, decision: Decision, remark: str
) -> None:
    """Raises SignOffError where this signature would be refused: asked before any passphrase."""
    statement = statement_on(view.recorded, owner, decision, remark, view.core.recorded_at)
    require_may_sign(statement, standing_of(view), persons_in(ledger))


def sign_record(
    ledger: Ledger, record: str, key: OpenKey, decision: Decision, remark: str = ""
) -> Entry:
    """Sign a record, by the rule as the ledger stands at this moment.

    Raises SignOffError where this person may not, UsageError for an unfit remark or an unknown
    record, LedgerError where the record or its files are not what was recorded.
    """
    with ledger.writing() as writing:
        view = view_record(ledger, record)
        for sha256 in (view.core.photo.sha256, view.image.sha256):
            ledger.evidence.read(sha256)  # nobody signs for what is lost or changed
        statement = statement_on(view.recorded, key.owner, decision, remark, writing.recorded_at)
        require_may_sign(statement, standing_of(view), persons_in(ledger))
        return writing.append(CheckSigned(view.record, sign_statement(statement, key)))


def measuring(ledger: Ledger, key: OpenKey) -> Sign:
    """Signs *measured* under a check in the transaction that records it."""

    def sign(check: CheckRecorded, signed_at: str) -> Signed:
        statement = statement_on(check, key.owner, "measured", "", signed_at)
        standing = Standing(check.core.record, str(check.result["verdict"]))
        require_may_sign(statement, standing, persons_in(ledger))
        return sign_statement(statement, key)

    return sign
