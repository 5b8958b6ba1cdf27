"""Files that are whole or not there: written beside, forced to the disk, then named."""

from __future__ import annotations

import errno
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

#: What a file that is being written ends in; one that stays was never finished.
UNFINISHED = ".part"


def write_new(path: Path, content: bytes, mode: int) -> None:
    """A new file, which survives a power cut from here on. Raises FileExistsError, OSError."""
    with written_beside(path, content, mode) as part:
        name_new(part, path)
    sync_folder(path.parent)


def write_over(path: Path, content: bytes, mode: int) -> None:
    """A file in place of what may be there; at every moment the one or the other. OSError."""
    with written_beside(path, content, mode) as part:
        os.replace(part, path)
    sync_folder(path.parent)


def name_new(part: Path, path: Path) -> None:
    """Give a finished file its name. Raises FileExistsError where that is taken, OSError."""
    try:
        # A link, other than a rename, never takes the place of a file that is there.
        os.link(part, path)
    except FileExistsError:
        raise
    except OSError:  # memory cards and some network shares have no links
        if path.exists():
            raise FileExistsError(errno.EEXIST, "File exists", str(path)) from None
        os.rename(part, path)


@contextmanager
def written_beside(path: Path, content: bytes, mode: int) -> Iterator[Path]:
    """A finished file beside ``path``, to be given its name; it is gone afterwards. OSError."""
    descriptor, name = tempfile.mkstemp(suffix=UNFINISHED, prefix=".", dir=path.parent)
    try:
        with open(descriptor, "wb") as file:
            file.write(content)
            file.flush()
            os.chmod(name, mode)
            os.fsync(file.fileno())
        yield Path(name)
    finally:
        Path(name).unlink(missing_ok=True)


def sync_file(path: Path) -> None:
    """Force a file that another library wrote to the disk."""
    with path.open("r+b") as file:
        os.fsync(file.fileno())


def sync_folder(folder: Path) -> None:
    """Force a folder's list of names to the disk, where the system can (Windows does by itself)."""
    if os.name != "posix":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
