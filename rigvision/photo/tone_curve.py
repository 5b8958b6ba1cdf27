"""From codes to light: which curve a file's colour profile says its codes were made with.

Geometry is the same in every colour space, but edges are placed by light. Phones write sRGB's
curve, also with Display P3; older editors write powers of 1.8 and 2.2, renderers linear light.
"""

from __future__ import annotations

import struct
from collections.abc import Callable

import numpy as np
import numpy.typing as npt
from PIL import Image

from rigvision.photo.limits import LIMITS

LinearArray = npt.NDArray[np.float32]
Curve = Callable[[npt.NDArray[np.float64]], npt.NDArray[np.float64]]

#: A curve nowhere further from sRGB's than half a code's light counts as sRGB's.
_SAME = 1.0 / 512
#: Powers this near to 2.2 in a bare PNG stand for sRGB: the nearest that gAMA can say.
_NEAR_SRGB = 0.1


def srgb_light(codes: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """IEC 61966-2-1: encoded value 0..1 to linear light 0..1."""
    high = ((codes + 0.055) / 1.055) ** 2.4
    return np.where(codes <= 0.04045, codes / 12.92, high)


def light_table(image: Image.Image, levels: int) -> LinearArray | None:
    """Light (levels,) of each code of an opened image; None where it is sRGB's.

    A profile that cannot be understood counts as none, as every viewer takes it.
    """
    curve = _stated_curve(image)
    if curve is None:
        return None
    codes = np.linspace(0.0, 1.0, levels)
    with np.errstate(all="ignore"):  # an absurd curve is found out below
        light = curve(codes)
    if not np.isfinite(light).all():
        return None
    sane = (np.diff(light) >= 0).all() and light[-1] > light[0]
    if not sane or np.abs(light - srgb_light(codes)).max() < _SAME:
        return None
    return np.clip(light, 0.0, 1.0).astype(np.float32)


def _stated_curve(image: Image.Image) -> Curve | None:
    profile = image.info.get("icc_profile")
    if profile:
        return profile_curve(profile)
    nclx = image.info.get("nclx_profile")
    if nclx:
        return _CODED.get(nclx["transfer_characteristics"])
    gamma = image.info.get("gamma")
    if gamma and "srgb" not in image.info and abs(1.0 / gamma - 2.2) > _NEAR_SRGB:
        return _power(1.0 / gamma)
    return None


def profile_curve(profile: bytes) -> Curve | None:
    """The curve of green, or of grey, in an ICC profile (ICC.1:2022, 7.3, 10.6, 10.18)."""
    if not 132 <= len(profile) <= LIMITS.profile_bytes:
        return None
    try:
        (count,) = struct.unpack_from(">I", profile, 128)
        tags = [struct.unpack_from(">4sII", profile, 132 + 12 * i) for i in range(min(count, 100))]
        for wanted in (b"gTRC", b"kTRC"):
            for tag, start, length in tags:
                if tag == wanted:
                    return _curve(profile[start : start + length])
    except struct.error:
        return None
    return None


def has_curve(profile: bytes) -> bool:
    """False for profiles made of tables, such as printers'; they need the whole conversion."""
    return profile_curve(profile) is not None


def _curve(body: bytes) -> Curve | None:
    kind = body[:4]
    if kind == b"curv":
        (count,) = struct.unpack_from(">I", body, 8)
        if count == 0:
            return _power(1.0)
        values = np.array(struct.unpack_from(f">{min(count, 65536)}H", body, 12), dtype=np.float64)
        if count == 1:
            return _power(values[0] / 256.0)
        places = np.linspace(0.0, 1.0, len(values))
        return lambda codes: np.interp(codes, places, values / 65535.0)
    if kind == b"para":
        (form,) = struct.unpack_from(">H", body, 8)
        size = {0: 1, 1: 3, 2: 4, 3: 5, 4: 7}.get(form)
        if size is None:
            return None
        numbers = [n / 65536.0 for n in struct.unpack_from(f">{size}i", body, 12)]
        return _parametric(form, numbers)
    return None


def _parametric(form: int, numbers: list[float]) -> Curve:
    """Table 68: (a x + b)^g + e from d on, c x + f below."""
    g, a, b, c, d, e, f = (*numbers, *[0.0] * (7 - len(numbers)))
    if form == 0:
        a, d = 1.0, 0.0
    elif form in (1, 2):
        e = f = c if form == 2 else 0.0
        c, d = 0.0, -b / a if a else 0.0

    def light(codes: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        high = np.maximum(a * codes + b, 0.0) ** g + e
        return np.where(codes >= d, high, c * codes + f)

    return light


def _power(exponent: float) -> Curve:
    return lambda codes: codes**exponent


def _pq(codes: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """SMPTE ST 2084, with 1 for 1000 cd/m2: brighter highlights are cut."""
    m1, m2, c1, c2, c3 = 2610 / 16384, 2523 / 32, 3424 / 4096, 2413 / 128, 2392 / 128
    root = codes ** (1 / m2)
    return 10.0 * (np.maximum(root - c1, 0.0) / (c2 - c3 * root)) ** (1 / m1)


def _hlg(codes: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """ITU-R BT.2100, inverse OETF: the scene's light."""
    a, b, c = 0.17883277, 0.28466892, 0.55991073
    return np.where(codes <= 0.5, codes**2 / 3.0, (np.exp((codes - c) / a) + b) / 12.0)


#: ITU-T H.273, table 3; all others are near enough to sRGB's to be shown with it everywhere.
_CODED: dict[int, Curve] = {4: _power(2.2), 5: _power(2.8), 8: _power(1.0), 16: _pq, 18: _hlg}
