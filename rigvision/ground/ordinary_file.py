"""The bytes of an ordinary file of limited size, whatever lies under its name."""

from __future__ import annotations

import os
import stat
from collections.abc import Generator
from contextlib import closing
from pathlib import Path


def read_ordinary(path: Path, most_bytes: int) -> bytes:
    """All bytes of a file. A link is followed; what it leads to must be an ordinary file.

    The file that was looked at is the one that is read, and no more of it than is allowed, even
    if it grows or is exchanged meanwhile; a pipe is not waited for, a device never read.

    Raises OSError with a text for a person: missing, no right to it, not ordinary, too large.
    """
    parts, room = [], most_bytes + 1
    with closing(ordinary_parts(path)) as pieces:
        for part in pieces:
            parts.append(part[:room])
            room -= len(parts[-1])
            if not room:
                raise OSError(None, f"it is larger than {_size(most_bytes)}")
    return b"".join(parts)


def ordinary_parts(path: Path) -> Generator[bytes]:
    """The same piece by piece, however large the file is. Raises OSError as above."""
    descriptor = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | _BINARY)
    try:
        mode = os.fstat(descriptor).st_mode
        if not stat.S_ISREG(mode):
            kind = "a folder" if stat.S_ISDIR(mode) else "not an ordinary file"
            raise OSError(None, f"it is {kind}")
        while part := os.read(descriptor, 1 << 20):
            yield part
    finally:
        os.close(descriptor)


#: Windows changes line ends otherwise.
_BINARY = getattr(os, "O_BINARY", 0)


def _size(count: int) -> str:
    return f"{count // 1024} KiB" if count < 1_000_000 else f"{count / 1e6:.0f} MB"
