"""The record of one check as JSON that leaves the house: the entries that concern it, whole.

It is attached to the page and lies in the bundle. The entries keep their hashes and the ledger's
signatures, so each can be checked by itself; the ledger signs the whole once more, as what it had
to say about the record when it had come to ``head``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any, Final, Literal

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
    Signed,
)
from rigvision.records.canonical import canonical, parsed
from rigvision.records.entry import Entry, Head
from rigvision.records.read_body import read_body
from rigvision.records.strict_json import plain_of, read_exactly

SCHEMA: Final = "rigvision.record-export/1"
#: What stands before the export under the ledger's signature.
DOMAIN = SCHEMA.encode() + b"\n"
#: A check has some 30 kB, a signature 2 kB.
MAX_BYTES = 16_000_000


@dataclass(frozen=True, slots=True)
class RecordExport:
    """``entries`` in the ledger's order; ``signature`` is by the ledger's key (``head``)."""

    schema: Literal["rigvision.record-export/1"]
    record: str
    head: Head
    entries: tuple[Entry, ...]
    signature: str


def concerning(record: str, entries: Iterable[Entry]) -> tuple[Entry, ...]:
    """Of entries in order, those that a reader of one record needs: how the ledger began, the
    keys of all who signed it, its job, the check, and what was said about it since.

    What was exported is left out: it says nothing about the check. Raises ValueError where the
    check is not among them, or an entry is not what its kind should be.
    """
    pairs = [(entry, read_body(entry.kind, entry.body)) for entry in entries]
    about = [body for _, body in pairs if _is_about(body, record)]
    check = next((body for body in about if isinstance(body, CheckRecorded)), None)
    if check is None:
        raise ValueError(f"no check {record} is among the entries")
    signers = {s.statement.fingerprint for body in about if (s := _signed(body))}
    return tuple(e for e, body in pairs if body in about or _serves(body, check, signers))


def record_json(
    record: str, head: Head, entries: Iterable[Entry], sign: Callable[[bytes], str]
) -> bytes:
    """The export in its canonical form, signed. ``sign`` is the ledger's own signature."""
    plain: dict[str, Any] = {
        "schema": SCHEMA,
        "record": record,
        "head": plain_of(head),
        "entries": [plain_of(entry) for entry in entries],
    }
    return canonical(plain | {"signature": sign(_to_sign(plain))})


def parse_record(content: bytes) -> RecordExport:
    """An export, in form; ``examine`` says whether it is true.

    Raises ValueError, in words, for any bytes that no export has.
    """
    if len(content) > MAX_BYTES:
        raise ValueError(f"it has more than {MAX_BYTES // 1_000_000} MB")
    export: RecordExport = read_exactly(RecordExport, parsed(content))
    return export


def signed_bytes(export: RecordExport) -> bytes:
    """What the ledger's signature over an export is over."""
    return _to_sign(plain_of(export))


def _to_sign(plain: dict[str, Any]) -> bytes:
    return DOMAIN + canonical({k: v for k, v in plain.items() if k != "signature"})


def _is_about(body: Body, record: str) -> bool:
    """Whether an entry says something about this record, not only names it."""
    if isinstance(body, CheckRecorded):
        return body.core.record == record
    return isinstance(body, CheckSigned | CheckCorrected | Noted) and body.record == record


def _signed(body: Body) -> Signed | None:
    if isinstance(body, CheckRecorded):
        return body.measured
    return body.signed if isinstance(body, CheckSigned) else None


def _serves(body: Body, check: CheckRecorded, signers: set[str]) -> bool:
    """Whether an entry is needed to understand what is said about the check."""
    if isinstance(body, PersonEnrolled | PersonWithdrawn):
        return body.fingerprint in signers
    if isinstance(body, JobOpened | JobClosed):
        return body.job == check.core.job
    return isinstance(body, LedgerOpened)
