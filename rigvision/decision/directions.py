"""Directions as whoever holds the phone sees them: words for ways and places in the picture.

Picture axes: x right, y down.
"""

from __future__ import annotations

from math import atan2, degrees

#: Eight ways, from right and on clockwise as seen in the picture.
_WAYS = (
    "to the right",
    "down and to the right",
    "down",
    "down and to the left",
    "to the left",
    "up and to the left",
    "up",
    "up and to the right",
)
_PLACES = (
    "right",
    "lower right",
    "lower",
    "lower left",
    "left",
    "upper left",
    "upper",
    "upper right",
)
_LINES = ("left and right", "from upper left to lower right", "up and down",
          "from lower left to upper right")  # fmt: skip


def way(x: float, y: float) -> str:
    """Which way to go, along a vector in the picture."""
    return _WAYS[_eighth(x, y)]


def place(x: float, y: float) -> str:
    """Where something lies, seen from the middle of the gauge."""
    return _PLACES[_eighth(x, y)]


def line(x: float, y: float) -> str:
    """Along what a movement to and fro runs."""
    return _LINES[_eighth(x, y) % 4]


def _eighth(x: float, y: float) -> int:
    return round(degrees(atan2(y, x)) / 45.0) % 8
