"""Which kind of file system a folder lies on."""

from __future__ import annotations

import re
from pathlib import Path

#: Names, as the kernel has them, of file systems that other machines serve.
NETWORK = frozenset(
    {"9p", "afs", "beegfs", "ceph", "cifs", "davfs", "glusterfs", "gpfs", "lustre", "ncpfs"}
    | {"nfs", "nfs4", "smb3", "smbfs"}
    | {"fuse.ceph", "fuse.davfs2", "fuse.glusterfs", "fuse.rclone", "fuse.s3fs", "fuse.sshfs"}
)
MOUNTS = Path("/proc/mounts")


def file_system_of(folder: Path, mounts: Path = MOUNTS) -> str | None:
    """``ext4``, ``nfs4``, ... of a folder; None where this system has no list of mounts."""
    if not mounts.exists():
        return None
    place, found = folder.resolve(), None
    deepest = -1
    for line in mounts.read_text(encoding="utf-8", errors="surrogateescape").splitlines():
        _, point, kind, *_ = line.split(" ")
        at = Path(_unescaped(point))
        # Of two on one point the later hides the earlier.
        if place.is_relative_to(at) and len(at.parts) >= deepest:
            deepest, found = len(at.parts), kind
    return found


def _unescaped(point: str) -> str:
    """The kernel writes blanks and such as three octal digits."""
    return re.sub(r"\\([0-7]{3})", lambda m: chr(int(m.group(1), 8)), point)


def network_doubt(path: Path) -> str | None:
    """What there is to say where a ledger lies on a network, None where it does not."""
    folder = next(folder for folder in path.absolute().parents if folder.is_dir())
    kind = file_system_of(folder)
    if kind not in NETWORK:
        return None
    return (
        f"The ledger lies on a network ({kind}), where SQLite's locks cannot be relied on: let one "
        "program at a time write, or keep it on this machine's own disk and back it up there."
    )
