"""The ledger's own key, which signs each head. It stands for no person.

Who has the ledger and this key can write the whole chain anew; heads that were printed or noted
elsewhere show it.
"""

from __future__ import annotations

import os
from pathlib import Path

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import load_pem_private_key

from rigvision.ground.ordinary_file import read_ordinary
from rigvision.records.canonical import canonical
from rigvision.records.entry import Head
from rigvision.records.ledger_error import LedgerError, of_system, shown_path
from rigvision.records.safe_file import write_new
from rigvision.records.signature import holds

#: Before every head that is signed, so that no other signature passes for one.
DOMAIN = b"rigvision.head/1\n"
_MOST_BYTES = 10_000


def key_path(ledger: Path) -> Path:
    """Where the key of a ledger's file lies: beside it."""
    return ledger.with_name(f"{ledger.name}.key")


def head_message(ledger: str, count: int, entry_hash: str) -> bytes:
    """What a head's signature is over."""
    return DOMAIN + canonical({"ledger": ledger, "count": count, "hash": entry_hash})


def head_holds(head: Head) -> bool:
    """Whether a head's signature is by its key (Ed25519, RFC 8032). Whose key is not said."""
    try:
        message = head_message(head.ledger, head.count, head.hash)
    except ValueError:  # bytes that were no text
        return False
    return holds(head.public_key, head.signature, message)


class LedgerKey:
    """The private key, in memory."""

    def __init__(self, key: Ed25519PrivateKey) -> None:
        self._key = key
        self.public_hex = key.public_key().public_bytes_raw().hex()

    def signed_head(self, ledger: str, count: int, entry_hash: str) -> Head:
        """The head of a chain of ``count`` entries, signed."""
        signature = self._key.sign(head_message(ledger, count, entry_hash)).hex()
        return Head(ledger, count, entry_hash, signature, self.public_hex)

    def sign(self, message: bytes) -> bytes:
        """64 bytes over a message, which must begin with a domain of its own."""
        return self._key.sign(message)


def new_key(path: Path) -> LedgerKey:
    """A fresh key, written to a file that only its owner can read; one that is there is kept."""
    from cryptography.hazmat.primitives.serialization import (
        Encoding,
        NoEncryption,
        PrivateFormat,
    )

    key = Ed25519PrivateKey.generate()
    pem = key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    try:
        write_new(path, pem, mode=0o600)
    except FileExistsError:
        return read_key(path)
    return LedgerKey(key)


def read_key(path: Path) -> LedgerKey:
    """Raises LedgerError where it is missing, unreadable, open to others, or no such key."""
    try:
        pem = read_ordinary(path, _MOST_BYTES)
        mode = path.stat().st_mode
    except FileNotFoundError as error:
        raise _unusable("ledger-key-missing", path, "is missing") from error
    except OSError as error:
        raise of_system(error, path) from error
    if os.name == "posix" and mode & 0o077:
        raise LedgerError(
            "ledger-key-open",
            f"The ledger's key {shown_path(path)} can be read by others.",
            f"Take their rights away: chmod 600 {shown_path(path)}",
        )
    try:
        key = load_pem_private_key(pem, password=None)
    except (ValueError, TypeError) as error:
        raise _unusable("ledger-key-damaged", path, "is damaged") from error
    if not isinstance(key, Ed25519PrivateKey):
        raise _unusable("ledger-key-damaged", path, "is of another kind than Ed25519")
    return LedgerKey(key)


def _unusable(code: str, path: Path, what: str) -> LedgerError:
    return LedgerError(
        code,
        f"The ledger's key {shown_path(path)} {what}: the ledger can be read, not added to.",
        "Put the key back from a backup of the ledger.",
    )
