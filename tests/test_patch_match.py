"""Patches laid on each other: noise of known correlation, moved, hidden, and shadows."""

from __future__ import annotations

import numpy as np
import pytest

from rigvision.ground.conventions import FloatArray
from rigvision.records.patch_match import match_patches


def noise(seed: int, shape: tuple[int, int] = (14, 174)) -> FloatArray:
    return np.random.default_rng(seed).normal(size=shape)


def test_the_same_patch_matches_wholly() -> None:
    match = match_patches(noise(1), noise(1))
    assert match is not None
    assert match.correlation == pytest.approx(1.0, rel=0, abs=1e-12)


@pytest.mark.parametrize(("down", "right"), [(1, 0), (0, -1), (-1, 1)])
def test_a_patch_moved_by_a_cell_matches(down: int, right: int) -> None:
    whole = noise(1)
    one = whole[1:-1, 1:-1]
    other = whole[1 + down : 13 + down, 1 + right : 173 + right]
    match = match_patches(one, other)
    assert match is not None
    assert match.correlation == pytest.approx(1.0, rel=0, abs=1e-12)


def test_moved_further_it_does_not() -> None:
    whole = noise(1)
    match = match_patches(whole[:, :170], whole[:, 3:173])
    assert match is not None
    assert match.correlation < 0.1


def test_noise_scatters_as_its_number_of_cells_says() -> None:
    match = match_patches(noise(1), noise(2))
    assert match is not None
    assert abs(match.correlation) < 4.0 / np.sqrt(14 * 174)
    assert match.background == pytest.approx(1.0 / np.sqrt(14 * 174 * 0.75), rel=0, abs=0.004)


def test_streaks_scatter_more() -> None:
    """Each cell ten times in a row: a tenth of the cells is independent."""
    streaked = [np.repeat(noise(k, (14, 20)), 10, axis=1) for k in (1, 2)]
    match = match_patches(*streaked)
    assert match is not None
    assert match.background > 2.0 / np.sqrt(14 * 200)


def test_hidden_cells_do_not_count() -> None:
    one, other = noise(1), noise(1)
    one[:, :60] = np.nan
    other[:5] = np.nan
    other[5:, 150:] = np.nan
    match = match_patches(one, other)
    assert match is not None
    assert match.correlation == pytest.approx(1.0, rel=0, abs=1e-12)


def test_too_little_in_common_is_no_match() -> None:
    one, other = noise(1), noise(1)
    one[:, :90] = np.nan
    other[:, 100:] = np.nan  # 140 cells are left
    assert match_patches(one, other) is None
    assert match_patches(one, noise(1, (14, 173))) is None
    assert match_patches(np.full((1, 1), np.nan), np.full((1, 1), np.nan)) is None
