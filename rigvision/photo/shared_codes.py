"""The pixels of a decoded Pillow image as an array, without copying them.

``np.asarray(image)`` copies twice on the way, by way of ``bytes``: 8 ms of the 140 ms that
a check of 12 megapixels took. Pillow also hands out its own memory, by the Arrow C data
interface, and numpy has no reader for that; this is one for the only case needed here, one
byte a pixel.
https://arrow.apache.org/docs/format/CDataInterface.html
https://arrow.apache.org/docs/format/CDataInterface/PyCapsuleInterface.html
"""

from __future__ import annotations

import ctypes

import numpy as np
import numpy.typing as npt
from PIL import Image

CodesArray = npt.NDArray[np.uint8]


class _ArrowArray(ctypes.Structure):
    """``struct ArrowArray`` as far as it is read here."""

    _fields_ = (
        ("length", ctypes.c_int64),
        ("null_count", ctypes.c_int64),
        ("offset", ctypes.c_int64),
        ("n_buffers", ctypes.c_int64),
        ("n_children", ctypes.c_int64),
        ("buffers", ctypes.POINTER(ctypes.c_void_p)),
    )


def shared_codes(image: Image.Image) -> CodesArray:
    """Codes (H, W) of a loaded image of mode L, read-only, in the image's own memory.

    They are copied where Pillow keeps an image in several blocks, as it does from 16 MB on.
    """
    width, height = image.size
    try:
        _, owner = image.__arrow_c_array__()
    except ValueError:
        return np.asarray(image)
    array = _ArrowArray.from_address(_address(owner, b"arrow_array"))
    address = array.buffers[1]  # the first is the map of missing values; there are none
    if array.length != width * height or not address:
        return np.asarray(image)
    memory = (ctypes.c_uint8 * array.length).from_address(address + array.offset)
    memory.owner = owner  # the pixels live as long as it does
    codes = np.frombuffer(memory, np.uint8).reshape(height, width)
    codes.flags.writeable = False
    return codes


_address = ctypes.pythonapi.PyCapsule_GetPointer
_address.restype, _address.argtypes = ctypes.c_void_p, (ctypes.py_object, ctypes.c_char_p)
