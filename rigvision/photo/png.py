"""Whether a PNG is whole: every chunk by its CRC, the pixels by count and by zlib's Adler.

Decoders skip what they can: a wrong checksum of colour profile or EXIF, an end that is missing,
a stream that holds more or less than the picture.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator

from rigvision.photo.limits import LIMITS

_SIGNATURE_BYTES = 8
_CHANNELS = {0: 1, 2: 3, 3: 1, 4: 2, 6: 4}  # by colour type (PNG, 11.2.1)
#: First column and row, then the steps, of each pass (PNG, 8.2).
_ADAM7 = (
    *((0, 0, 8, 8), (4, 0, 8, 8), (0, 4, 4, 8), (2, 0, 4, 4)),
    *((0, 2, 2, 4), (1, 0, 2, 2), (0, 1, 1, 2)),
)
#: As much is unpacked at a time, bytes.
_PART = 1 << 20


def check_png(data: bytes) -> None:
    """Raises ValueError with what is wrong with the file; reads nothing of its meaning."""
    pixels = zlib.decompressobj()
    header, unpacked = b"", 0
    for kind, body in _chunks(data):
        if kind == b"IHDR":
            header = bytes(body[:13])
        elif kind == b"acTL":
            raise ValueError("it is an animation")
        elif kind == b"iCCP" and len(body) > LIMITS.profile_bytes:
            raise ValueError("its colour profile is too large")
        elif kind == b"eXIf" and len(body) > LIMITS.exif_bytes:
            raise ValueError("its EXIF is too large")
        elif kind == b"IDAT":
            unpacked = _unpack(pixels, body, unpacked, _raw_bytes(header))
    if not pixels.eof or unpacked != _raw_bytes(header):
        raise ValueError("its pixels end too early")


def _chunks(data: bytes) -> Iterator[tuple[bytes, memoryview]]:
    """Kind and body of each chunk up to IEND; what follows it is of no interest."""
    view, place = memoryview(data), _SIGNATURE_BYTES
    for _ in range(LIMITS.png_chunks):
        if place + 12 > len(data):
            raise ValueError("its end is missing")
        length, kind = struct.unpack_from(">I4s", data, place)
        end = place + 8 + length
        if end + 4 > len(data):
            raise ValueError("its end is missing")
        if zlib.crc32(view[place + 4 : end]) != int.from_bytes(data[end : end + 4], "big"):
            raise ValueError("a checksum is wrong")
        yield kind, view[place + 8 : end]
        if kind == b"IEND":
            return
        place = end + 4
    raise ValueError("it has too many parts")


def _unpack(pixels: zlib._Decompress, body: memoryview, unpacked: int, most: int) -> int:
    """Bytes unpacked so far; they are counted and dropped."""
    packed: bytes | memoryview = body
    while packed and not pixels.eof:
        try:
            unpacked += len(pixels.decompress(packed, _PART))
        except zlib.error as error:
            raise ValueError("its pixels are corrupt") from error
        packed = pixels.unconsumed_tail
        if unpacked > most:
            raise ValueError("it holds more than its picture")
    return unpacked


def _raw_bytes(header: bytes) -> int:
    """Bytes of all rows, each with its filter's, before packing."""
    if len(header) < 13:
        raise ValueError("its header is missing")
    width, height, depth, colour, _, _, interlaced = struct.unpack(">IIBBBBB", header)
    bits = depth * _CHANNELS.get(colour, 0)
    passes = _ADAM7 if interlaced else ((0, 0, 1, 1),)
    total = 0
    for left, top, dx, dy in passes:
        columns, rows = -(-(width - left) // dx), -(-(height - top) // dy)
        if columns > 0 and rows > 0:
            total += rows * (1 + (columns * bits + 7) // 8)
    return total
