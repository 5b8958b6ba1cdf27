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
        return rfc8785.dumps(plain)
    except (rfc8785.CanonicalizationError, UnicodeEncodeError) as error:
        raise ValueError(f"it has no canonical form: {error}") from error


def parsed(content: bytes) -> Any:
    """The JSON value of canonical bytes. Raises ValueError for any other form of it.

    So that no two texts stand for one value: what was hashed is exactly what is read.
    """
    text = content.decode("utf-8")
    try:
        plain = read(text)
        same = _is_surely_canonical(text) or canonical(plain) == content
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
    usual = json.dumps(plain, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    if 0 < len(numbers) < 100_000:
        usual = _STANDING_IN.sub(lambda m: _number(numbers, m[0]), usual)
    return usual == text


def _number(numbers: list[str], stand_in: str) -> str:
    index = int(stand_in) - _STAND_IN
    return numbers[index] if index < len(numbers) else stand_in


def members(text: str) -> dict[str, str]:
    """The text of each member of a JSON object that ``parsed`` has read, by its name."""
    found, at, decoder = {}, 1, json.JSONDecoder()
    while text[at : at + 1] not in ("}", ""):
        name, at = decoder.raw_decode(text, at + (text[at] == ","))
        _, end = decoder.raw_decode(text, at + 1)
        found[name] = text[at + 1 : end]
        at = end
    return found


def read(text: str) -> Any:
    """The value of a JSON text, numbers as RFC 8785 has them: all are doubles (ECMAScript).

    So what is whole and beyond 2^53 is a float, as it was when it was written. Raises ValueError
    and RecursionError.
    """
    return json.loads(text, parse_int=_whole, parse_constant=_refuse_constant)


def _whole(digits: str) -> int | float:
    exact = len(digits) < 16 or abs(float(digits)) < 2**53
    return int(digits) if exact else float(digits)


def _refuse_constant(name: str) -> float:
    raise ValueError(f"it has no canonical form: {name}")


def sha256_of(content: bytes) -> str:
    """SHA-256 (FIPS 180-4) in 64 small hexadecimal digits."""
    return hashlib.sha256(content).hexdigest()


def digest(domain: str, plain: Any) -> str:
    """SHA-256 of a JSON value under a domain, so that no hash of one kind serves as another."""
    return sha256_of(domain.encode() + b"\n" + canonical(plain))
