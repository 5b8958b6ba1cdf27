"""The bytes of a file that is an ordinary file of sane size, read once through one descriptor.

Name and kind are asked of the opened file, not of the path: between two questions about a path
somebody could put another file there. A link to an ordinary file is followed, as for every
program that reads; nothing is ever written through the same path.
"""

from __future__ import annotations

import os
import stat
from pathlib import Path

from rigvision.ground.errors import PhotoError
from rigvision.photo.limits import LIMITS

#: Opening a pipe or a device must never wait for its other end. Where a system lacks one of
#: them, it lacks what it is for.
_FLAGS = os.O_RDONLY | sum(
    getattr(os, flag, 0) for flag in ("O_NONBLOCK", "O_CLOEXEC", "O_NOCTTY", "O_BINARY")
)


def file_bytes(path: Path, name: str) -> bytes:
    """All bytes of an ordinary file.

    Raises PhotoError: ``missing``, ``not-a-file``, ``too-large``, ``unreadable``, ``empty``.
    """
    try:
        if path.is_dir():  # where folders cannot be opened, the reason would be another
            raise _not_a_file(name, "a folder")
        descriptor = os.open(path, _FLAGS)
        with open(descriptor, "rb", buffering=0) as file:
            data = _whole(file.fileno(), name)
    except FileNotFoundError as error:
        raise PhotoError("missing", f"{name} does not exist.", "Check the path.") from error
    except (OSError, ValueError) as error:
        cause = getattr(error, "strerror", None) or str(error)
        raise PhotoError("unreadable", f"{name} cannot be read: {cause}.", "Check it.") from error
    if not data:
        raise PhotoError("empty", f"{name} is empty.", "Copy it from the phone again.")
    return data


def _whole(descriptor: int, name: str) -> bytes:
    """What the opened file holds, as much as it had when it was opened."""
    status = os.fstat(descriptor)
    if not stat.S_ISREG(status.st_mode):
        raise _not_a_file(
            name, "a folder" if stat.S_ISDIR(status.st_mode) else "not an ordinary file"
        )
    if status.st_size > LIMITS.file_bytes:
        raise PhotoError(
            "too-large",
            f"{name} has {status.st_size / 1e6:.0f} MB; at most {LIMITS.file_bytes / 1e6:.0f} MB.",
            "Send the photo as the phone's camera wrote it.",
        )
    parts = []
    left = status.st_size
    while left > 0 and (part := os.read(descriptor, left)):
        parts.append(part)
        left -= len(part)
    return parts[0] if len(parts) == 1 else b"".join(parts)


def _not_a_file(name: str, kind: str) -> PhotoError:
    return PhotoError("not-a-file", f"{name} is {kind}.", "Give the photo's own file.")
