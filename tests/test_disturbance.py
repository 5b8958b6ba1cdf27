"""Disturbed photos: the same bytes again, a truth that follows the picture, nothing else moved."""

from __future__ import annotations

import pytest

from rigvision.synthetic.disturbance import DISTURBANCES, disturbed_photo

SIZE_PX = (800, 600)


@pytest.mark.parametrize("name", DISTURBANCES)
def test_the_same_arguments_give_the_same_bytes_and_name_the_disturbance(name, gauge, frame):
    first, again = (
        disturbed_photo(name, 2, 3, gauge, frame, size_px=SIZE_PX, samples=2) for _ in range(2)
    )
    assert first.jpeg == again.jpeg
    assert first.truth == again.truth
    assert first.truth["disturbance"]["name"] == name
    assert first.truth["disturbance"]["strength"] == 2
    assert first.truth["disturbance"]["accepted_codes"]
