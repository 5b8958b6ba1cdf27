"""A face's patch in few bytes, and a sketch of it in fewer.

Four bits a cell: 0 is unseen, 1 to 15 are contrast from the least to the most. Noise and JPEG move
a cell by more than that rounding does.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from rigvision.ground.conventions import FloatArray

#: Contrast, in local spreads, of the codes 1 and 15.
MOST = 2.5
_MIDDLE, _STEPS = 8, 7
_HEAD = 4  # bytes: rows and columns, each two, the low one first
#: Fewer cells than these are no patch to compare by.
LEAST_CELLS = 300
SKETCH_BITS = 256


def packed(patch: FloatArray) -> str:
    """Contrast (rows, columns) as base64; NaN is unseen."""
    codes = np.rint(np.nan_to_num(patch) * (_STEPS / MOST)) + _MIDDLE
    codes = np.where(np.isfinite(patch), np.clip(codes, 1, 15), 0).astype(np.uint8).ravel()
    codes = np.pad(codes, (0, codes.size % 2))
    head = np.array(patch.shape, dtype="<u2").tobytes()
    return base64.b64encode(head + (codes[::2] << 4 | codes[1::2]).tobytes()).decode("ascii")


def unpacked(text: str) -> FloatArray:
    """The patch (rows, columns) again. Raises ValueError for text that is none."""
    try:
        content = base64.b64decode(text, validate=True)
    except binascii.Error as error:
        raise ValueError(f"it is not base64: {error}") from error
    rows, columns = (int.from_bytes(content[k : k + 2], "little") for k in (0, 2))
    if rows * columns == 0 or len(content) != _HEAD + (rows * columns + 1) // 2:
        raise ValueError(f"{rows} rows of {columns} cells do not fill {len(content)} bytes")
    pairs = np.frombuffer(content, np.uint8, offset=_HEAD)
    codes = np.stack([pairs >> 4, pairs & 15], axis=1).ravel()[: rows * columns]
    contrast = (codes.astype(np.float64) - _MIDDLE) * (MOST / _STEPS)
    return np.where(codes > 0, contrast, np.nan).reshape(rows, columns)


def sketch(patch: FloatArray) -> str | None:
    """Signs of 256 sums of the cells, each cell with a sign of its own, as hexadecimal digits.

    Of two patches that correlate by r, each sign differs with probability arccos(r) / pi: a half
    where they have nothing in common (M. X. Goemans, D. P.
    Williamson 1995, for many cells; from memory). None
    where too little is seen.
    """
    if np.isfinite(patch).sum() < LEAST_CELLS:
        return None
    sums = _signs(patch.size) @ np.nan_to_num(patch).ravel()
    return np.packbits(sums > 0.0).tobytes().hex()


@lru_cache(maxsize=8)
def _signs(cells: int) -> npt.NDArray[np.float32]:
    """Plus and minus one (SKETCH_BITS, cells), the same on every machine for ever."""
    row_bytes = -(-cells // 8)
    stream = hashlib.shake_256(b"rigvision.sketch/1").digest(SKETCH_BITS * row_bytes)
    bits = np.unpackbits(np.frombuffer(stream, np.uint8).reshape(SKETCH_BITS, row_bytes), axis=1)
    return np.asarray(bits[:, :cells], np.float32) * 2.0 - 1.0
