"""Pictures read without trusting their decoders: in a child process that can do nothing else.

A photo from a stranger may be made to take over the library that decodes it. So the file's
bytes go to a child (``decoding_child``) that has given up everything but computing
(``lockdown``), and come back as numbers, each of which is checked here. What the child sends
is never unpickled, run, or trusted further: they are pixels, and may show anything.

The file itself is opened, measured and hashed here; the child is given its bytes.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image
from pydantic import TypeAdapter, ValidationError

from rigvision.ground.errors import PhotoError
from rigvision.ground.shown import one_line
from rigvision.photo.decoding_process import (
    Answer,
    DecodingProcess,
    GuardTuning,
    NotCredibleError,
)
from rigvision.photo.decoding_protocol import Kind
from rigvision.photo.exif import Exif
from rigvision.photo.file_bytes import file_bytes
from rigvision.photo.opened import CONTAINERS
from rigvision.photo.picture import Picture, shown_name
from rigvision.photo.tone_curve import LinearArray

#: As ``read_exif`` writes it.
_TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d([+-]\d\d:\d\d)?", re.ASCII)


class GuardedReader:
    """Reads pictures in children of its own, which end with it. For one thread, as a context.

    Photos read by one reader may share a child, one after the other. That is meant for those
    of one call, as they come from one sender; after a photo that was refused, whatever for,
    the next has a new child. Raises UsageError where this system cannot guard.
    """

    def __init__(self, tuning: GuardTuning | None = None) -> None:
        self._tuning = tuning or GuardTuning()
        # Started at once: it loads while the caller does other things.
        self._child: DecodingProcess | None = DecodingProcess(self._tuning)

    def __enter__(self) -> GuardedReader:
        return self

    def __exit__(self, *_: object) -> None:
        self._end_child()

    def read_picture(self, path: str | os.PathLike[str]) -> Picture:
        """As ``picture.read_picture``. Raises PhotoError also where the decoder fails."""
        path = Path(path)
        name = shown_name(path)
        data = file_bytes(path, name)
        with self._answer("luma", name, data) as answer:
            assert answer.pixels is not None
            return Picture(
                path=path,
                name=name,
                sha256=hashlib.sha256(data).hexdigest(),
                luma=answer.pixels,
                exif=_exif(answer.facts),
                container=_container(answer.facts),
                bits_per_channel=_bits(answer.facts),
                jpeg_luma_steps=_steps(answer.facts),
                light=_light(answer),
            )

    def read_colour(self, path: Path) -> Image.Image:
        """As ``picture.read_colour``. Raises PhotoError also where the decoder fails."""
        name = shown_name(path)
        with self._answer("colour", name, file_bytes(path, name)) as answer:
            assert answer.pixels is not None
            return Image.fromarray(answer.pixels)

    def holds(self) -> tuple[str, ...]:
        """What a child gives up on this system, in single words (``lockdown.lock_down``)."""
        return self._living_child().holds()

    @contextmanager
    def _answer(self, kind: Kind, name: str, data: bytes) -> Iterator[Answer]:
        """The child's answer with pixels. Whatever goes wrong with it ends the child."""
        whole = False
        try:
            answer = self._living_child().ask(kind, name, data)
            if answer.pixels is None:
                raise _refusal(answer.facts)
            yield answer
            whole = True
        except NotCredibleError as error:
            raise PhotoError(
                "decoding-not-credible",
                f"The decoding of {name} gave an answer that no picture gives.",
                "Do not open it elsewhere; take the photo again, or copy it from the phone again.",
            ) from error
        finally:
            if not whole:
                self._end_child()

    def _living_child(self) -> DecodingProcess:
        if self._child and self._child.photos_left == 0:
            self._end_child()
        self._child = self._child or DecodingProcess(self._tuning)
        return self._child

    def _end_child(self) -> None:
        if self._child:
            self._child.end()
        self._child = None


def read_picture_guarded(path: str | os.PathLike[str]) -> Picture:
    """One picture, read in a child of its own."""
    with GuardedReader() as reader:
        return reader.read_picture(path)


def read_colour_guarded(path: Path) -> Image.Image:
    """The colours of one picture, read in a child of its own."""
    with GuardedReader() as reader:
        return reader.read_colour(path)


# What may be believed of an answer


def _refusal(facts: dict[str, Any]) -> PhotoError:
    """The child's own complaint about the photo, where it can be shown as it is."""
    error = facts.get("error")
    if not isinstance(error, dict) or set(error) != {"code", "text", "remedy"}:
        raise NotCredibleError("it has neither pixels nor a complaint")
    if not all(isinstance(part, str) and _can_be_shown(part) for part in error.values()):
        raise NotCredibleError("its complaint cannot be shown")
    if not re.fullmatch(r"[a-z0-9-]{1,40}", error["code"]):
        raise NotCredibleError("its complaint has no code")
    return PhotoError(error["code"], error["text"], error["remedy"])


def _exif(facts: dict[str, Any]) -> Exif:
    """EXIF facts of the types that ``read_exif`` gives; the child may have made them up."""
    try:
        exif = TypeAdapter(Exif).validate_json(json.dumps(facts.get("exif")), strict=True)
    except ValidationError as error:
        raise NotCredibleError("its EXIF is not whole") from error
    time = exif.taken_at
    if not 1 <= exif.orientation <= 8 or (time and not _TIME.fullmatch(time)):
        raise NotCredibleError("its EXIF is absurd")
    if not _can_be_shown(exif.camera_name or "", 64):
        raise NotCredibleError("its camera's name cannot be shown")
    return exif


def _container(facts: dict[str, Any]) -> str:
    container = facts.get("container")
    if container not in CONTAINERS.values():
        raise NotCredibleError("its container is none")
    return str(container)


def _bits(facts: dict[str, Any]) -> int:
    bits = facts.get("bits_per_channel")
    if type(bits) is not int or not 1 <= bits <= 32:
        raise NotCredibleError("its channels are of an odd kind")
    return bits


def _steps(facts: dict[str, Any]) -> tuple[int, ...] | None:
    """Quantisation steps of a JPEG, 8 or 16 bit each."""
    steps = facts.get("jpeg_luma_steps")
    if steps is None:
        return None
    if not isinstance(steps, list) or len(steps) != 64:
        raise NotCredibleError("its quantisation is not whole")
    if not all(type(step) is int and 0 <= step <= 65535 for step in steps):
        raise NotCredibleError("its quantisation is absurd")
    return tuple(steps)


def _light(answer: Answer) -> LinearArray | None:
    """A table that rises within 0 to 1, as ``tone_curve.light_table`` gives it."""
    light = answer.light
    if light is not None and not (light[0] >= 0 and light[-1] <= 1 and (np.diff(light) >= 0).all()):
        raise NotCredibleError("its light is absurd")
    return light


def _can_be_shown(text: str, longest: int = 1000) -> bool:
    """One line without control or direction marks, as all texts of ours."""
    return one_line(text) == text and len(text) <= longest
