"""A person's key: a file that only a passphrase opens, and that says in clear whose it is.

Canonical JSON. The private key is sealed by ChaCha20-Poly1305 (RFC 8439) under a key that scrypt
(RFC 7914) makes of the passphrase; all that stands in clear is bound to it as associated data.
The whole is signed by the key itself, so that a damaged file is told from a wrong passphrase, and
that whoever enrols a key knows that its owner wrote the name into it.
"""

from __future__ import annotations

import os
import secrets
import stat
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.ciphers.aead import ChaCha20Poly1305
from cryptography.hazmat.primitives.kdf.scrypt import Scrypt

from rigvision.ground.errors import PersonKeyError, UsageError
from rigvision.ground.ordinary_file import read_ordinary
from rigvision.ground.shown import one_line
from rigvision.records.bodies import Role
from rigvision.records.canonical import canonical, parsed
from rigvision.records.passphrase import normal, weakness
from rigvision.records.person import checked_name
from rigvision.records.safe_file import write_new
from rigvision.records.signature import (
    fingerprint_of,
    holds,
    is_public_key,
    new_private_key,
    private_key_of,
    public_key_of,
    signed,
)
from rigvision.records.strict_json import plain_of, read_exactly

SCHEMA = "rigvision.person-key/1"
#: scrypt's N as a power of two: 128 MiB and some 0.4 s for each passphrase that is tried.
COST = 17
#: Read from a file: below, guessing is cheap; above, opening takes more memory than there may be.
LEAST_COST, MOST_COST = 14, 19
_BLOCK_SIZE, _PARALLEL = 8, 1
MAX_KEY_BYTES = 16_384


@dataclass(frozen=True, slots=True)
class PersonKey:
    """What stands in clear in a key file: whose key it is."""

    person: str
    role: Role
    public_key: str
    fingerprint: str
    created_at: str


@dataclass(frozen=True, slots=True)
class OpenKey:
    """A key that can sign. It lives in memory only."""

    owner: PersonKey
    private_key: Ed25519PrivateKey


@dataclass(frozen=True, slots=True)
class _Content:
    """The file, field by field; bytes in hexadecimal digits."""

    schema: Literal["rigvision.person-key/1"]
    person: str
    role: Role
    public_key: str
    fingerprint: str
    created_at: str
    kdf: Literal["scrypt"]
    kdf_cost: int
    kdf_salt: str
    cipher: Literal["chacha20-poly1305"]
    cipher_nonce: str
    sealed: str
    signature: str

    @property
    def owner(self) -> PersonKey:
        return PersonKey(self.person, self.role, self.public_key, self.fingerprint, self.created_at)


@dataclass(frozen=True, slots=True)
class KeyFile:
    """A key file that was read and is whole; its private key is still sealed."""

    name: str
    content: _Content

    @property
    def owner(self) -> PersonKey:
        return self.content.owner

    def opened(self, passphrase: str) -> OpenKey:
        """Raises PersonKeyError for another passphrase than the one it was made with."""
        content = self.content
        cipher = _cipher(passphrase, bytes.fromhex(content.kdf_salt), content.kdf_cost)
        nonce, sealed = bytes.fromhex(content.cipher_nonce), bytes.fromhex(content.sealed)
        try:
            seed = cipher.decrypt(nonce, sealed, _in_clear(plain_of(content)))
        except InvalidTag as error:
            raise PersonKeyError(
                "wrong-passphrase",
                f"The passphrase does not open {self.name}, the key of {self.owner.person}.",
                "The file itself is whole: type the passphrase again, minding capitals.",
            ) from error
        private_key = private_key_of(seed)
        if public_key_of(private_key) != content.public_key:
            raise _damaged(self.name, "its two halves do not belong together")
        return OpenKey(self.owner, private_key)


def new_key(
    path: Path, person: str, role: Role, passphrase: str, created_at: str, *, cost: int = COST
) -> PersonKey:
    """Make a key and write its file, readable by its owner alone; no file is ever overwritten.

    Raises UsageError for an unfit name, PersonKeyError for a weak passphrase or where the file
    cannot be made.
    """
    name = checked_name(person)
    if weak := weakness(passphrase, name):
        raise PersonKeyError(
            "weak-passphrase",
            f"The passphrase {weak}: whoever copied the file could sign as {name}.",
            "Take five words that do not belong together, or twelve characters of all sorts.",
        )
    content = _sealed(new_private_key(), name, role, passphrase, created_at, cost)
    _write_new(path, canonical(plain_of(content)))
    return content.owner


def read_key(path: Path) -> KeyFile:
    """A key file, whole and as its key signed it. Raises PersonKeyError."""
    name = one_line(path.name, 80)
    try:
        return parse_key(read_ordinary(path, MAX_KEY_BYTES), name)
    except OSError as error:
        raise PersonKeyError(
            "key-unreadable",
            f"The key file {name} cannot be read: {error.strerror or error}.",
            "Give the file that 'rigvision key new' made.",
        ) from error


def parse_key(data: bytes, name: str = "the key file") -> KeyFile:
    """The content of a key file; ``name`` is what complaints call it. Raises PersonKeyError."""
    try:
        content: _Content = read_exactly(_Content, parsed(data))
        _check(content)
    except UsageError as error:
        raise _damaged(name, error.text) from error
    except ValueError as error:
        raise _damaged(name, one_line(str(error), 200)) from error
    return KeyFile(name, content)


def readable_by_others(path: Path) -> bool:
    """Whether others on this machine may read a file. On Windows this cannot be told: False."""
    return os.name == "posix" and bool(path.stat().st_mode & (stat.S_IRWXG | stat.S_IRWXO))


def _sealed(
    private_key: Ed25519PrivateKey,
    person: str,
    role: Role,
    passphrase: str,
    created_at: str,
    cost: int,
) -> _Content:
    public_key = public_key_of(private_key)
    salt, nonce = secrets.token_bytes(16), secrets.token_bytes(12)
    clear: dict[str, Any] = {
        "schema": SCHEMA,
        "person": person,
        "role": role,
        "public_key": public_key,
        "fingerprint": fingerprint_of(public_key),
        "created_at": created_at,
        "kdf": "scrypt",
        "kdf_cost": cost,
        "kdf_salt": salt.hex(),
        "cipher": "chacha20-poly1305",
        "cipher_nonce": nonce.hex(),
    }
    cipher = _cipher(passphrase, salt, cost)
    sealed = cipher.encrypt(nonce, private_key.private_bytes_raw(), _in_clear(clear)).hex()
    signature = signed(private_key, _to_sign(clear | {"sealed": sealed}))
    content: _Content = read_exactly(_Content, clear | {"sealed": sealed, "signature": signature})
    return content


def _cipher(passphrase: str, salt: bytes, cost: int) -> ChaCha20Poly1305:
    scrypt = Scrypt(salt=salt, length=32, n=2**cost, r=_BLOCK_SIZE, p=_PARALLEL)
    return ChaCha20Poly1305(scrypt.derive(normal(passphrase).encode("utf-8", "surrogatepass")))


def _in_clear(plain: dict[str, Any]) -> bytes:
    """The associated data: all but what is sealed and the signature over it."""
    return canonical({k: v for k, v in plain.items() if k not in ("sealed", "signature")})


def _to_sign(plain: dict[str, Any]) -> bytes:
    unsigned = {key: value for key, value in plain.items() if key != "signature"}
    return SCHEMA.encode() + b"\n" + canonical(unsigned)


def _check(content: _Content) -> None:
    """What types cannot say. Raises ValueError."""
    if not LEAST_COST <= content.kdf_cost <= MOST_COST:
        raise ValueError(f"its kdf_cost is not between {LEAST_COST} and {MOST_COST}")
    for field, size in (("kdf_salt", 16), ("cipher_nonce", 12), ("sealed", 48)):
        text = getattr(content, field)
        if len(text) != 2 * size or bytes.fromhex(text).hex() != text:
            raise ValueError(f"its {field} is not {size} bytes")
    if not is_public_key(content.public_key):
        raise ValueError("its public key is none")
    if content.fingerprint != fingerprint_of(content.public_key):
        raise ValueError("its fingerprint is another key's")
    if not holds(content.public_key, content.signature, _to_sign(plain_of(content))):
        raise ValueError("it is not as its key signed it")
    if checked_name(content.person) != content.person:
        raise ValueError("its name is not written as names are kept")


def _damaged(name: str, cause: str) -> PersonKeyError:
    return PersonKeyError(
        "key-damaged",
        f"{name} is no key file of rigvision, or was damaged or changed: {cause}.",
        "Take a copy of the file as 'rigvision key new' made it; no passphrase mends this one.",
    )


def _write_new(path: Path, content: bytes) -> None:
    """Raises PersonKeyError where the file is there already or cannot be made."""
    name = one_line(str(path), 200)
    try:
        write_new(path, content, mode=0o600)
    except FileExistsError as error:
        raise PersonKeyError(
            "key-exists",
            f"{name} is there already; a key is never overwritten.",
            "Give another name for the new key's file.",
        ) from error
    except OSError as error:
        raise _unwritten(name, error) from error


def _unwritten(name: str, error: OSError) -> PersonKeyError:
    return PersonKeyError(
        "key-not-written",
        f"The key file {name} cannot be made: {error.strerror or error}.",
        "Give a file in a folder that you may write to and that has room.",
    )
