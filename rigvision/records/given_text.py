"""What people type into a record: kept in one form, refused where it could not be shown again."""

from __future__ import annotations

import re
import unicodedata

from rigvision.ground.errors import UsageError
from rigvision.ground.shown import one_line

LONGEST_NAME = 64
LONGEST_REMARK = 500
#: Fit for a file's name and a command's argument on any system.
_REFERENCE = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,31}")


def given_text(text: str, what: str, longest: int = LONGEST_NAME, *, optional: bool = False) -> str:
    """One line in NFC with single spaces. ``what`` is what complaints call it, as in: the engine.

    Raises UsageError: empty, too long, or with signs that do not show or turn the line round.
    """
    kept = " ".join(unicodedata.normalize("NFC", text).split())
    if not kept and not optional:
        raise _unfit(f"{what} is empty", "Say what it is.")
    if one_line(text.strip()) != text.strip():
        raise _unfit(
            f"{what} has signs in it that do not show: '{one_line(kept, 40)}'",
            "Write it in one line of letters, digits and punctuation.",
        )
    if len(kept) > longest:
        raise _unfit(
            f"{what} has {len(kept)} characters; at most {longest} are kept",
            "Say it shorter.",
        )
    return kept


def given_reference(text: str) -> str:
    """A job's reference as it is kept. Raises UsageError."""
    if not _REFERENCE.fullmatch(text):
        raise UsageError(
            "unfit-reference",
            f"'{one_line(text, 40)}' cannot be a job's reference.",
            "Take up to 32 letters, digits, points, hyphens and underscores, such as J-0042.",
        )
    return text


def _unfit(cause: str, remedy: str) -> UsageError:
    return UsageError("unfit-text", f"{cause[0].upper()}{cause[1:]}.", remedy)
