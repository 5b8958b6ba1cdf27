"""What people call a check by: eight letters and digits, such as ``K7Q2-M9XA``."""

from __future__ import annotations

from rigvision.ground.errors import UsageError
from rigvision.ground.shown import one_line
from rigvision.records.canonical import digest

DOMAIN = "rigvision.record-id/1"
#: Crockford's base 32: without I, L, O and U, so that nothing is mistaken for 1 or 0.
ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
DIGITS = 8
_MISREAD = str.maketrans({"I": "1", "L": "1", "O": "0", "-": None, " ": None})


def record_id(
    ledger: str, job: str, photo_sha256: str, result_sha256: str, recorded_at: str
) -> str:
    """The id of a check, from what makes it this one.

    40 bits: among 100 000 records two share an id once in 200 ledgers. Whoever records a check
    looks first, and takes the time anew where the id is taken.
    """
    facts = {
        "ledger": ledger,
        "job": job,
        "photo_sha256": photo_sha256,
        "result_sha256": result_sha256,
        "recorded_at": recorded_at,
    }
    number = int(digest(DOMAIN, facts)[: DIGITS * 5 // 4], 16)
    digits = "".join(ALPHABET[number >> 5 * at & 31] for at in reversed(range(DIGITS)))
    return f"{digits[:4]}-{digits[4:]}"


def parse_record_id(text: str) -> str:
    """The id that somebody typed: small letters, O for 0, no hyphen are all understood.

    Raises UsageError for what is no id.
    """
    digits = text.strip().upper().translate(_MISREAD)
    if len(digits) != DIGITS or not set(digits) <= set(ALPHABET):
        raise UsageError(
            "not-a-record-id",
            f"'{one_line(text, 40)}' is no record's id.",
            "An id has eight letters and digits, such as K7Q2-M9XA; "
            "'rigvision record list' shows them.",
        )
    return f"{digits[:4]}-{digits[4:]}"


def is_record_id(text: str) -> bool:
    """Whether it is an id in the one form that is stored."""
    return len(text) == DIGITS + 1 and text[4] == "-" and set(text[:4] + text[5:]) <= set(ALPHABET)
