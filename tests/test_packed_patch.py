"""Patches in few bytes: what comes back, what is refused, what a sketch tells."""

from __future__ import annotations

import base64

import numpy as np
import pytest

from rigvision.records.packed_patch import MOST, SKETCH_BITS, packed, sketch, unpacked


def noise(seed: int, rows: int = 12, columns: int = 172) -> np.ndarray:
    return np.random.default_rng(seed).normal(size=(rows, columns)).clip(-MOST, MOST)


def signs(patch: np.ndarray) -> int:
    made = sketch(patch)
    assert made is not None
    return int(made, 16)


@pytest.mark.parametrize("shape", [(12, 172), (3, 5)])  # also an odd number of cells
def test_cells_come_back_to_half_a_step(shape: tuple[int, int]) -> None:
    patch = noise(1, *shape)
    patch[1, 2] = np.nan
    again = unpacked(packed(patch))
    assert again.shape == shape
    assert np.isnan(again[1, 2])
    assert np.isfinite(again).sum() == patch.size - 1
    assert np.nanmax(np.abs(again - patch)) <= MOST / 7 / 2 + 1e-9


def test_two_cells_take_a_byte() -> None:
    assert len(base64.b64decode(packed(noise(1)))) == 4 + 12 * 172 / 2


@pytest.mark.parametrize(
    "text",
    [
        "",
        "?",
        "AAAA",
        "AAAAAA==",
        "å",
        packed(noise(1))[:-4],
        packed(noise(1)) + "AAAA",
        "/////w==",
    ],
)
def test_text_that_is_no_patch_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"base64|ASCII|fill"):
        unpacked(text)


def test_a_sketch_is_the_same_for_ever() -> None:
    """Old ledgers hold sketches: another way of making them would find nothing there.

    With 400 cells a sign's bits are 50 bytes of SHAKE-256, the first cell's is their first bit:
    `printf rigvision.sketch/1 | openssl dgst -shake256 -xoflen 12800` has these in every 50th byte.
    """
    one_cell = np.zeros((20, 20))
    one_cell[0, 0] = 1.0
    positive = bin(signs(one_cell)).count("1")
    assert 100 < positive < 156
    one_cell[0, 0] = -1.0
    assert bin(signs(one_cell)).count("1") == SKETCH_BITS - positive
    one_cell[0, 0] = 1.0
    assert f"{signs(one_cell):064x}"[:8] == "bd3447fc"


@pytest.mark.parametrize(
    ("correlation", "part"), [(1.0, 0.0), (0.9, 0.1436), (0.5, 1 / 3), (0, 0.5)]
)
def test_signs_differ_by_the_angle_between_patches(correlation: float, part: float) -> None:
    """arccos(r) / pi; with 20 pairs of 256 signs, within three standard deviations."""
    differing = 0
    for k in range(20):
        one, other = noise(2 * k), noise(2 * k + 1)
        mixed = correlation * one + np.sqrt(1.0 - correlation**2) * other
        differing += (signs(one) ^ signs(mixed)).bit_count()
    n = 20 * SKETCH_BITS
    spread = np.sqrt(part * (1.0 - part) / n)
    assert differing / n == pytest.approx(part, rel=0, abs=3.0 * spread + 0.005)


def test_no_sketch_of_too_little() -> None:
    patch = np.full((12, 172), np.nan)
    patch[0] = 1.0
    assert sketch(patch) is None
