"""What a file may ask of the machine, each limit with its reason: checked before any decoding."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class FileLimits:
    #: The largest phone photos, 200 MP in HEIC or 108 MP in JPEG, stay below 60 MB.
    file_bytes: int = 100_000_000
    #: 108 MP is what phones sell; more needs an image that nobody took with one. Grey codes of
    #: 120 MP are 120 MB, and twice as much while they are turned.
    pixels: int = 120_000_000
    #: Below this the gauge's marks cannot be told apart, wherever they are. px
    shorter_side_px: int = 240
    #: A progressive JPEG is decoded anew for each of its scans; encoders make 10, a file of a
    #: few kilobytes can ask for thousands.
    jpeg_scans: int = 64
    #: EXIF, colour profile and text: phones write some 60 KB of the first (a thumbnail is in
    #: it), 0.5 to 4 KB of the second, a few KB of the third. Printers' profiles reach 2 MB.
    exif_bytes: int = 1_000_000
    profile_bytes: int = 4_000_000
    #: All of PNG's chunks are walked one by one; cameras and editors write 8 KB and more each.
    png_chunks: int = 100_000
    #: Entries of a TIFF's first directory; cameras write 20 to 60.
    tiff_tags: int = 1_000


LIMITS = FileLimits()
