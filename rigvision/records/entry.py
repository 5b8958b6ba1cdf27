"""One entry of the ledger, chained to the one before, and the head of the chain."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from rigvision.records.canonical import canonical, sha256_of

#: Part of every hash: another way of hashing gets another name.
DOMAIN = "rigvision.entry/1"
#: What stands as the hash before the first entry.
NOTHING_BEFORE = "0" * 64

Kind = Literal[
    "ledger-opened",
    "person-enrolled",
    "person-withdrawn",
    "job-opened",
    "check-recorded",
    "check-signed",
    "check-corrected",
    "job-closed",
    "exported",
    "noted",
]


@dataclass(frozen=True, slots=True)
class Entry:
    """``sequence`` counts from 1; ``recorded_at`` is UTC, ``2026-01-31T23:59:59.000000Z``.

    ``hash`` covers all but ``signature``, which is the ledger's own over the head that this entry
    made (``Head``).
    """

    sequence: int
    kind: Kind
    recorded_at: str
    body: dict[str, Any]
    previous: str
    hash: str
    signature: str


def entry_hash(
    sequence: int, kind: str, recorded_at: str, body: dict[str, Any], previous: str
) -> str:
    """SHA-256, in hexadecimal digits, of an entry and, through ``previous``, of all before it."""
    return entry_text_hash(sequence, kind, recorded_at, canonical(body), previous)


def entry_text_hash(sequence: int, kind: str, recorded_at: str, body: bytes, previous: str) -> str:
    """The same, of a body whose canonical form is at hand."""
    rest = {"sequence": sequence, "kind": kind, "recorded_at": recorded_at, "previous": previous}
    # The canonical form of the whole: of its names, "body" comes first.
    return sha256_of(DOMAIN.encode() + b'\n{"body":' + body + b"," + canonical(rest)[1:])


@dataclass(frozen=True, slots=True)
class Head:
    """How far a ledger has come: with this noted elsewhere, a chain that was rebuilt shows.

    ``ledger`` is the ledger's identity, ``hash`` its last entry's, ``count`` how many there are;
    ``signature`` is by the ledger's key, whose public half is ``public_key`` (hexadecimal).
    """

    ledger: str
    count: int
    hash: str
    signature: str
    public_key: str
