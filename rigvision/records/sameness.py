"""How alike two photos' set-ups are, and what that says of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

#: ``same-photo``: copies of one exposure. ``same-setup``: two photos of a set-up in which nothing
#: was moved. ``same-parts``: sill and door are the same, but something was moved. ``different``:
#: other parts. ``unknown``: too little to tell.
SamenessKind = Literal["same-photo", "same-setup", "same-parts", "different", "unknown"]


@dataclass(frozen=True, slots=True)
class Sameness:
    """``why`` says what speaks for it, in words."""

    kind: SamenessKind
    why: str = ""
