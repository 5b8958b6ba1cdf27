"""Keys into a ledger and out of use again."""

from __future__ import annotations

from rigvision.ground.errors import UsageError
from rigvision.records.bodies import PersonEnrolled, PersonWithdrawn
from rigvision.records.entry import Entry
from rigvision.records.ledger import Ledger
from rigvision.records.ledger_error import LedgerError, shown_path
from rigvision.records.person_key import PersonKey
from rigvision.records.persons import Persons, refuse_enrolment, refuse_withdrawal
from rigvision.records.read_body import read_body
from rigvision.records.statement import checked_remark


def persons_in(ledger: Ledger) -> Persons:
    """All keys that a ledger ever enrolled. Raises LedgerError, for wrong entries too."""
    persons = Persons()
    entries = [*ledger.entries_of_kind("person-enrolled")]
    entries += ledger.entries_of_kind("person-withdrawn")
    for entry in sorted(entries, key=lambda entry: entry.sequence):
        try:
            persons.take(read_body(entry.kind, entry.body))
        except ValueError as error:
            raise LedgerError(
                "ledger-changed",
                f"Entry {entry.sequence} of the ledger {shown_path(ledger.path)} is not right: "
                f"{error}.",
                "Run 'rigvision verify' on it and restore the newest backup.",
            ) from error
    return persons


def enrol(ledger: Ledger, owner: PersonKey) -> Entry:
    """From here on this key signs for this person. Raises SignOffError where it was enrolled."""
    with ledger.writing() as writing:
        refuse_enrolment(persons_in(ledger), owner.fingerprint)
        return writing.append(
            PersonEnrolled(owner.person, owner.role, owner.public_key, owner.fingerprint)
        )


def withdraw(ledger: Ledger, fingerprint: str, cause: str) -> Entry:
    """From here on this key signs nothing more. Raises SignOffError, UsageError without a cause."""
    said = checked_remark(cause)
    if not said:
        raise UsageError(
            "no-cause",
            "A key is not withdrawn without a cause.",
            "Say why: --cause 'lost', --cause 'left the house'.",
        )
    with ledger.writing() as writing:
        refuse_withdrawal(persons_in(ledger), fingerprint)
        return writing.append(PersonWithdrawn(fingerprint, said))
