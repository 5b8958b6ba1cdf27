"""Zip files of one form only: stored, not compressed, names in order, every other field fixed.

The same files give the same bytes with any version of anything, so that a zip file is checked to
its last byte by writing it again. Nothing else is read: no compression, hence no bombs; no links,
no encryption, no zip64, no comments, nothing before, between or behind; and nothing is ever
written to a disk under a name that stands in it. (APPNOTE 6.3.10 of the format; its fields 4.3.7,
4.3.12 and 4.3.16, from memory; Python's zipfile and Info-ZIP read what is written here.)
"""

from __future__ import annotations

import re
import struct
import zlib
from collections.abc import Mapping

#: Photo, image, page and a model of each kind, with room to spare.
MAX_FILES = 64
MAX_BYTES = 512_000_000
LONGEST_NAME = 100
#: Small letters as Windows and macOS do not tell capitals apart; no folder upwards, none absolute.
_NAME = re.compile(r"[a-z0-9][a-z0-9._-]*(/[a-z0-9][a-z0-9._-]*)*")

_LOCAL = struct.Struct("<4s5H3L2H")
_CENTRAL = struct.Struct("<4s6H3L5H2L")
_END = struct.Struct("<4s4H2LH")
_LOCAL_SIGN, _CENTRAL_SIGN, _END_SIGN = b"PK\x03\x04", b"PK\x01\x02", b"PK\x05\x06"
_ENCRYPTED, _STORED = 1, 0
#: Version 2.0 is needed; 1980-01-01, the first day that the format knows, at midnight.
_VERSION, _DATE, _TIME = 20, 0x0021, 0
#: Made on Unix; an ordinary file, readable by all.
_MADE_BY, _ATTRIBUTES = (3 << 8) | _VERSION, 0o100644 << 16


def write_zip(files: Mapping[str, bytes]) -> bytes:
    """The zip file of these files, sorted by name. Raises ValueError for what it cannot hold."""
    if not 1 <= len(files) <= MAX_FILES:
        raise ValueError(f"it would have {len(files)} files, not 1 to {MAX_FILES}")
    if sum(map(len, files.values())) > MAX_BYTES:
        raise ValueError(f"it would have more than {MAX_BYTES // 1_000_000} MB")
    parts, directory, at = [], [], 0
    for name in sorted(files):
        content, shown = files[name], checked_member(name).encode("ascii")
        crc, size = zlib.crc32(content), len(content)
        shared = (_VERSION, 0, _STORED, _TIME, _DATE, crc, size, size, len(shown), 0)
        local = _LOCAL.pack(_LOCAL_SIGN, *shared) + shown
        directory.append(
            _CENTRAL.pack(_CENTRAL_SIGN, _MADE_BY, *shared, 0, 0, 0, _ATTRIBUTES, at) + shown
        )
        parts += [local, content]
        at += len(local) + size
    whole = b"".join(directory)
    count = len(files)
    end = _END.pack(_END_SIGN, 0, 0, count, count, len(whole), at, 0)
    return b"".join([*parts, whole, end])


def read_zip(content: bytes) -> dict[str, bytes]:
    """The files in a zip file that ``write_zip`` made.

    Raises ValueError, in words, for every other: what is unusual about it, or that a byte of it
    is not as it was written.
    """
    if len(content) > MAX_BYTES + (1 << 20):
        raise ValueError(f"it has more than {MAX_BYTES // 1_000_000} MB")
    _refuse_strange_ends(content)
    files: dict[str, bytes] = {}
    at = 0
    while content[at : at + 4] == _LOCAL_SIGN:
        if len(files) == MAX_FILES:
            raise ValueError(f"it has more than {MAX_FILES} files")
        name, at, size = _local_header(content, at)
        if name in files:
            raise ValueError(f"the name {name} stands twice in it")
        files[name] = content[at : at + size]
        at += size
    if not files or write_zip(files) != content:
        raise ValueError("its bytes are not as they were written")
    return files


def checked_member(name: str) -> str:
    """A name as it may stand in a zip file. Raises ValueError for any other."""
    if len(name) > LONGEST_NAME or not _NAME.fullmatch(name):
        raise ValueError(f"a name in it is none that rigvision writes: {ascii(name)[:60]}")
    return name


def _local_header(content: bytes, at: int) -> tuple[str, int, int]:
    """Name, where the content begins, and its size. Raises ValueError for what we never write."""
    if len(content) < at + _LOCAL.size:
        raise ValueError("it is cut off")
    _, _, flags, method, _, _, _, packed, size, name_size, extra = _LOCAL.unpack_from(content, at)
    name = content[at + _LOCAL.size : at + _LOCAL.size + name_size].decode("latin-1")
    checked_member(name)
    if flags & _ENCRYPTED:
        raise ValueError(f"{name} in it is encrypted")
    if 0xFFFFFFFF in (packed, size):
        raise ValueError("it is of the kind zip64")
    if method != _STORED:
        raise ValueError(f"{name} in it is compressed")
    if packed != size or extra or flags:
        raise ValueError(f"the header of {name} in it is none that rigvision writes")
    start = at + _LOCAL.size + name_size
    if start + size > len(content):
        raise ValueError(f"{name} in it is cut off")
    return name, start, size


def _refuse_strange_ends(content: bytes) -> None:
    """Raises ValueError for something before the first file or behind the last byte."""
    if not content.startswith(_LOCAL_SIGN):
        raise ValueError("it does not begin with a file")
    end = len(content) - _END.size
    if end < 0 or content[end : end + 4] != _END_SIGN:
        ended = _END_SIGN in content[-(1 << 16) :]
        raise ValueError("something stands behind its end" if ended else "it is cut off")
    _refuse_links(content, end)


def _refuse_links(content: bytes, end: int) -> None:
    """Raises ValueError where the directory at the end names anything but ordinary files."""
    *_, count, size, at, _ = _END.unpack_from(content, end)
    if count == 0xFFFF or 0xFFFFFFFF in (size, at):
        raise ValueError("it is of the kind zip64")
    for _ in range(min(count, MAX_FILES)):
        if content[at : at + 4] != _CENTRAL_SIGN or len(content) < at + _CENTRAL.size:
            return  # the comparison with what would be written says so
        *_, name, extra, comment, _, _, attributes, _ = _CENTRAL.unpack_from(content, at)
        if attributes >> 16 & 0o170000 == 0o120000:
            raise ValueError("a file in it is a link")
        at += _CENTRAL.size + name + extra + comment
