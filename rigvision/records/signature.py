"""Ed25519 (RFC 8032) as it is used here: hexadecimal in, hexadecimal out, weak keys refused."""

from __future__ import annotations

import re
from functools import lru_cache

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from rigvision.records.canonical import sha256_of

#: Of a public key's SHA-256; 128 bits are beyond anybody's search for a second key.
FINGERPRINT_DIGITS = 32
_PUBLIC_KEY = re.compile(r"[0-9a-f]{64}")
_SIGNATURE = re.compile(r"[0-9a-f]{128}")

#: The field that the curve lies in, and the y of its points of order 1, 2, 4 and 8: under a
#: public key of so small an order one signature holds for any text, or for one in eight.
_PRIME = 2**255 - 19
_ORDER_EIGHT_Y = 0x05FC536D880238B13933C6D305ACDFD5F098EFF289F4C345B027B2C28F95E826
_WEAK_Y = frozenset({0, 1, _PRIME - 1, _ORDER_EIGHT_Y, _PRIME - _ORDER_EIGHT_Y})


def new_private_key() -> Ed25519PrivateKey:
    return Ed25519PrivateKey.generate()


def private_key_of(seed: bytes) -> Ed25519PrivateKey:
    """The key of 32 secret bytes. Raises ValueError for any other number of them."""
    return Ed25519PrivateKey.from_private_bytes(seed)


def public_key_of(private_key: Ed25519PrivateKey) -> str:
    """64 small hexadecimal digits."""
    return private_key.public_key().public_bytes_raw().hex()


def signed(private_key: Ed25519PrivateKey, message: bytes) -> str:
    """The signature over a message: 128 small hexadecimal digits."""
    return private_key.sign(message).hex()


def holds(public_key: str, signature: str, message: bytes) -> bool:
    """Whether this key signed this message. Never for a key or signature of the wrong form."""
    if not _SIGNATURE.fullmatch(signature):
        return False
    try:
        _read_key(public_key).verify(bytes.fromhex(signature), message)
    except (InvalidSignature, ValueError):
        return False
    return True


@lru_cache(maxsize=256)
def _read_key(public_key: str) -> Ed25519PublicKey:
    """A ledger's many signatures are under few keys. Raises ValueError for what is none."""
    if not is_public_key(public_key):
        raise ValueError("it is no public key")
    return Ed25519PublicKey.from_public_bytes(bytes.fromhex(public_key))


def is_public_key(text: str) -> bool:
    """Whether it has the form of a public key that only its owner can sign for."""
    if not _PUBLIC_KEY.fullmatch(text):
        return False
    y = int.from_bytes(bytes.fromhex(text), "little") & ((1 << 255) - 1)
    return y < _PRIME and y not in _WEAK_Y


def fingerprint_of(public_key: str) -> str:
    """What people compare: the first half of the SHA-256 of the key's 32 bytes, hexadecimal."""
    return sha256_of(bytes.fromhex(public_key))[:FINGERPRINT_DIGITS]


def fingerprint_in(text: str) -> str | None:
    """A fingerprint as somebody typed it, with or without gaps; None where it is none."""
    digits = "".join(text.split()).casefold()
    whole = len(digits) == FINGERPRINT_DIGITS and set(digits) <= set("0123456789abcdef")
    return digits if whole else None
