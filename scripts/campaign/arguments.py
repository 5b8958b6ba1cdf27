"""Numbers and sizes on the command line of a campaign."""

from __future__ import annotations

import argparse


def number(text: str) -> int:
    """How many of something."""
    value = int(text)
    if not 1 <= value < 10_000:
        raise argparse.ArgumentTypeError("from 1 to 9999")
    return value


def first(text: str) -> int:
    """The number of the first picture."""
    value = int(text)
    if not 0 <= value < 10_000:
        raise argparse.ArgumentTypeError("from 0 to 9999")
    return value


def size(text: str) -> tuple[int, int]:
    """Width and height of a picture, px."""
    try:
        width, height = (int(side) for side in text.lower().split("x"))
    except ValueError:
        raise argparse.ArgumentTypeError("a size is written 4000x3000") from None
    return width, height
