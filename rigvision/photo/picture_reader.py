"""How photos are read in one call: here, or guarded in a child process that ends with the call."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from rigvision.photo.picture import Picture, read_picture

PictureReader = Callable[[str | os.PathLike[str]], Picture]


@contextmanager
def picture_reader(guarded: bool) -> Iterator[PictureReader]:
    """``read_picture``, or what gives the same without trusting the decoders.

    Raises UsageError where guarding is asked for and this system cannot.
    """
    if not guarded:
        yield read_picture
        return
    from rigvision.photo.guarded_picture import GuardedReader

    with GuardedReader() as reader:
        yield reader.read_picture
