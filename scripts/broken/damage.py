"""Damage done to a file's bytes, as transfers, memory cards and attackers do it.

Every damage takes the file and a random source, and gives other bytes. Where it strikes is drawn
half the time from the file's first 2 kB, where formats keep what steers their decoders.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Callable
from random import Random

from broken.originals import originals

HEAD_BYTES = 2048
#: What counts, sizes and offsets are set to: their ends, and just beyond.
EDGES = (0, 1, 0x7F, 0x80, 0xFF, 0x7FFF, 0x8000, 0xFFFF, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF)
#: A sector of a memory card and a page of memory; what is lost is lost in such pieces.
SECTORS = (512, 4096)

Damage = Callable[[bytearray, Random], None]


def remade(form: str, number: int, seed: int) -> bytes:
    """The damaged file of that number, once more."""
    whole = dict(sorted(originals().items()))
    others = [data for name, data in whole.items() if name != form]
    return damaged(whole[form], draw(seed, form, number), others)[1]


def draw(seed: int, form: str, number: int) -> str:
    """What a file's damage is drawn from."""
    return f"{seed} {form} {number}"


def damaged(whole: bytes, drawn_from: str, others: list[bytes]) -> tuple[str, bytes]:
    """The name of the damage and the bytes that it makes of a file.

    ``others`` are whole files of other formats, whose parts may get into this one.
    """
    random = Random(drawn_from)
    name = random.choice(tuple(DAMAGES))
    data = bytearray(whole)
    if name == "spliced head":
        _spliced_head(data, random, others)
    else:
        DAMAGES[name](data, random)
    if data == whole:  # a swap of two equal blocks, say
        data[random.randrange(len(data))] ^= 1 << random.randrange(8)
    return name, bytes(data)


def _place(data: bytearray, random: Random, room: int = 1) -> int:
    most = max(1, len(data) - room)
    return random.randrange(min(most, HEAD_BYTES) if random.random() < 0.5 else most)


def _flipped_bits(data: bytearray, random: Random) -> None:
    for _ in range(random.choice((1, 1, 1, 2, 8))):
        data[_place(data, random)] ^= 1 << random.randrange(8)


def _changed_bytes(data: bytearray, random: Random) -> None:
    for _ in range(random.choice((1, 2, 4, 16))):
        data[_place(data, random)] = random.randrange(256)


def _edge_numbers(data: bytearray, random: Random) -> None:
    """A number of 2 or 4 bytes, in either order, set to an end of its range."""
    for _ in range(random.choice((1, 1, 2))):
        layout = random.choice((">H", "<H", ">I", "<I"))
        size = struct.calcsize(layout)
        at = _place(data, random, size)
        struct.pack_into(layout, data, at, random.choice(EDGES) & (256**size - 1))


def _truncated(data: bytearray, random: Random) -> None:
    del data[_place(data, random) :]


def _cut_end(data: bytearray, random: Random) -> None:
    """The last few bytes missing: a transfer that was given up just before its end."""
    del data[-random.choice((1, 2, 4, 16, 64, 512)) :]


def _lost_sector(data: bytearray, random: Random) -> None:
    size = random.choice(SECTORS)
    at = random.randrange(max(1, len(data) // size)) * size
    fill = random.choice((b"\0", b"\xff"))
    data[at : at + size] = fill * len(data[at : at + size])


def _noise_sector(data: bytearray, random: Random) -> None:
    """A sector of some other file."""
    size = random.choice(SECTORS)
    at = random.randrange(max(1, len(data) // size)) * size
    data[at : at + size] = random.randbytes(len(data[at : at + size]))


def _block(data: bytearray, random: Random) -> tuple[int, int]:
    length = min(len(data) // 4, random.choice((1, 4, 12, 64, 512, 4096)))
    at = _place(data, random, length)
    return at, at + length


def _removed_block(data: bytearray, random: Random) -> None:
    start, end = _block(data, random)
    del data[start:end]


def _doubled_block(data: bytearray, random: Random) -> None:
    start, end = _block(data, random)
    data[end:end] = data[start:end]


def _swapped_blocks(data: bytearray, random: Random) -> None:
    start, end = _block(data, random)
    other = random.randrange(len(data) - (end - start))
    size = end - start
    data[start:end], data[other : other + size] = data[other : other + size], data[start:end]


def _inserted_bytes(data: bytearray, random: Random) -> None:
    at = _place(data, random)
    data[at:at] = random.randbytes(random.choice((1, 2, 16, 256)))


def _appended_bytes(data: bytearray, random: Random) -> None:
    data += random.randbytes(random.choice((1, 16, 4096)))


def _moved_chunk(data: bytearray, random: Random) -> None:
    """One of the format's own parts removed, doubled, or exchanged with another."""
    spans = chunks(bytes(data))
    if len(spans) < 2:
        _swapped_blocks(data, random)
        return
    parts = [bytes(data[start:end]) for start, end in spans]
    i, j = random.randrange(len(parts)), random.randrange(len(parts))
    what = random.choice(("removed", "doubled", "swapped"))
    if what == "removed":
        del parts[i]
    elif what == "doubled":
        parts.insert(j, parts[i])
    else:
        parts[i], parts[j] = parts[j], parts[i]
    data[spans[0][0] : spans[-1][1]] = b"".join(parts)


def _sealed_change(data: bytearray, random: Random) -> None:
    """Bytes inside a PNG's chunk changed and its check sum made right again, as a forger would."""
    spans = [s for s in chunks(bytes(data)) if data[s[0] + 4 : s[0] + 8].isalpha()]
    if data[:4] != b"\x89PNG" or not spans:
        _changed_bytes(data, random)
        return
    start, end = random.choice(spans)
    for _ in range(random.choice((1, 4))):
        data[random.randrange(start + 4, max(start + 5, end - 4))] = random.randrange(256)
    struct.pack_into(">I", data, end - 4, zlib.crc32(data[start + 4 : end - 4]))


def _spliced_head(data: bytearray, random: Random, others: list[bytes]) -> None:
    """The beginning of another file over this one's."""
    head = random.choice(others)[: random.choice((4, 16, 64, 256, 1024))]
    data[: len(head)] = head


DAMAGES: dict[str, Damage] = {
    "flipped bits": _flipped_bits,
    "changed bytes": _changed_bytes,
    "edge numbers": _edge_numbers,
    "truncated": _truncated,
    "cut end": _cut_end,
    "lost sector": _lost_sector,
    "noise sector": _noise_sector,
    "removed block": _removed_block,
    "doubled block": _doubled_block,
    "swapped blocks": _swapped_blocks,
    "inserted bytes": _inserted_bytes,
    "appended bytes": _appended_bytes,
    "moved chunk": _moved_chunk,
    "sealed change": _sealed_change,
    "spliced head": lambda data, random: None,
}


def chunks(data: bytes) -> list[tuple[int, int]]:
    """Where the format's own parts begin and end, one after the other; [] where it has none."""
    if data[:2] == b"\xff\xd8":
        return _jpeg_segments(data)
    if data[:8] == b"\x89PNG\r\n\x1a\n":
        return _sized(data, 8, lambda at: 12 + int.from_bytes(data[at : at + 4], "big"))
    if data[:4] == b"RIFF":
        return _sized(data, 12, lambda at: 8 + -2 * (-_little(data, at + 4) // 2))
    if data[4:8] == b"ftyp":
        return _sized(data, 0, lambda at: int.from_bytes(data[at : at + 4], "big"))
    if data[:4] == b"II*\0":
        return _tiff_entries(data)
    return []


def _little(data: bytes, at: int) -> int:
    return int.from_bytes(data[at : at + 4], "little")


def _sized(data: bytes, at: int, size: Callable[[int], int]) -> list[tuple[int, int]]:
    spans = []
    while at + 8 <= len(data) and 8 <= size(at) <= len(data) - at:
        spans.append((at, at + size(at)))
        at = spans[-1][1]
    return spans


def _jpeg_segments(data: bytes) -> list[tuple[int, int]]:
    """Segments up to and with the first scan's header."""
    spans, at = [], 2
    while at + 4 <= len(data) and data[at] == 0xFF:
        end = at + 2 + int.from_bytes(data[at + 2 : at + 4], "big")
        spans.append((at, end))
        if data[at + 1] == 0xDA or end > len(data):
            break
        at = end
    return spans


def _tiff_entries(data: bytes) -> list[tuple[int, int]]:
    """The entries of the first directory."""
    at = _little(data, 4)
    count = int.from_bytes(data[at : at + 2], "little")
    spans = [(at + 2 + 12 * k, at + 14 + 12 * k) for k in range(count)]
    return [s for s in spans if s[1] <= len(data)]
