"""Readings kept from a glance at a page's source. Not a secret: the page itself can undo it.

Bytes are combined with SHA-256 of the quiz's id, the shot and a running number, so that the script
in the page needs nothing but its own SHA-256 to read them after the answer.
"""

from __future__ import annotations

from base64 import b64decode, b64encode
from hashlib import sha256

import numpy as np


def masked(content: bytes, quiz: str, shot: int) -> str:
    """Base64 of the masked bytes."""
    return b64encode(_combined(content, quiz, shot)).decode()


def unmasked(text: str, quiz: str, shot: int) -> bytes:
    """Raises ValueError for what is no base64."""
    return _combined(b64decode(text, validate=True), quiz, shot)


def _combined(content: bytes, quiz: str, shot: int) -> bytes:
    blocks = -(-len(content) // 32)
    stream = b"".join(sha256(f"{quiz}:{shot}:{n}".encode()).digest() for n in range(blocks))
    mask = np.frombuffer(stream, np.uint8)[: len(content)]
    return (np.frombuffer(content, np.uint8) ^ mask).tobytes()
