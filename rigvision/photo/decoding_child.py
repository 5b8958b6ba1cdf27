"""The child process in which a stranger's photo is decoded: bytes in, pixels out, no way out.

It is started by ``decoding_process``, locks itself down before it takes the first byte, and
serves one photo after another until its input ends (``decoding_protocol``). Whatever it answers
is checked by the parent, which must take it for what a hostile file made of it.
"""

from __future__ import annotations

import gc
import io
import json
import os
from dataclasses import asdict
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from PIL import Image

from rigvision.ground.errors import PhotoError
from rigvision.photo.decoding_protocol import ANSWER, KINDS, PLAIN_FACTS, REQUEST, Kind
from rigvision.photo.limits import LIMITS
from rigvision.photo.lockdown import cpu_time, lock_down
from rigvision.photo.picture import colour_of, picture_of

_INPUT, _OUTPUT = 0, 1


def serve(memory_bytes: int, cpu_s: int, photos: int) -> None:
    """Decode up to so many photos, each within ``cpu_s``, and return as soon as input ends."""
    _load_everything()
    gc.freeze()  # nothing loaded becomes garbage
    # One share more than all photos may use: the system's milder warning comes first.
    _answer({"holds": lock_down(memory_bytes, cpu_s * (photos + 1))})
    for _ in range(photos):
        head = _take(REQUEST.size)
        if head is None:
            return
        kind, name_length, length = REQUEST.unpack(head)
        name, data = _take(name_length), _take(length)
        if name is None or data is None:
            return
        with cpu_time(cpu_s):
            _answer_photo(KINDS[kind], Path(bytes(name).decode()), bytes(data))


def _answer_photo(kind: Kind, name: Path, data: bytes) -> None:
    try:
        if kind == "luma":
            picture = picture_of(name, data)
            pixels, light = picture.luma, picture.light
            facts = {key: getattr(picture, key) for key in PLAIN_FACTS}
            facts["exif"] = asdict(picture.exif)
        else:
            pixels, light, facts = np.asarray(colour_of(name, data)), None, {}
    except PhotoError as error:
        _answer({"error": {"code": error.code, "text": error.text, "remedy": error.remedy}})
        return
    codes = None if light is None else len(light)
    _answer({**facts, "shape": pixels.shape, "bits": 8 * pixels.itemsize, "light": codes})
    for numbers in (pixels, light):
        if numbers is not None:
            _give(np.ascontiguousarray(numbers).data.cast("B"))


def _answer(header: dict[str, Any]) -> None:
    text = json.dumps(header).encode()
    _give(ANSWER.pack(len(text)) + text)


def _give(data: bytes | memoryview) -> None:
    rest = memoryview(data)
    while rest:
        rest = rest[os.write(_OUTPUT, rest) :]


def _take(length: int) -> bytearray | None:
    """So many bytes of input; None where it ends before."""
    data = bytearray(length)
    rest = memoryview(data)
    while rest:
        count = os.readv(_INPUT, [rest])
        if count == 0:
            return None
        rest = rest[count:]
    return data


def _load_everything() -> None:
    """Decode one harmless picture of each kind: afterwards no library opens a file any more."""
    from PIL import ImageCms
    from pillow_heif import register_heif_opener

    cv2.setNumThreads(1)
    register_heif_opener(thumbnails=False, depth_images=False, aux_images=False)
    Image.init()
    side = LIMITS.shorter_side_px
    plain = Image.new("RGB", (side, side), (90, 120, 150))
    exif = Image.Exif()
    exif[0x0112] = 6
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    for kind in ("JPEG", "PNG", "TIFF", "WEBP"):
        out = io.BytesIO()
        plain.save(out, kind, exif=exif, icc_profile=profile)
        picture_of(Path(kind), out.getvalue())
        colour_of(Path(kind), out.getvalue())
