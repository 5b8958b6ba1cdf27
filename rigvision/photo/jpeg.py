"""A JPEG's luma, or a refusal where the decoder had to guess.

libjpeg goes on with whatever it makes of corrupt data and whispers a warning, which Pillow
drops and OpenCV prints. simplejpeg hands the same library's warnings out as errors. Trailing
data is no damage: phones put a second picture, a gain map or a short film behind the first.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from rigvision.photo.limits import LIMITS

CodesArray = npt.NDArray[np.uint8]

#: The next marker in entropy-coded data: neither a stuffed FF nor a restart (T.81, B.1.1.5).
_MARKER = re.compile(rb"\xff[^\x00\xd0-\xd7\xff]")
_EOI, _SOS, _SOF2 = 0xD9, 0xDA, 0xC2
#: What libjpeg says of two harmless habits of firmware.
_PADDED = "extraneous bytes before marker 0xd9"
_SCAN_PARAMETERS = "Invalid SOS parameters for sequential JPEG"


def decode_jpeg(data: bytes, space: str = "GRAY") -> CodesArray:
    """Codes (H, W) of the luma, or (H, W, 4) for ``space`` "CMYK".

    Raises ValueError where a single bit of it had to be guessed, as far as that shows.
    """
    from simplejpeg import decode_jpeg as decoded

    _count_scans(data)
    try:
        codes = decoded(data, space)
    except ValueError as error:
        if not any(harmless in str(error) for harmless in (_PADDED, _SCAN_PARAMETERS)):
            raise
        codes = decoded(_mended(data), space)
    return np.asarray(codes[:, :, 0] if space == "GRAY" else codes)


def _count_scans(data: bytes) -> None:
    """A sequential file has a scan for each colour at most; only a progressive one is counted."""
    scans = progressive = 0
    for kind, _, _ in _segments(data):
        progressive |= kind == _SOF2
        scans += kind == _SOS
        if scans and not progressive:
            return
        if scans > LIMITS.jpeg_scans:
            raise ValueError(f"it asks for more than {LIMITS.jpeg_scans} passes")


def _segments(data: bytes) -> Iterator[tuple[int, int, int]]:
    """Kind, start and end of each marker segment of the first picture, to its end mark."""
    place = 2
    while found := _MARKER.search(data, place):
        kind, start = data[found.start() + 1], found.start()
        if kind == _EOI or start + 4 > len(data):
            yield kind, start, start + 2
            return
        place = start + 2 + int.from_bytes(data[start + 2 : start + 4], "big")
        yield kind, start, place


def _mended(data: bytes) -> bytes:
    """The same picture without firmware's harmless habits: zeros before the end mark, and a
    sequential scan's parameters, which mean nothing there, other than 0, 63, 0."""
    mended, end = bytearray(data), len(data)
    for kind, start, past in _segments(data):
        if kind == _SOS:
            mended[past - 3 : past] = b"\x00\x3f\x00"
        if kind == _EOI:
            end = start
    return bytes(mended[:end].rstrip(b"\0")) + data[end:]
