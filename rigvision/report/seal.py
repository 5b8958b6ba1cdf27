"""Which record an image or a page belongs to: in words, and as a code for machines.

The code is small enough for a QR code in its alphanumeric mode, and says the same wherever it
stands: in a picture's pixels, in its label, on a page.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

#: First word of the code; another arrangement of what follows gets another number.
FORMAT = "RIGVISION/1"
#: Pixels to a module in a picture 2000 px wide.
MODULE_PX = 10
#: The clear border that ISO/IEC 18004 asks for, in modules.
QUIET_MODULES = 4
#: Digits of the head's hash in the code; a chain cannot be made to meet so many by trying.
HEAD_DIGITS = 32

_CODE = re.compile(
    rf"{FORMAT} ([0-9A-F]{{16}}) ([0-9A-HJKMNP-TV-Z]{{4}}-[0-9A-HJKMNP-TV-Z]{{4}}) "
    rf"([0-9A-F]{{64}}) ([1-9][0-9]{{0,15}}) ([0-9A-F]{{{HEAD_DIGITS}}})"
)


@dataclass(frozen=True, slots=True)
class Seal:
    """A record's name and hash, and how far the ledger had come when this was made.

    ``ledger`` has 16 hexadecimal digits, ``record`` reads ``K7Q2-M9XA``, the hashes have 64
    digits. Raises ValueError for anything else, as it would be drawn into evidence.
    """

    ledger: str
    record: str
    core_sha256: str
    count: int
    head_hash: str
    job: str
    door: int
    stage: str | None = None

    def __post_init__(self) -> None:
        if _CODE.fullmatch(seal_code(self)) is None or len(self.head_hash) != 64:
            raise ValueError(f"no seal can be made of record {self.record!r}")


@dataclass(frozen=True, slots=True)
class SealCode:
    """What a code says, in small letters as the ledger writes them; the head's hash cut."""

    ledger: str
    record: str
    core_sha256: str
    count: int
    head_hash_start: str


def seal_code(seal: Seal) -> str:
    """``RIGVISION/1 LEDGER RECORD CORE COUNT HEAD``, all in letters that a QR code packs."""
    parts = (seal.ledger, seal.record, seal.core_sha256, seal.count, seal.head_hash[:HEAD_DIGITS])
    return " ".join([FORMAT, *(str(part) for part in parts)]).upper()


def read_seal(text: str) -> SealCode | None:
    """The code in a text that a reader of QR codes gave; None where it is none of ours."""
    found = _CODE.fullmatch(text.strip())
    if found is None:
        return None
    ledger, record, core, count, head = found.groups()
    return SealCode(ledger.lower(), record, core.lower(), int(count), head.lower())


def code_modules(seal: Seal) -> npt.NDArray[np.uint8]:
    """The QR code with its clear border, (N, N): 0 dark, 255 light.

    Error correction M, as in the same room larger modules are read as well as more correction, and
    better where a picture is small (``scripts/seal_reading``).
    """
    import segno  # only where something is sealed

    code = segno.make(seal_code(seal), error="m", micro=False, boost_error=False)
    rows = [list(row) for row in code.matrix_iter(border=QUIET_MODULES)]
    return np.where(np.array(rows) > 0, 0, 255).astype(np.uint8)
