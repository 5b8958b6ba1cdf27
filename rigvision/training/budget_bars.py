"""Uncertainty budgets as bars: each influence's part of the variance, the largest first."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby

from rigvision.decision.result import BudgetLine
from rigvision.report.budget import NAMES
from rigvision.report.saved_result import SavedResult

#: Parts of the variance below this are one bar together.
SMALL = 0.01


@dataclass(frozen=True, slots=True)
class Bar:
    """``share`` is the part of the variance, 0 to 1; ``size`` the contribution with its unit."""

    source: str
    kind: str
    share: float
    size: str


@dataclass(frozen=True, slots=True)
class Budget:
    quantity: str
    name: str
    bars: tuple[Bar, ...]


def budgets(result: SavedResult, first: str | None = None) -> list[Budget]:
    """One a quantity that was measured, that of ``first`` before all others."""
    grouped = groupby(result.uncertainty_budget, key=lambda line: line.quantity)
    found = [_budget(quantity, list(lines)) for quantity, lines in grouped]
    return sorted((b for b in found if b.bars), key=lambda b: b.quantity != first)


def _budget(quantity: str, lines: list[BudgetLine]) -> Budget:
    known = sorted((line for line in lines if line.share is not None), key=_share, reverse=True)
    large = [line for line in known if _share(line) >= SMALL]
    small = known[len(large) :]
    bars = [Bar(line.source, line.type, _share(line), _size(line)) for line in large]
    if small:
        rest = sum(_share(line) for line in small)
        words = f"{len(small)} smaller ones" if len(small) > 1 else small[0].source
        bars.append(Bar(words, "", rest, ""))
    return Budget(quantity, NAMES.get(quantity, quantity), tuple(bars))


def _share(line: BudgetLine) -> float:
    return min(max(line.share or 0.0, 0.0), 1.0)


def _size(line: BudgetLine) -> str:
    if line.standard_uncertainty_deg is not None:
        return f"{line.standard_uncertainty_deg:.3f} deg"
    if line.standard_uncertainty_mm is None:
        return ""
    return f"{line.standard_uncertainty_mm:.4f} mm"
