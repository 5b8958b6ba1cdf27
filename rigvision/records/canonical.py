"""JSON in one form only, so that it can be hashed and signed: RFC 8785."""

from __future__ import annotations

import hashlib
import json
import re
from typing import Any

import rfc8785


def canonical(plain: Any) -> bytes:
    """The bytes of a JSON value in the form of RFC 8785, in UTF-8.

    Raises ValueError for what that form does not have: NaN, infinities, whole numbers beyond
    2^53, lone surrogates, anything that is not JSON.
    """
    try:
        if _is_flat(plain):
            return _usual(plain).encode()
        return rfc8785.dumps(plain)
    except (rfc8785.CanonicalizationError, UnicodeEncodeError) as error:
        raise ValueError(f"it has no canonical form: {error}") from error


def _is_flat(plain: Any) -> bool:
    """Whether it is as most that is hashed and signed: texts and small counts under plain names."""
    return type(plain) is dict and all(
        type(name) is str
        and name.isascii()
        and (type(value) is str or (type(value) is int and abs(value) < 2**53))
        for name, value in plain.items()
    )


def _usual(plain: Any) -> str:
    """As Python writes it: many times quicker, and canonical but for numbers with a fraction or
    an exponent and for names beyond the basic plane."""
    return json.dumps(plain, sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def parsed(content: bytes) -> Any:
    """The JSON value of canonical bytes. Raises ValueError for any other form of it.

    So that no two texts stand for one value: what was hashed is exactly what is read.
    """
    text = content.decode("utf-8")
    try:
        plain = read(text)
        same = is_canonical(plain, text)
    except RecursionError as error:
        raise ValueError("it is nested without end") from error
    if not same:
        raise ValueError("it is not in canonical form")
    return plain


#: Characters that UTF-16 sorts otherwise than code points do.
_BEYOND = re.compile("[\U00010000-\U0010ffff]")
#: Stand in for numbers that json writes in another way; no whole number is read as large (_whole).
_STAND_IN = 10**20
_STANDING_IN = re.compile(r"1000000000000000\d{5}")


def _is_surely_canonical(text: str) -> bool:
    """A quick look, by the json module. Where it gives False the form may still be canonical."""
    numbers: list[str] = []

    def number(digits: str) -> float:
        value = float(digits)
        if repr(value) == digits and "e" not in digits and not digits.endswith(".0"):
            return value  # the shortest form that is read as it, which RFC 8785 asks for
        if canonical(value) != digits.encode():
            return 0
        numbers.append(digits)
        return _STAND_IN + len(numbers) - 1

    if _BEYOND.search(text):
        return False
    plain = json.loads(text, parse_int=_whole, parse_float=number)
    usual = _usual(plain)
    if 0 < len(numbers) < 100_000:
        usual = _STANDING_IN.sub(lambda m: _number(numbers, m[0]), usual)
    return usual == text


def _number(numbers: list[str], stand_in: str) -> str:
    index = int(stand_in) - _STAND_IN
    return numbers[index] if index < len(numbers) else stand_in


def members(text: str) -> dict[str, tuple[Any, str]]:
    """Value and text of each member of a JSON object, by its name, read in one pass.

    Raises ValueError where the object itself is not in canonical form; ``is_canonical`` tells of
    a member.
    """
    found: dict[str, tuple[Any, str]] = {}
    at = 0
    try:
        while text[at : at + 1] == ("," if found else "{") and text != "{}":
            name, colon = _DECODER.raw_decode(text, at + 1)
            value, end = _DECODER.raw_decode(text, colon + 1)
            found[name] = value, text[colon + 1 : end]
            at = end
    except (TypeError, RecursionError) as error:
        raise ValueError("it is no JSON object") from error
    parts = (canonical(name).decode() + ":" + found[name][1] for name in sorted(found))
    if text != "{" + ",".join(parts) + "}":
        raise ValueError("it is not in canonical form")
    return found


def is_canonical(value: Any, text: str) -> bool:
    """Whether a text, which was read as this value, is its canonical form."""
    return _is_surely_canonical(text) or canonical(value) == text.encode()


def read(text: str) -> Any:
    """The value of a JSON text, numbers as RFC 8785 has them: all are doubles (ECMAScript).

    So what is whole and beyond 2^53 is a float, as it was when it was written. Raises ValueError
    and RecursionError.
    """
    return _DECODER.decode(text)


def _whole(digits: str) -> int | float:
    exact = len(digits) < 16 or abs(float(digits)) < 2**53
    return int(digits) if exact else float(digits)


def _refuse_constant(name: str) -> float:
    raise ValueError(f"it has no canonical form: {name}")


_DECODER = json.JSONDecoder(parse_int=_whole, parse_constant=_refuse_constant)


def sha256_of(content: bytes) -> str:
    """SHA-256 (FIPS 180-4) in 64 small hexadecimal digits."""
    return hashlib.sha256(content).hexdigest()


def digest(domain: str, plain: Any) -> str:
    """SHA-256 of a JSON value under a domain, so that no hash of one kind serves as another."""
    return sha256_of(domain.encode() + b"\n" + canonical(plain))
