"""The command ``verify``: one sentence, then what it rests on; an exit code for each outcome."""

from __future__ import annotations

import json
import os
import sys
from dataclasses import asdict
from pathlib import Path
from typing import Any

from rigvision.ground.errors import UsageError
from rigvision.ground.shown import grouped, one_line
from rigvision.records.ledger import Ledger
from rigvision.records.ledger_error import LedgerError
from rigvision.records.place import VARIABLE, ledger_path
from rigvision.records.signature import FINGERPRINT_DIGITS, fingerprint_in, fingerprint_of
from rigvision.records.verification import SCHEMA, Outcome, Verification, unproven
from rigvision.records.verify_file import is_ledger, verify_file

INTACT, CHANGED, UNPROVEN = 0, 5, 6
_EXIT: dict[Outcome, int] = {"intact": INTACT, "changed": CHANGED, "unproven": UNPROVEN}


def run_verify(
    file: Path, ledger_file: Path | None, ledger_key: str | None, *, as_json: bool
) -> int:
    """Verify a file or a ledger, print what came of it, and give the exit code."""
    expected = None if ledger_key is None else _fingerprint(ledger_key)
    verified = _held_to_key(_verified(file, ledger_file), expected)
    if as_json:
        print(json.dumps(_plain(file, verified), indent=2))
    else:
        print(verified.sentence)
        for line in verified.details:
            print(f"  {line}")
    return _EXIT[verified.outcome]


def _verified(file: Path, ledger_file: Path | None) -> Verification:
    if is_ledger(file):
        if ledger_file is not None:
            raise UsageError(
                "ledger-twice",
                f"{one_line(file.name, 80)} is itself a ledger.",
                "Leave out --ledger, or give a file that was exported.",
            )
        return _whole_ledger(file)
    if ledger_file is not None or os.environ.get(VARIABLE):
        with Ledger.open(ledger_file or ledger_path(), read_only=True) as ledger:
            return verify_file(file, ledger)
    return _by_usual_ledger(file)


def _by_usual_ledger(file: Path) -> Verification:
    """By the ledger of this machine where there is one and the file is of it; else by itself."""
    try:
        with Ledger.open(ledger_path(), read_only=True) as ledger:
            verified = verify_file(file, ledger)
    except LedgerError:
        return verify_file(file)
    return verify_file(file) if verified.outcome == "unproven" else verified


def _whole_ledger(file: Path) -> Verification:
    """With what is being done on standard error, where somebody looks."""
    from rigvision.records.verify_ledger import verify_ledger

    if not sys.stderr.isatty():
        return verify_ledger(file)

    def show(what: str, done: int, of: int | None) -> None:
        whole = f" of {of}" if of is not None else ""
        print(f"\r{done}{whole} {what} ", end="", file=sys.stderr, flush=True)

    verified = verify_ledger(file, show)
    print("\r", end="", file=sys.stderr)
    return verified


def _held_to_key(verified: Verification, expected: str | None) -> Verification:
    """What is intact, but under another ledger's key than the one that was asked for, is not."""
    head = verified.head
    if expected is None or verified.outcome != "intact" or head is None:
        return verified
    found = fingerprint_of(head.public_key)
    if found == expected:
        return verified
    sentence = f"All of it fits together, but under another ledger's key: {grouped(found)}."
    return unproven(verified.what, sentence, [verified.sentence, *verified.details])


def _fingerprint(text: str) -> str:
    digits = fingerprint_in(text)
    if digits is None:
        raise UsageError(
            "no-fingerprint",
            f"'{one_line(text, 60)}' is no key's fingerprint.",
            f"A fingerprint has {FINGERPRINT_DIGITS} digits 0 to 9 and a to f.",
        )
    return digits


def _plain(file: Path, verified: Verification) -> dict[str, Any]:
    head = verified.head
    return {
        "schema": SCHEMA,
        "file": one_line(file.name, 200),
        "what": verified.what,
        "outcome": verified.outcome,
        "text": verified.sentence,
        "details": list(verified.details),
        "record": verified.record,
        "ledger": None
        if head is None
        else {
            "ledger": head.ledger,
            "count": head.count,
            "hash": head.hash,
            "key_fingerprint": fingerprint_of(head.public_key),
        },
        "statements": [asdict(statement) for statement in verified.statements],
    }
