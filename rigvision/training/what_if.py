"""What would turn a call: the characteristic, and by how much it would have to be otherwise."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

from rigvision.decision.result import CharacteristicResult, DecisionResult
from rigvision.ground.measured import probability_inside
from rigvision.ground.student import coverage_factor
from rigvision.records.figures import figures_of
from rigvision.report.budget import NAMES
from rigvision.report.figures import signed_zero
from rigvision.report.saved_result import SavedResult

SIMPLE = "simple-acceptance"
#: More degrees of freedom than this and none differ by less than a saved factor's last digit.
_MANY = 400
_BISECTIONS = 60


@dataclass(frozen=True, slots=True)
class WhatIf:
    """A characteristic with all that its probability of conformity follows from.

    ``factor`` is the coverage factor, ``freedom`` the degrees of freedom that it belongs to, None
    where they are infinite. ``wanted`` is the probability that the rule asks for, None where it
    takes a reading between the limits for granted. ``acceptance``: between these a reading of this
    uncertainty is accepted; None where it leaves no room.
    """

    quantity: str
    name: str
    unit: str
    value: float
    expanded: float
    lower: float
    upper: float
    factor: float
    freedom: int | None
    wanted: float | None
    accepted: bool
    probability: float
    acceptance: tuple[float, float] | None

    @property
    def standard_uncertainty(self) -> float:
        return self.expanded / self.factor

    def probability_at(self, value: float, expanded: float) -> float:
        """Of conformity, were this read instead: Student's t, as in the decision."""
        freedom = inf if self.freedom is None else float(self.freedom)
        return probability_inside(value, expanded / self.factor, freedom, self.lower, self.upper)


def what_ifs(result: SavedResult) -> list[WhatIf]:
    """All characteristics that were judged, the one that the call hangs on first."""
    decision = result.decision
    if decision is None:
        return []
    factors = {f.key: f.coverage_factor for f in figures_of(result)}
    found = [_what_if(c, decision, factors.get(c.quantity)) for c in decision.characteristics]
    return sorted(found, key=lambda w: w.probability)


def freedom_of_factor(factor: float) -> int | None:
    """Whole degrees of freedom whose coverage factor is nearest; None for infinitely many."""
    if factor <= coverage_factor(_MANY):
        return None
    low, high = 1, _MANY
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if coverage_factor(middle) > factor else (low, middle)
    return min((low, high), key=lambda f: abs(coverage_factor(f) - factor))


def turning_points(case: WhatIf) -> list[str]:
    """What would have turned the call on this characteristic, in sentences."""
    if case.wanted is None:
        return [_at_limits(case)]
    said = [_by_value(case)]
    if not case.accepted and case.lower < case.value < case.upper:
        said.append(_by_uncertainty(case))
    return said


def _what_if(c: CharacteristicResult, decision: DecisionResult, factor: float | None) -> WhatIf:
    factor = factor or coverage_factor(inf)
    return WhatIf(
        c.quantity,
        NAMES.get(c.quantity, c.quantity),
        c.unit,
        c.value,
        c.expanded_uncertainty,
        c.lower,
        c.upper,
        factor,
        freedom_of_factor(factor),
        None if decision.rule == SIMPLE else decision.conformance_probability,
        c.accepted,
        c.conformance_probability + 0.0,
        None
        if c.acceptance_lower is None or c.acceptance_upper is None
        else (c.acceptance_lower, c.acceptance_upper),
    )


def _at_limits(case: WhatIf) -> str:
    return (
        f"A reading between {_shown(case.lower, case)} and {_shown(case.upper, case)} is accepted, "
        "whatever its uncertainty."
    )


def _by_value(case: WhatIf) -> str:
    """From where to where a reading as uncertain as this one is accepted."""
    if case.acceptance is None:
        return (
            f"No reading with an uncertainty of ± {_shown(case.expanded, case)} is accepted: "
            "it leaves no room between the limits."
        )
    low, high = (_shown(v, case) for v in case.acceptance)
    said = f"As uncertain as it is, it is accepted from {low} to {high}."
    nearest = min(case.acceptance, key=lambda v: abs(v - case.value))
    away = abs(nearest - case.value)
    words = "inside" if case.accepted else "outside"
    return f"{said} It was read {_shown(away, case)} {words} of that."


def _by_uncertainty(case: WhatIf) -> str:
    most = most_expanded(case)
    return (
        f"As it reads, it is accepted with an uncertainty of ± {_shown(most, case)} or less; "
        f"it has ± {_shown(case.expanded, case)}."
    )


def most_expanded(case: WhatIf) -> float:
    """The largest expanded uncertainty with which this reading, inside its limits, is accepted."""
    assert case.wanted is not None
    low, high = 0.0, max(case.expanded, case.upper - case.lower)
    for _ in range(_BISECTIONS):
        middle = (low + high) / 2.0
        if case.probability_at(case.value, middle) >= case.wanted:
            low = middle
        else:
            high = middle
    return low


def _shown(value: float, case: WhatIf) -> str:
    return f"{signed_zero(value, 3 if case.unit == 'mm' else 2)} {case.unit}"
