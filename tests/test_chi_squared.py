"""The chi-squared tail against published quantiles and scipy's."""

from __future__ import annotations

import pytest
from scipy.stats import chi2

from rigvision.ground.chi_squared import chi_squared_tail


@pytest.mark.parametrize(
    ("value", "freedom", "tail"),
    [(3.841, 1, 0.05), (5.991, 2, 0.05), (18.307, 10, 0.05), (6.635, 1, 0.01), (23.209, 10, 0.01)],
)
def test_published_quantiles(value, freedom, tail):
    """Table of critical values, as in NIST/SEMATECH e-Handbook 1.3.6.7.4; from memory."""
    assert chi_squared_tail(value, freedom) == pytest.approx(tail, abs=2e-5)


@pytest.mark.parametrize("freedom", [1, 2, 3, 8, 21, 64, 151])
@pytest.mark.parametrize("value", [0.0, 1e-6, 0.7, 5.0, 40.0, 300.0, 1e6])
def test_agrees_with_scipy(value, freedom):
    assert chi_squared_tail(value, freedom) == pytest.approx(
        chi2.sf(value, freedom), rel=1e-9, abs=1e-300
    )


def test_nothing_is_tested_with_no_degrees_of_freedom():
    with pytest.raises(ValueError, match="0 degrees"):
        chi_squared_tail(1.0, 0)
