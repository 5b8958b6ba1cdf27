"""A table at even distances against numpy's interpolation, which knows no such thing."""

import numpy as np

from rigvision.ground.even_table import EvenTable


def test_it_gives_what_numpy_interpolates_and_holds_its_ends():
    rng = np.random.default_rng(8)
    places, values = -3.0 + 0.25 * np.arange(20), rng.normal(size=20)
    at = rng.uniform(-6.0, 5.0, (40, 3, 7))
    at[0, 0, :4] = -3.0, 1.75, -2.75, 1.5  # both ends, and just on places of the table
    expected = np.interp(at, places, values)
    np.testing.assert_allclose(EvenTable(-3.0, 0.25, values)(at), expected, rtol=0, atol=1e-13)


def test_nan_stays_nan_and_infinity_is_an_end():
    table = EvenTable(0.0, 1.0, np.array([5.0, 6.0, 9.0]))
    found = table(np.array([np.nan, np.inf, -np.inf, 0.5]))
    np.testing.assert_array_equal(found, [np.nan, 9.0, 5.0, 5.5])


def test_the_arguments_are_left_as_they_are():
    at = np.array([0.25, 0.75])
    EvenTable(0.0, 1.0, np.array([0.0, 1.0]))(at)
    np.testing.assert_array_equal(at, [0.25, 0.75])
