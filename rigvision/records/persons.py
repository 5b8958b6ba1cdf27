"""Who may sign in a ledger: the keys that its entries enrol and withdraw."""

from __future__ import annotations

from dataclasses import dataclass, field

from rigvision.ground.errors import SignOffError
from rigvision.ground.shown import grouped
from rigvision.records.bodies import Body, PersonEnrolled, PersonWithdrawn
from rigvision.records.signature import fingerprint_of, is_public_key


@dataclass(slots=True)
class Persons:
    """Grows with the entries, in their order. ``withdrawn`` holds the causes, by fingerprint."""

    enrolled: dict[str, PersonEnrolled] = field(default_factory=dict)
    withdrawn: dict[str, str] = field(default_factory=dict)

    def take(self, body: Body) -> None:
        """Follow one more entry. Raises ValueError for one that may not stand there."""
        if isinstance(body, PersonEnrolled):
            if not is_public_key(body.public_key):
                raise ValueError(f"the public key enrolled for {body.person} is none")
            if body.fingerprint != fingerprint_of(body.public_key):
                raise ValueError(f"the fingerprint of {body.person} is another key's")
            if body.fingerprint in self.enrolled:
                raise ValueError(f"a key of {body.person} is enrolled twice")
            self.enrolled[body.fingerprint] = body
        elif isinstance(body, PersonWithdrawn):
            if body.fingerprint not in self.enrolled:
                raise ValueError("a key is withdrawn that was not enrolled")
            self.withdrawn.setdefault(body.fingerprint, body.cause)


def refuse_enrolment(persons: Persons, fingerprint: str) -> None:
    """Raises SignOffError where this key is or was enrolled: a withdrawn key stays so."""
    known = persons.enrolled.get(fingerprint)
    if known is None:
        return
    if fingerprint in persons.withdrawn:
        raise SignOffError(
            "key-withdrawn",
            f"The key {grouped(fingerprint)} of {known.person} was withdrawn from this ledger.",
            "Make a new key with 'rigvision key new' and enrol that.",
        )
    raise SignOffError(
        "key-enrolled",
        f"The key {grouped(fingerprint)} of {known.person} is enrolled already.",
        "Nothing needs doing.",
    )


def refuse_withdrawal(persons: Persons, fingerprint: str) -> None:
    """Raises SignOffError where there is nothing to withdraw."""
    if fingerprint not in persons.enrolled:
        raise SignOffError(
            "key-not-enrolled",
            f"No key {grouped(fingerprint)} is enrolled in this ledger.",
            "'rigvision key list' shows those that are.",
        )
    if fingerprint in persons.withdrawn:
        raise SignOffError(
            "key-withdrawn",
            f"The key {grouped(fingerprint)} is withdrawn already.",
            "Nothing needs doing.",
        )
