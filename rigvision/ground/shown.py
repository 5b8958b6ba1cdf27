"""Text from outside made fit to be shown."""

from __future__ import annotations

import unicodedata

#: Line and paragraph separator: breaks that are no control characters.
_BREAKS = ("Zl", "Zp")


def one_line(text: str, longest: int | None = None) -> str:
    """One line without control characters, terminal commands, direction marks, lone surrogates.

    Beyond ``longest`` characters the middle is left out.
    """
    cleaned = "".join(c if _is_harmless(c) else "\N{REPLACEMENT CHARACTER}" for c in text)
    if longest is None or len(cleaned) <= longest:
        return cleaned
    head = (longest - 1) * 5 // 8
    return f"{cleaned[:head]}…{cleaned[len(cleaned) - (longest - 1 - head) :]}"


def grouped(digits: str) -> str:
    """Digits in fours, so that two people can compare them aloud."""
    return " ".join(digits[at : at + 4] for at in range(0, len(digits), 4))


def _is_harmless(character: str) -> bool:
    category = unicodedata.category(character)
    return category[0] != "C" and category not in _BREAKS
