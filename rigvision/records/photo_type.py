"""What kind of file a photo is, by how its bytes begin."""

from __future__ import annotations

_STARTS = (
    (b"\xff\xd8", "image/jpeg"),
    (b"\x89PNG", "image/png"),
    (b"II*\0", "image/tiff"),
    (b"MM\0*", "image/tiff"),
)
UNKNOWN = "application/octet-stream"


def photo_type(content: bytes) -> str:
    """The media type of a photo that could be read; its bytes, never its name, decide."""
    if content[4:8] == b"ftyp":
        return "image/heic"
    if content[:4] == b"RIFF" and content[8:12] == b"WEBP":
        return "image/webp"
    return next((kind for start, kind in _STARTS if content.startswith(start)), UNKNOWN)
