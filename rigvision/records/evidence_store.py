"""Photos, analysed images and models, kept beside the ledger and named by their SHA-256."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from pathlib import Path

from rigvision.ground.ordinary_file import ordinary_parts, read_ordinary
from rigvision.ground.shown import one_line
from rigvision.records.bodies import FileFacts
from rigvision.records.canonical import sha256_of
from rigvision.records.ledger_error import LedgerError, of_system, shown_path, spoken
from rigvision.records.safe_file import sync_folder, write_over

#: Larger than any photo that is read.
MOST_BYTES = 1 << 30
_HEX = frozenset("0123456789abcdef")
_FROM_BACKUP = "Put the file back from a backup (`rigvision record restore`)."


def evidence_folder(ledger: Path) -> Path:
    """Where the evidence of a ledger's file lies: beside it."""
    return ledger.with_name(f"{ledger.name}.evidence")


class EvidenceStore:
    """Files are only ever added. ``ab/abcd…`` is the file whose hash is ``abcd…``."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def path(self, sha256: str) -> Path:
        """Where a file lies or would. Raises ValueError for what is no hash, so no path either."""
        if len(sha256) != 64 or not _HEX.issuperset(sha256):
            raise ValueError(f"not a SHA-256: {one_line(sha256, 80)}")
        return self.folder / sha256[:2] / sha256

    def put(self, content: bytes, media_type: str, name: str) -> FileFacts:
        """Keep a file; it is on the disk when this returns. ``name`` is for people only.

        A file of that hash that is there already is kept where it is whole, and healed where not.
        Raises LedgerError.
        """
        sha256 = sha256_of(content)
        path = self.path(sha256)
        with spoken(self.folder):
            if not _is_whole(path, content):
                self._make_folder(path.parent)
                write_over(path, content, mode=0o444)
        return FileFacts(sha256, len(content), media_type, one_line(name, 200))

    def read(self, sha256: str) -> bytes:
        """A file's bytes, which have that hash. Raises LedgerError: missing, changed."""
        path = self.path(sha256)
        try:
            content = read_ordinary(path, MOST_BYTES)
        except FileNotFoundError as error:
            raise _lost("evidence-missing", path, "is missing") from error
        except OSError as error:
            raise of_system(error, path) from error
        if sha256_of(content) != sha256:
            raise _lost("evidence-changed", path, "was changed or is torn")
        return content

    def has(self, sha256: str, size_bytes: int | None) -> bool:
        """Whether a file is there, of the size that it should have; its bytes are not read."""
        try:
            size = self.path(sha256).stat().st_size
        except OSError:
            return False
        return size_bytes in (None, size)

    def is_whole(self, sha256: str) -> bool:
        """Whether a file is there and is what it should be, read piece by piece."""
        try:
            return hash_and_size(self.path(sha256))[0] == sha256
        except OSError:
            return False

    def names(self) -> Iterator[Path]:
        """All files in the folder, whatever they are, folder by folder."""
        if self.folder.is_dir():
            for shelf in sorted(self.folder.iterdir()):
                yield from sorted(shelf.iterdir()) if shelf.is_dir() else (shelf,)

    def _make_folder(self, shelf: Path) -> None:
        if shelf.is_dir():
            return
        made = not self.folder.is_dir()
        shelf.mkdir(parents=True, exist_ok=True)
        sync_folder(self.folder)
        if made:
            sync_folder(self.folder.parent)


def hash_and_size(path: Path) -> tuple[str, int]:
    """SHA-256 and size of a file of any size. Raises OSError."""
    hashed, size = hashlib.sha256(), 0
    for part in ordinary_parts(path):
        hashed.update(part)
        size += len(part)
    return hashed.hexdigest(), size


def _is_whole(path: Path, content: bytes) -> bool:
    try:
        return read_ordinary(path, len(content)) == content
    except FileNotFoundError:
        return False
    except OSError as error:
        if error.errno is None:  # larger, or no ordinary file
            return False
        raise


def _lost(code: str, path: Path, what: str) -> LedgerError:
    return LedgerError(code, f"The evidence {shown_path(path)} {what}.", _FROM_BACKUP)
