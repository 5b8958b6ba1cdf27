"""The normal distribution's table against SciPy's function, an independent implementation."""

import numpy as np
from scipy.special import ndtr

from rigvision.ground.normal import cumulative_normal


def test_the_table_agrees_with_scipy():
    z = np.random.default_rng(3).uniform(-9.0, 9.0, 20_001)
    # Linear interpolation over 0.002: h^2 / 8 times the largest second derivative, 0.242.
    np.testing.assert_allclose(cumulative_normal(z), ndtr(z), rtol=0, atol=1.3e-7)
