"""Gauge studies against statsmodels' analysis of variance and mixed models."""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from rigvision.training.readings import readings_of
from rigvision.training.rr import gauge_study
from tests.test_rr import AIAG, GAPS, TRUTH, UNEQUAL, drawn_rows, rows_of

pandas = pytest.importorskip("pandas")
with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    formula = pytest.importorskip("statsmodels.formula.api")
    from statsmodels.stats.anova import anova_lm


def frame_of(rows):
    return pandas.DataFrame(rows, columns=["setting", "person", "y"])


@pytest.mark.filterwarnings("ignore")
def test_sums_of_squares_and_f_of_a_balanced_study():
    table = anova_lm(formula.ols("y ~ C(setting) * C(person)", frame_of(rows_of(AIAG))).fit())
    study = gauge_study(readings_of(rows_of(AIAG)), None, "with-interaction")
    names = {
        "settings": "C(setting)",
        "people": "C(person)",
        "interaction": "C(setting):C(person)",
        "shots": "Residual",
    }
    for line in study.table.lines:
        assert line.sum_of_squares == pytest.approx(table.loc[names[line.source], "sum_sq"])
        assert line.degrees_of_freedom == table.loc[names[line.source], "df"]
    f = next(t for t in study.tests if t.source == "interaction")
    assert f.f == pytest.approx(table.loc[names["interaction"], "F"])
    assert f.probability == pytest.approx(table.loc[names["interaction"], "PR(>F)"])


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("cells", [UNEQUAL, GAPS], ids=["unequal", "missing"])
def test_fitted_sums_of_squares_are_those_of_type_two(cells):
    """Without interaction each effect is fitted after the other: type II."""
    rows = drawn_rows(np.random.default_rng(3), TRUTH, cells)
    table = anova_lm(formula.ols("y ~ C(setting) + C(person)", frame_of(rows)).fit(), typ=2)
    study = gauge_study(readings_of(rows), None, "without-interaction")
    found = {line.source: line.sum_of_squares for line in study.table.lines}
    assert found["settings"] == pytest.approx(table.loc["C(setting)", "sum_sq"])
    assert found["people"] == pytest.approx(table.loc["C(person)", "sum_sq"])
    assert found["shots"] == pytest.approx(table.loc["Residual", "sum_sq"])


def by_reml(rows) -> dict[str, float]:
    """Variances by restricted maximum likelihood, all rows one group."""
    frame = frame_of(rows)
    frame["all"] = 1
    parts = {
        "settings": "0 + C(setting)",
        "people": "0 + C(person)",
        "interaction": "0 + C(setting):C(person)",
    }
    model = formula.mixedlm("y ~ 1", frame, groups="all", vc_formula=parts, re_formula="0")
    fitted = model.fit(reml=True, method=["lbfgs"])
    names = model.exog_vc.names
    return {"repeatability": fitted.scale, **dict(zip(names, fitted.vcomp, strict=True))}


@pytest.mark.filterwarnings("ignore")
def test_balanced_components_are_those_of_reml():
    """In balanced studies without a negative component the two are one."""
    cells = [(i, j, 2) for i in range(8) for j in range(4)]
    rows = drawn_rows(np.random.default_rng(3), TRUTH, cells)
    study = gauge_study(readings_of(rows), None, "with-interaction")
    assert study.negative == ()
    for part, variance in by_reml(rows).items():
        assert study.component(part).variance == pytest.approx(variance, rel=2e-3), part


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("cells", [UNEQUAL, GAPS], ids=["unequal", "missing"])
def test_unbalanced_components_are_near_those_of_reml(cells):
    """Two estimators of the same: nearer to each other than a tenth of the interval."""
    rows = drawn_rows(np.random.default_rng(3), TRUTH, cells)
    study = gauge_study(readings_of(rows), None, "with-interaction")
    for part, variance in by_reml(rows).items():
        component = study.component(part)
        low, high = component.interval
        assert low < variance < high, part
        assert component.variance == pytest.approx(variance, abs=0.1 * (high - low)), part
