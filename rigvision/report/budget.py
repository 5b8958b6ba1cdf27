"""Uncertainty budgets as tables, and the Monte Carlo run beside them, for the terminal.

Narrow first: on a phone's 40 columns a line says what contributes, how much, and its part of
the whole; where there is room, also the input's uncertainty, sensitivity and degrees of freedom.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby
from math import hypot

from rich.console import Console, RenderableType
from rich.table import Table

from rigvision.decision.result import BudgetLine, CharacteristicResult, CheckResult
from rigvision.metrology.monte_carlo import Comparison, MonteCarlo
from rigvision.report.figures import decimals_for, percent, signed_zero, with_uncertainty
from rigvision.report.terminal import Scribe, indented, is_ascii

NAMES = {
    "gap": "Gap",
    "taper": "Taper",
    "lateral_offset": "Yoke to the side",
    "tilt": "Yoke tilt",
    "seat_gap": "Yoke seat gap",
    "clock": "Clock",
}

#: From here on there is room for every column.
WIDE = 72

#: Lines below this part of the variance are one line together.
_SMALL = 0.001


def show_budget(result: CheckResult, console: Console) -> None:
    """Print one table a quantity, largest contribution first; ends with an empty line."""
    scribe = Scribe(is_ascii(console))
    judged = {c.quantity: c for c in result.decision.characteristics} if result.decision else {}
    for quantity, lines in groupby(result.uncertainty_budget, key=lambda line: line.quantity):
        for part in _budget(quantity, list(lines), judged.get(quantity), console.width, scribe):
            console.print(part)
        console.print()


def show_monte_carlo(run: MonteCarlo, console: Console) -> None:
    """Print both ways of each quantity, one under the other; ends with an empty line."""
    scribe = Scribe(is_ascii(console))
    console.print(scribe(f"Monte Carlo, {run.draws} draws, seed {run.seed}", "bold"))
    if not run.comparisons:
        console.print(indented(scribe("Nothing was measured that could be drawn.")))
    for comparison in run.comparisons:
        name = NAMES[comparison.quantity]
        console.print(indented(scribe(f"{name}, {comparison.unit}: {_judgement(comparison)}")))
        console.print(indented(_both_ways(comparison, scribe)))
    console.print()


def _budget(
    quantity: str,
    lines: list[BudgetLine],
    judged: CharacteristicResult | None,
    width: int,
    scribe: Scribe,
) -> Iterator[RenderableType]:
    yield scribe(_title(quantity, judged), "bold")
    if judged:
        yield indented(scribe(_limits(judged), "dim"))
    unit = "mm" if lines[0].standard_uncertainty_deg is None else "deg"
    wide = width >= WIDE
    table = Table.grid(padding=(0, 2, 0, 0))
    headings = ["source", "", f"u, {unit}", "part"]
    headings += ["u(x)", "c", "dof"] if wide else []
    for k in range(len(headings)):
        table.add_column(justify="left" if k in (0, 1) else "right", no_wrap=True)
    table.add_row(*(scribe(h, "dim") for h in headings))
    for cells in _rows(lines, wide):
        table.add_row(*(scribe(cell) for cell in cells))
    yield indented(table)


def _title(quantity: str, judged: CharacteristicResult | None) -> str:
    if judged is None:
        return NAMES[quantity]
    figure = with_uncertainty(judged.value, judged.expanded_uncertainty, judged.unit)
    return f"{NAMES[quantity]}  {figure}"


def _limits(judged: CharacteristicResult) -> str:
    """Limits and guarded limits, as the frame's rule draws them."""
    lower, upper = judged.acceptance_lower, judged.acceptance_upper
    accepted = "no reading so uncertain is accepted"
    if lower is not None and upper is not None:
        accepted = f"accepted {signed_zero(lower, 2)} to {signed_zero(upper, 2)}"
    limits = f"{signed_zero(judged.lower, 2)} to {signed_zero(judged.upper, 2)} {judged.unit}"
    return f"{limits}, {accepted}; inside: {percent(judged.conformance_probability)}"


def _rows(lines: list[BudgetLine], wide: bool) -> Iterator[list[str]]:
    """Largest first; what hardly counts is summed up; last the whole."""
    ordered = sorted(lines, key=lambda line: -(line.share or 0.0))
    large = [line for line in ordered if (line.share or 0.0) >= _SMALL]
    small = ordered[len(large) :]
    blank = ["", "", ""] if wide else []
    for line in large:
        cells = [line.source, line.type, _u([line]), _part([line])]
        yield [*cells, *(_inputs(line) if wide else [])]
    if small:
        yield [f"{len(small)} more", "", _u(small), _part(small), *blank]
    yield ["combined", "", _u(lines), "", *blank]


def _inputs(line: BudgetLine) -> list[str]:
    """Input's uncertainty, sensitivity, degrees of freedom."""
    u, sensitivity = line.input_standard_uncertainty, line.sensitivity
    # Several correlated inputs count as one without unit, whose c is the contribution itself.
    joint = u is None or not line.input_unit
    unit = "" if line.input_unit == "1" else f" {line.input_unit}"
    return [
        "joint" if joint else f"{u:.2g}{unit}",
        "" if joint or sensitivity is None else f"{sensitivity:.2g}",
        "inf" if line.degrees_of_freedom is None else f"{line.degrees_of_freedom:.0f}",
    ]


def _u(lines: list[BudgetLine]) -> str:
    """What these contribute together."""
    parts = (
        line.standard_uncertainty_deg
        if line.standard_uncertainty_mm is None
        else line.standard_uncertainty_mm
        for line in lines
    )
    return f"{hypot(*(part or 0.0 for part in parts)):.4f}"


def _part(lines: list[BudgetLine]) -> str:
    return f"{100.0 * sum(line.share or 0.0 for line in lines):.1f} %"


def _judgement(comparison: Comparison) -> str:
    """What JCGM 101's clause 8 says of the linear budget."""
    if comparison.validated:
        return "the budget holds to two digits"
    if comparison.validated_to_one_digit:
        two = "more draws would tell of two" if comparison.validated is None else "not to two"
        return f"the budget holds to one digit, {two}"
    if comparison.validated_to_one_digit is None:
        return "too few draws to tell"
    return "the budget does not hold: take the drawn interval"


def _both_ways(comparison: Comparison, scribe: Scribe) -> Table:
    table = Table.grid(padding=(0, 2, 0, 0))
    decimals = min(decimals_for(comparison.standard_uncertainty) + 1, 5)
    table.add_row(*(scribe(h, "dim") for h in ("", "value", "u", "95 % interval")))
    for name, value, u, (low, high) in (
        ("GUM", comparison.value, comparison.standard_uncertainty, comparison.interval),
        (
            "drawn",
            comparison.drawn_value,
            comparison.drawn_standard_uncertainty,
            comparison.drawn_interval,
        ),
    ):
        ends = f"{signed_zero(low, decimals)} to {signed_zero(high, decimals)}"
        cells = (name, signed_zero(value, decimals), f"{u:.{decimals}f}", ends)
        table.add_row(*(scribe(cell) for cell in cells))
    return table
