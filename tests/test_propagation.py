"""Propagation of uncertainty against the GUM's examples and the packages `uncertainties` and

`metrolopy`. Errors of inputs come in as deviations, as the measurement's own models take them.
"""

from __future__ import annotations

import math
import warnings

import numpy as np
import pytest
import uncertainties
from uncertainties import umath

from rigvision.ground.measured import Measured, correlation
from rigvision.ground.propagation import Source, propagate, root_of, single

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # of the packages that it brings along
    import metrolopy

# JCGM 100:2008, H.2 (published): five simultaneous readings of V, mA and rad.
VOLTS = np.array([5.007, 4.994, 5.005, 4.990, 4.999])
AMPERES = np.array([19.663, 19.639, 19.640, 19.685, 19.678]) * 1e-3
RADIANS = np.array([1.0456, 1.0438, 1.0468, 1.0428, 1.0433])
READINGS = np.stack([VOLTS, AMPERES, RADIANS])


def column(results: np.ndarray) -> np.ndarray:
    return np.asarray(results).reshape(-1, 1)


# ------------------------------------------------------------------------ H.1, end gauge


def end_gauge() -> Measured:
    """l = lS + d - lS (dalpha theta + alphaS dtheta), in nm, H.1.1 to H.1.3."""
    standard, difference, alpha, theta = 50_000_623.0, 215.0, 11.5e-6, -0.1

    def model(error):
        length = standard + error["standard"]
        thermal = error["dalpha"] * (theta + error["theta"])
        thermal = thermal + (alpha + error["alpha"]) * error["dtheta"]
        return length + difference + error["difference"] - length * thermal

    sources = (
        single("standard", "B", 25.0, "nm", 18),
        single("difference", "A", 9.7, "nm", 25.6),
        single("alpha", "B", 1.2e-6, "1/K"),
        single("theta", "A", 0.41, "K"),
        single("dalpha", "B", 0.58e-6, "1/K", 50),
        single("dtheta", "B", 0.029, "K", 2),
    )
    (length,) = propagate(model, sources)
    return length


def test_gum_h1_end_gauge():
    """JCGM 100:2008, H.1, Table H.1 (published): contributions 25, 9.7, 0, 0, 2.9, 16.6 nm;

    l = 50.000838 mm, u_c = 32 nm, nu_eff = 16.
    """
    length = end_gauge()
    shares = {i.source: i.standard_uncertainty for i in length.influences}
    expected = {"standard": 25.0, "difference": 9.7, "dalpha": 2.9, "dtheta": 16.6}
    # alpha and theta have no first-order share at their estimates: no line in the budget
    assert shares == pytest.approx(expected, abs=0.08)
    assert length.value == pytest.approx(50_000_838.0, abs=0.5)
    assert length.standard_uncertainty == pytest.approx(32.0, abs=0.5)
    assert length.degrees_of_freedom == 16.0


def test_a_budget_line_is_sensitivity_times_input():
    """Of H.1: lS alphaS = 575 nm/K times 0.029 K."""
    (line,) = [i for i in end_gauge().influences if i.source == "dtheta"]
    assert line.sensitivity == pytest.approx(-575.007, abs=0.01)
    assert (line.input_uncertainty, line.input_unit) == (0.029, "K")
    assert line.standard_uncertainty == pytest.approx(575.007 * 0.029, abs=1e-3)


# --------------------------------------------------------- H.2, resistance and reactance


def impedance(correlated: bool = True) -> list[Measured]:
    """R, X, Z in ohm."""
    covariance = np.cov(READINGS) / 5.0
    if not correlated:
        covariance = np.diag(np.diag(covariance))

    def model(error):
        volts, amperes, radians = (READINGS.mean(axis=1) + error["readings"]).T
        ratio = volts / amperes
        return np.column_stack([ratio * np.cos(radians), ratio * np.sin(radians), ratio])

    return propagate(model, (Source("readings", "A", root_of(covariance), inputs="readings"),))


def test_gum_h2_resistance_and_reactance():
    """JCGM 100:2008, H.2, Tables H.3 and H.4 (published), correlations of R, X and Z with two

    decimals from memory, recomputed.
    """
    r, x, z = impedance()
    for found, value, u in ((r, 127.732, 0.071), (x, 219.847, 0.295), (z, 254.260, 0.236)):
        assert found.value == pytest.approx(value, abs=5e-4)
        assert found.standard_uncertainty == pytest.approx(u, abs=6e-4)
    assert correlation(r, x) == pytest.approx(-0.588, abs=5e-4)
    assert correlation(r, z) == pytest.approx(-0.485, abs=5e-4)
    assert correlation(x, z) == pytest.approx(0.993, abs=5e-4)


def test_correlations_left_out_would_be_wrong_both_ways():
    """Recomputed: u(R) 0.1945 instead of 0.071, u(X) 0.2009 instead of 0.295."""
    r, x, _ = impedance(correlated=False)
    assert r.standard_uncertainty == pytest.approx(0.1945, abs=1e-4)
    assert x.standard_uncertainty == pytest.approx(0.2009, abs=1e-4)


def test_h2_agrees_with_the_package_uncertainties():
    means = READINGS.mean(axis=1)
    volts, amperes, radians = uncertainties.correlated_values(means, np.cov(READINGS) / 5.0)
    theirs = [
        volts / amperes * umath.cos(radians),
        volts / amperes * umath.sin(radians),
        volts / amperes,
    ]
    ours = impedance()
    assert [m.value for m in ours] == pytest.approx([t.n for t in theirs], rel=1e-12)
    assert [m.standard_uncertainty for m in ours] == pytest.approx([t.s for t in theirs], rel=1e-4)
    their_correlation = uncertainties.correlation_matrix(theirs)
    assert correlation(ours[0], ours[1]) == pytest.approx(their_correlation[0][1], abs=1e-4)


# ----------------------------------------------------------------------- other examples


def test_nist_tn_1900_e13_thermal_expansion():
    """NIST TN 1900, example E13 (published; input uncertainties from memory): 1.7266e-5 / K,

    u 1.76e-6 / K.
    """

    def model(error):
        l0, l1 = 1.4999 + error["L0"], 1.5021 + error["L1"]
        t0, t1 = 288.15 + error["T0"], 373.10 + error["T1"]
        return (l1 - l0) / (l0 * (t1 - t0))

    inputs = (("L0", 0.0001), ("L1", 0.0002), ("T0", 0.02), ("T1", 0.05))
    (alpha,) = propagate(model, tuple(single(name, "B", u, "") for name, u in inputs))
    assert alpha.value == pytest.approx(1.7266e-5, abs=5e-10)
    assert alpha.standard_uncertainty == pytest.approx(1.76e-6, abs=1e-8)


def test_x_ray_fluorescence_by_ratio():
    """suncal 1.7.1, test_XRF (published there): y 0.6967, u 0.00494, nu_eff 27.7, U95 0.0101.

    The inputs stand there rounded: from them u is 0.004932 (recomputed).
    """

    def model(error):
        return (0.1820 + error["x1"]) / (0.1823 + error["x2"]) * (0.6978 + error["yu"])

    sources = (
        single("x1", "A", 0.00093, "", 9),
        single("x2", "A", 0.00058, "", 19),
        single("yu", "A", 0.0026, "", 19),
    )
    (y,) = propagate(model, sources)
    assert y.value == pytest.approx(0.6967, abs=5e-5)
    assert y.standard_uncertainty == pytest.approx(0.00494, abs=1.5e-5)
    assert y.degrees_of_freedom == 27.0
    assert y.expanded_uncertainty == pytest.approx(0.0101, abs=5e-5)


def test_degrees_of_freedom_agree_with_metrolopy():
    """A product of two readings with few degrees of freedom, and the factor for 95 %."""
    a, b = metrolopy.gummy(2.0, u=0.03, dof=4), metrolopy.gummy(5.0, u=0.10, dof=7)
    theirs = a * b

    def model(error):
        return (2.0 + error["a"]) * (5.0 + error["b"])

    (ours,) = propagate(model, (single("a", "A", 0.03, "", 4), single("b", "A", 0.10, "", 7)))
    assert ours.standard_uncertainty == pytest.approx(float(theirs.u), rel=1e-9)
    assert ours.degrees_of_freedom == math.floor(theirs.dof)


def test_a_singular_covariance_has_a_root():
    together = np.array([[0.04, -0.02], [-0.02, 0.01]])
    root = root_of(together)
    assert root @ root.T == pytest.approx(together, abs=1e-15)


def test_a_source_that_does_not_act_has_no_line_and_one_of_no_size_has():
    def model(error):
        return 3.0 * error["acts"] + error["none"] + 0.0 * error["idle"]

    sources = (
        single("acts", "B", 0.1, ""),
        single("idle", "B", 0.5, ""),
        single("none", "B", 0.0, ""),
    )
    (found,) = propagate(model, sources)
    assert [i.source for i in found.influences] == ["acts", "none"]
