"""How a picture was stored: what tells a copy from the file that the camera wrote."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Stored:
    jpeg_quality: int | None  # of the usual encoder, 1 to 100; None for other formats
    longer_px: int
    by_camera: bool  # whether the file names its camera or lens, as copies by messengers do not
