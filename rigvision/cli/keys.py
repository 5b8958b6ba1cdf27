"""What the commands ``key …`` do: one library call each, then what came of it."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import Any

from rigvision.cli.passphrases import passphrase, warn_if_open
from rigvision.ground.shown import grouped, one_line
from rigvision.records.bodies import Role
from rigvision.records.clock import now
from rigvision.records.enrolment import enrol, persons_in, withdraw
from rigvision.records.ledger import Ledger
from rigvision.records.person import checked_name
from rigvision.records.person_key import PersonKey, new_key, read_key
from rigvision.records.place import ledger_path
from rigvision.records.signature import fingerprint_in


def make_key(file: Path, person: str, role: Role, passphrase_file: Path | None) -> None:
    name = checked_name(person)
    secret = passphrase(passphrase_file, name, twice=True)
    owner = new_key(file, name, role, secret, now())
    print(f"Made a key for {_who(owner)}: {one_line(str(file))}")
    print(f"  fingerprint {grouped(owner.fingerprint)}")
    print("  Enrol it: rigvision key enrol FILE. Without the passphrase it is lost.")


def show_key(file: Path, *, as_json: bool) -> None:
    owner = read_key(file).owner
    warn_if_open(file, "the key file")
    if as_json:
        print(json.dumps(asdict(owner), indent=2))
        return
    print(_who(owner))
    print(f"  fingerprint {grouped(owner.fingerprint)}")
    print(f"  made {one_line(owner.created_at, 40)}")


def enrol_key(file: Path, ledger_file: Path | None) -> None:
    owner = read_key(file).owner
    with Ledger.open_or_create(ledger_file or ledger_path()) as ledger:
        entry = enrol(ledger, owner)
    print(f"Enrolled {_who(owner)}, in entry {entry.sequence} of ledger {ledger.identity}")
    print(f"  fingerprint {grouped(owner.fingerprint)}")
    print("  Compare it with what the person's own 'rigvision key show' says.")


def withdraw_key(key: str, cause: str, ledger_file: Path | None) -> None:
    fingerprint = _fingerprint(key)
    with Ledger.open(ledger_file or ledger_path()) as ledger:
        entry = withdraw(ledger, fingerprint, cause)
        person = persons_in(ledger).enrolled[fingerprint].person
    print(
        f"Withdrew the key {grouped(fingerprint)} of {one_line(person)}, "
        f"in entry {entry.sequence} of ledger {ledger.identity}"
    )


def list_keys(ledger_file: Path | None, *, as_json: bool) -> None:
    with Ledger.open(ledger_file or ledger_path(), read_only=True) as ledger:
        persons = persons_in(ledger)
    listed: list[dict[str, Any]] = [
        asdict(body) | {"withdrawn": persons.withdrawn.get(fingerprint)}
        for fingerprint, body in persons.enrolled.items()
    ]
    if as_json:
        print(json.dumps(listed, indent=2))
        return
    for key in listed:
        print(f"{one_line(key['person'])}, {key['role']}  {grouped(key['fingerprint'])}")
        if key["withdrawn"] is not None:
            print(f"  withdrawn: {one_line(key['withdrawn'])}")
    if not listed:
        print("No key is enrolled yet. Make one with 'rigvision key new', then 'key enrol'.")


def _fingerprint(key: str) -> str:
    """Of what was typed: a fingerprint, with or without gaps, or a key's file."""
    return fingerprint_in(key) or read_key(Path(key)).owner.fingerprint


def _who(owner: PersonKey) -> str:
    return f"{one_line(owner.person)}, {owner.role}"
