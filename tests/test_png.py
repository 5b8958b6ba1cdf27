"""PNG: one wrong bit anywhere is refused, with the word for it."""

from __future__ import annotations

import io
import random
import zlib

import numpy as np
import pytest
from PIL import Image

from rigvision.photo.png import check_png
from tests.test_picture import saved, scene_rgb
from tests.test_rejects import chunk

WHOLE = saved(Image.fromarray(scene_rgb()), "PNG")


@pytest.mark.parametrize("mode", ["1", "L", "LA", "P", "RGB", "RGBA", "I;16"])
def test_whole_files_of_each_kind_pass(mode):
    image = (
        Image.fromarray(scene_rgb()[:, :, 0]) if mode == "I;16" else Image.fromarray(scene_rgb())
    )
    check_png(saved(image.convert(mode), "PNG"))


def test_one_flipped_bit_is_found_wherever_it_is():
    rng = random.Random(1)
    for _ in range(200):
        changed = bytearray(WHOLE)
        changed[rng.randrange(8, len(WHOLE))] ^= 1 << rng.randrange(8)
        with pytest.raises(ValueError, match=r"its|it|checksum"):
            check_png(bytes(changed))


@pytest.mark.parametrize("missing", [1, 4, 12, 400])
def test_the_end_may_not_be_missing(missing):
    with pytest.raises(ValueError, match="end is missing"):
        check_png(WHOLE[:-missing])


def made(rows: bytes, packed: bytes | None = None) -> bytes:
    """300 x 250 of grey: rows of 301 bytes, 75,250 in all (PNG, 7.2)."""
    header = bytes([0, 0, 1, 44, 0, 0, 0, 250, 8, 0, 0, 0, 0])
    body = zlib.compress(rows) if packed is None else packed
    ends = chunk(b"IDAT", body) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + ends


def test_pixels_are_counted():
    check_png(made(bytes(75_250)))
    with pytest.raises(ValueError, match="too early"):
        check_png(made(bytes(75_249)))
    with pytest.raises(ValueError, match="more than its picture"):
        check_png(made(bytes(75_251)))


def test_a_bomb_is_given_up_early():
    """100 MB of zeros in 100 KB, where 75 KB were promised."""
    with pytest.raises(ValueError, match="more than its picture"):
        check_png(made(bytes(100_000_000)))


def test_zlib_s_own_checksum_counts_though_the_chunk_s_is_right():
    packed = bytearray(zlib.compress(bytes(75_250)))
    packed[-1] ^= 1
    with pytest.raises(ValueError, match="corrupt"):
        check_png(made(b"", bytes(packed)))


def interlaced(codes: np.ndarray) -> bytes:
    """Adam7, written by slices (PNG, 8.2)."""
    passes = [(0, 0, 8, 8), (0, 4, 8, 8), (4, 0, 8, 4), (0, 2, 4, 4)]
    passes += [(2, 0, 4, 2), (0, 1, 2, 2), (1, 0, 2, 1)]
    rows = b"".join(
        b"\0" + row.tobytes() for y, x, dy, dx in passes for row in codes[y::dy, x::dx] if row.size
    )
    height, width = codes.shape
    header = width.to_bytes(4, "big") + height.to_bytes(4, "big") + bytes([8, 0, 0, 0, 1])
    parts = (b"IHDR", header), (b"IDAT", zlib.compress(rows)), (b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + b"".join(chunk(*part) for part in parts)


@pytest.mark.parametrize("size", [(250, 301), (251, 320), (3, 5), (1, 1)])
def test_interlaced_rows_are_counted_too(size):
    codes = np.random.default_rng(1).integers(0, 255, size, dtype=np.uint8)
    content = interlaced(codes)
    np.testing.assert_array_equal(np.asarray(Image.open(io.BytesIO(content))), codes)
    check_png(content)
