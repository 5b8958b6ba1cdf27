"""Bias and linearity against the AIAG's example and by hand."""

from __future__ import annotations

import numpy as np
import pytest

from rigvision.training.linearity import MasterReadings, linearity_study
from rigvision.training.study_error import StudyError

#: The AIAG MSA manual's linearity example: five masters, twelve readings each.
AIAG = {
    2.0: "2.7 2.5 2.4 2.5 2.7 2.3 2.5 2.5 2.4 2.4 2.6 2.4",
    4.0: "5.1 3.9 4.2 5.0 3.8 3.9 3.9 3.9 3.9 4.0 4.1 3.8",
    6.0: "5.8 5.7 5.9 5.9 6.0 6.1 6.0 6.1 6.4 6.3 6.0 6.1",
    8.0: "7.6 7.7 7.8 7.7 7.8 7.8 7.8 7.7 7.8 7.5 7.6 7.7",
    10.0: "9.1 9.3 9.5 9.3 9.4 9.5 9.5 9.5 9.6 9.2 9.3 9.4",
}


def master(reference: float, values: str, uncertainty: float = 0.0) -> MasterReadings:
    numbers = np.array([float(v) for v in values.split()])
    return MasterReadings(f"at {reference}", reference, uncertainty, numbers)


def test_the_aiag_example():
    """As published of it (a worked sheet): line, R squared, t, p, bias of each master."""
    study = linearity_study([master(r, v) for r, v in AIAG.items()])
    line = study.line
    assert f"{line.intercept:.3f} {line.slope:.3f}" == "0.737 -0.132"
    assert f"{line.intercept_error:.4f} {line.slope_error:.4f}" == "0.0725 0.0109"
    assert f"{line.deviation:.3f}" == "0.240"
    assert f"{100 * line.explained:.2f}" == "71.43"
    assert f"{line.slope / line.slope_error:.2f}" == "-12.04"
    assert f"{line.intercept / line.intercept_error:.2f}" == "10.16"
    assert line.slope_probability < 0.0005
    assert f"{study.overall:.4f}" == "-0.0533"
    assert [f"{b.bias:.3f}" for b in study.biases] == [
        "0.492",
        "0.125",
        "0.025",
        "-0.292",
        "-0.617",
    ]
    assert [f"{b.probability:.3f}" for b in study.biases] == [
        "0.000",
        "0.354",
        "0.667",
        "0.000",
        "0.000",
    ]
    assert [b.proven for b in study.biases] == [True, False, False, True, True]


def test_the_band_at_the_middle_is_that_of_a_mean():
    """There it is the line's deviation over the root of 60; t of 58 degrees of freedom: 2.0017."""
    line = linearity_study([master(r, v) for r, v in AIAG.items()]).line
    low, high = line.band(6.0)
    assert (high - low) / 2 == pytest.approx(2.0017 * line.deviation / np.sqrt(60), rel=1e-4)
    assert (high + low) / 2 == pytest.approx(-0.0533, abs=5e-5)


def test_the_masters_uncertainty_is_not_averaged_away():
    """A bias of 0.05 shot to the micrometre; the master is only known to 0.1."""
    exact = linearity_study([master(1.0, "1.050 1.051 1.049 1.050")]).biases[0]
    vague = linearity_study([master(1.0, "1.050 1.051 1.049 1.050", 0.1)]).biases[0]
    assert exact.proven
    assert not vague.proven
    assert vague.interval[1] == pytest.approx(0.05 + 1.96 * 0.1, abs=1e-3)


def test_a_crooked_bias_is_no_line():
    crooked = linearity_study(
        [
            master(r, f"{r + b - 0.01} {r + b + 0.01} {r + b}")
            for r, b in ((1, 0.0), (2, 1.0), (3, 0.0))
        ]
    ).line
    assert crooked.lack_of_fit < 1e-6
    straight = linearity_study([master(r, f"{r - 0.01} {r + 0.01} {r}") for r in (1, 2, 3)]).line
    assert straight.lack_of_fit == pytest.approx(1.0)


def test_one_master_has_a_bias_but_no_line():
    study = linearity_study([master(0.8, "0.81 0.83 0.82")])
    assert study.line is None
    assert "one master" in study.why_no_line
    assert study.biases[0].bias == pytest.approx(0.02)


def test_equal_readings_give_a_bias_without_a_probability():
    study = linearity_study([master(0.8, "0.81 0.81"), master(0.9, "0.91 0.91")])
    assert study.biases[0].probability is None
    assert study.biases[0].deviation == 0.0
    assert study.line.slope == pytest.approx(0.0, abs=1e-12)


def test_no_master_is_said():
    with pytest.raises(StudyError) as refused:
        linearity_study([])
    assert refused.value.code == "no-master"
