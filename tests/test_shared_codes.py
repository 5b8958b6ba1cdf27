"""An image's own memory as an array: the same codes as a copy, for as long as they are needed."""

from __future__ import annotations

import gc

import numpy as np
import pytest
from PIL import Image

from rigvision.photo.shared_codes import shared_codes


def slanted(width: int, height: int) -> tuple[np.ndarray, Image.Image]:
    """Every row and column differs from its neighbours. The image keeps memory of its own."""
    y, x = np.mgrid[:height, :width]
    drawn = ((7 * y + 3 * x) % 251).astype(np.uint8)
    return drawn, Image.fromarray(drawn).copy()


def test_the_codes_are_those_of_a_copy():
    drawn, image = slanted(317, 203)
    np.testing.assert_array_equal(shared_codes(image), drawn)


def test_they_are_not_copied_and_cannot_be_written():
    _, image = slanted(317, 203)
    codes = shared_codes(image)
    image.putpixel((5, 4), 255)
    assert codes[4, 5] == 255
    with pytest.raises(ValueError, match="read-only"):
        codes[0, 0] = 1


def test_they_outlive_their_image():
    drawn, image = slanted(317, 203)
    codes = shared_codes(image)[2:]  # a part must keep the whole alive
    image.close()
    del image
    gc.collect()
    rivals = [Image.new("L", (317, 203), 99) for _ in range(20)]  # would take the freed memory
    np.testing.assert_array_equal(codes, drawn[2:])
    assert len(rivals) == 20


def test_an_image_in_several_blocks_is_copied():
    """Pillow shares only images of one block, and a block has 16 MB."""
    drawn, image = slanted(4200, 4200)
    with pytest.raises(ValueError, match=r"block|contiguous"):
        image.__arrow_c_array__()
    np.testing.assert_array_equal(shared_codes(image), drawn)
