"""Names of people, and when two of them are taken for one."""

from __future__ import annotations

import unicodedata

from rigvision.ground.errors import UsageError
from rigvision.ground.shown import one_line

LONGEST_NAME = 80
#: Alphabets with letters that look alike: a word of several is made to deceive.
_ALIKE = ("LATIN", "CYRILLIC", "GREEK")


def checked_name(text: str) -> str:
    """A person's name as it is kept. Raises UsageError for what cannot be told from others."""
    name = " ".join(unicodedata.normalize("NFC", text).split())
    if not folded(name):
        raise _unfit(name, "it has no letter")
    if len(name) > LONGEST_NAME:
        raise _unfit(name, f"it has more than {LONGEST_NAME} characters")
    if one_line(name) != name:
        raise _unfit(name, "it has characters that do not show")
    if any(len(_alphabets(word)) > 1 for word in name.split()):
        raise _unfit(name, "a word of it has letters of several alphabets, which look alike")
    return name


def folded(name: str) -> str:
    """What is left of a name without case, accents, spaces and points: equal means one person."""
    plain = unicodedata.normalize("NFKD", unicodedata.normalize("NFKC", name).casefold())
    return "".join(c for c in plain if unicodedata.category(c)[0] in "LN")


def same_person(name: str, other: str) -> bool:
    """Whether two names are taken for one person's. Rather once too often: people who share a name
    must tell themselves apart in writing, before one signs for the other's work.
    """
    return folded(name) == folded(other)


def _alphabets(word: str) -> set[str]:
    names = (unicodedata.name(c, "") for c in word)
    return {alphabet for name in names for alphabet in _ALIKE if name.startswith(alphabet)}


def _unfit(name: str, cause: str) -> UsageError:
    return UsageError(
        "unfit-name",
        f"'{one_line(name, 40)}' cannot stand for a person: {cause}.",
        "Give the name as it is written in the maintenance record, in one line.",
    )
