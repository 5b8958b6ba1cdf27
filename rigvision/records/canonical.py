"""JSON in one form only, so that it can be hashed and signed: RFC 8785."""

from __future__ import annotations

import hashlib
import json
from typing import Any

import rfc8785


def canonical(plain: Any) -> bytes:
    """The bytes of a JSON value in the form of RFC 8785, in UTF-8.

    Raises ValueError for what that form does not have: NaN, infinities, whole numbers beyond
    2^53, lone surrogates, anything that is not JSON.
    """
    try:
        return rfc8785.dumps(plain)
    except (rfc8785.CanonicalizationError, UnicodeEncodeError) as error:
        raise ValueError(f"it has no canonical form: {error}") from error


def parsed(content: bytes) -> Any:
    """The JSON value of canonical bytes. Raises ValueError for any other form of it.

    So that no two texts stand for one value: what was hashed is exactly what is read.
    """
    try:
        plain = read(content.decode("utf-8"))
        as_it_must_be = canonical(plain)
    except RecursionError as error:
        raise ValueError("it is nested without end") from error
    if as_it_must_be != content:
        raise ValueError("it is not in canonical form")
    return plain


def read(text: str) -> Any:
    """The value of a JSON text, numbers as RFC 8785 has them: all are doubles (ECMAScript).

    So what is whole and beyond 2^53 is a float, as it was when it was written. Raises ValueError
    and RecursionError.
    """
    return json.loads(text, parse_int=_whole)


def _whole(digits: str) -> int | float:
    exact = len(digits) < 16 or abs(float(digits)) < 2**53
    return int(digits) if exact else float(digits)


def sha256_of(content: bytes) -> str:
    """SHA-256 (FIPS 180-4) in 64 small hexadecimal digits."""
    return hashlib.sha256(content).hexdigest()


def digest(domain: str, plain: Any) -> str:
    """SHA-256 of a JSON value under a domain, so that no hash of one kind serves as another."""
    return sha256_of(domain.encode() + b"\n" + canonical(plain))
