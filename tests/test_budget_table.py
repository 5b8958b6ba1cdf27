"""Budgets and Monte Carlo runs as tables, on wide and narrow terminals."""

from __future__ import annotations

import io

import pytest
from rich.console import Console

from rigvision.decision.result import (
    BudgetLine,
    CharacteristicResult,
    CheckResult,
    DecisionResult,
    PhotoFacts,
    TurnsResult,
    ViewResult,
    YokeResult,
)
from rigvision.metrology.monte_carlo import Comparison, MonteCarlo
from rigvision.report.as_json import as_json
from rigvision.report.budget import show_budget, show_monte_carlo

GAP = CharacteristicResult("gap", "mm", 0.8, 0.1, 0.55, 1.05, 0.632, 0.968, 0.997, True)
CLOCK = CharacteristicResult("clock", "deg", 1.2, 6.0, -4.0, 4.0, None, None, 0.8, False)
#: 0.03 and 0.04 make 0.05 mm; 36 % and 64 % of the variance.
LINES = (
    BudgetLine("gap", "edge fit", "A", 0.03, None, 0.36, 1.5, 0.02, "mm", None),
    BudgetLine("gap", "edge definition", "B", 0.04, None, 0.6399, 1.0, 0.04, "mm", 22.22),
    BudgetLine("gap", "temperature", "B", 0.0005, None, 0.0001, 5e-5, 10.0, "K", None),
    BudgetLine("clock", "lens", "B", None, 3.0, 1.0, 3.0, 1.0, "", None),
)
GAP_RUN = Comparison(
    "gap", "mm", 0.8, 0.05, (0.702, 0.898), 0.801, 0.051, (0.701, 0.899), 0.0005, False, True
)


@pytest.fixture
def result() -> CheckResult:
    return CheckResult(
        photo=PhotoFacts("a.jpg", "ab" * 32, 900, 660, None),
        gauge="RG-10",
        frame="DF-10",
        door=None,
        camera="generic-phone",
        verdict="adjust",
        borderline=False,
        reasons=(),
        gap=None,
        yoke=YokeResult(),
        turns=TurnsResult(None, None, None, None, ""),
        uncertainty_budget=LINES,
        view=ViewResult(None, None, None, ()),
        version="0.0.0",
        decision=DecisionResult("guarded-acceptance", 0.95, 0.2, 0.2, 0.2, (GAP, CLOCK)),
    )


def console(width: int, encoding: str = "utf-8") -> tuple[Console, io.TextIOWrapper]:
    stream = io.TextIOWrapper(io.BytesIO(), encoding=encoding)
    return Console(file=stream, width=width, color_system=None, highlight=False), stream


def printed(stream: io.TextIOWrapper) -> list[str]:
    stream.flush()
    stream.seek(0)
    return [line.rstrip() for line in stream.read().splitlines()]


def budget_of(result: CheckResult, width: int, encoding: str = "utf-8") -> list[str]:
    target, stream = console(width, encoding)
    show_budget(result, target)
    return printed(stream)


def test_a_budget_stands_largest_first_with_its_sum(result):
    lines = [" ".join(line.split()) for line in budget_of(result, 100)]
    assert lines[:7] == [
        "Gap 0.80 ± 0.10 mm",
        "0.55 to 1.05 mm, accepted 0.63 to 0.97; inside: 99.7 %",
        "source u, mm part u(x) c dof",
        "edge definition B 0.0400 64.0 % 0.04 mm 1 22",
        "edge fit A 0.0300 36.0 % 0.02 mm 1.5 inf",
        "1 more 0.0005 0.0 %",
        "combined 0.0500",
    ]


def test_angles_are_in_degrees_and_correlated_inputs_count_as_one(result):
    lines = [" ".join(line.split()) for line in budget_of(result, 100)]
    start = lines.index("Clock 1 ± 6 deg")
    assert lines[start + 1] == (
        "-4.00 to 4.00 deg, no reading so uncertain is accepted; inside: 80.0 %"
    )
    assert lines[start + 2].startswith("source u, deg")
    assert lines[start + 3] == "lens B 3.0000 100.0 % joint inf"


@pytest.mark.parametrize("width", [40, 72, 120])
def test_a_budget_fits_its_terminal(result, width):
    lines = budget_of(result, width)
    assert max(len(line) for line in lines) <= width
    assert any("edge definition" in line and "64.0 %" in line for line in lines)


def test_a_budget_on_an_ascii_terminal(result):
    assert "0.80 +/- 0.10 mm" in budget_of(result, 80, "ascii")[0]


def run_of(*comparisons: Comparison, width: int = 80) -> str:
    target, stream = console(width)
    show_monte_carlo(MonteCarlo(50_000, 1, comparisons), target)
    return "\n".join(" ".join(line.split()) for line in printed(stream))


def test_a_run_stands_below_the_budget_s_figures():
    text = run_of(GAP_RUN)
    assert text.startswith("Monte Carlo, 50000 draws, seed 1")
    assert "GUM 0.800 0.050 0.702 to 0.898" in text
    assert "drawn 0.801 0.051 0.701 to 0.899" in text


@pytest.mark.parametrize(
    ("two", "one", "words"),
    [
        (True, True, "the budget holds to two digits"),
        (False, True, "the budget holds to one digit, not to two"),
        (None, True, "the budget holds to one digit, more draws would tell of two"),
        (False, False, "the budget does not hold: take the drawn interval"),
        (None, None, "too few draws to tell"),
        (False, None, "too few draws to tell"),
    ],
)
def test_a_run_says_whether_the_budget_holds(two, one, words):
    from dataclasses import replace

    assert words in run_of(replace(GAP_RUN, validated=two, validated_to_one_digit=one))


def test_a_run_without_figures_says_so():
    assert "Nothing was measured" in run_of()


def test_a_run_fits_a_phone():
    assert max(map(len, run_of(GAP_RUN, width=42).splitlines())) <= 42


def test_json_carries_a_run_where_there_was_one_and_small_sensitivities_whole(result):
    plain = as_json(result)
    assert "monte_carlo" not in plain
    assert plain["uncertainty_budget"][2]["sensitivity"] == 5e-5
    assert plain["uncertainty_budget"][1]["degrees_of_freedom"] == 22.22
    assert plain["uncertainty_budget"][0]["degrees_of_freedom"] is None
    assert plain["decision"]["characteristics"][0]["acceptance_upper"] == 0.968
    drawn = as_json(result, MonteCarlo(50_000, 1, (GAP_RUN,)))["monte_carlo"]
    assert (drawn["draws"], drawn["seed"]) == (50_000, 1)
    assert drawn["quantities"][0]["drawn_interval"] == [0.701, 0.899]
    assert drawn["quantities"][0]["validated"] is False
