"""Words for ways and places in the picture: x right, y down."""

from __future__ import annotations

import pytest

from rigvision.decision.directions import line, place, way


@pytest.mark.parametrize(
    ("vector", "words", "where"),
    [
        ((1.0, 0.0), "to the right", "right"),
        ((-3.0, 0.2), "to the left", "left"),
        ((0.1, -1.0), "up", "upper"),
        ((0.0, 2.0), "down", "lower"),
        ((1.0, -1.0), "up and to the right", "upper right"),
        ((-1.0, -0.9), "up and to the left", "upper left"),
        ((0.7, 0.8), "down and to the right", "lower right"),
        ((-0.8, 0.7), "down and to the left", "lower left"),
    ],
)
def test_a_way_is_said_as_the_picture_shows_it(vector, words, where):
    assert way(*vector) == words
    assert place(*vector) == where


@pytest.mark.parametrize(
    ("vector", "words"),
    [
        ((1.0, 0.0), "left and right"),
        ((0.0, -1.0), "up and down"),
        ((1.0, 1.0), "from upper left to lower right"),
        ((1.0, -1.0), "from lower left to upper right"),
    ],
)
def test_a_movement_has_no_end_that_counts(vector, words):
    x, y = vector
    assert line(x, y) == line(-x, -y) == words
