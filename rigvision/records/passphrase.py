"""Passphrases for people's keys: which are long and varied enough."""

from __future__ import annotations

import unicodedata

from rigvision.records.person import folded

SHORTEST, LONGEST = 12, 1000
#: Characters that are not foreseen by what stands before them.
FEWEST_SURPRISES = 9


def normal(passphrase: str) -> str:
    """One form of it, whatever keyboard it was typed on: NFKC."""
    return unicodedata.normalize("NFKC", passphrase)


def weakness(passphrase: str, person: str) -> str | None:
    """Why somebody would guess it, in words that fit after "the passphrase"; None if not soon.

    It is a floor, no proof: what is taken here can still be a well-known sentence.
    """
    text = normal(passphrase)
    if not text.strip():
        return "is empty"
    if len(text) > LONGEST:
        return f"has more than {LONGEST} characters"
    if len(text) < SHORTEST:
        return f"has fewer than {SHORTEST} characters"
    if _surprises(text.casefold()) < FEWEST_SURPRISES:
        return "repeats itself or counts up"
    rest = folded(text)
    for word in sorted(map(folded, person.split()), key=len, reverse=True):
        rest = rest.replace(word, "") if word else rest
    if len(rest) < FEWEST_SURPRISES and len(rest) < len(folded(text)):
        return "is little more than the person's name"
    return None


def _surprises(text: str) -> int:
    """How many characters neither continue a count nor belong to something said before."""
    steps = zip(" " + text, text, strict=False)
    count = sum(abs(ord(after) - ord(before)) > 1 for before, after in steps)
    period = next(n for n in range(1, len(text) + 1) if (text[:n] * len(text))[: len(text)] == text)
    return min(count, period, 2 * len(set(text)))
