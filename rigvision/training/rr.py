"""Gauge repeatability and reproducibility: is the gauge good enough for the tolerance?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from rigvision.training.average_range import average_range
from rigvision.training.component import Component, Part, SourceTest, components_of, tests_of
from rigvision.training.drawn import RatioIntervals, ratio_intervals
from rigvision.training.intervals import Interval
from rigvision.training.mean_squares import VarianceTable, crossed_table, nested_table
from rigvision.training.readings import Readings
from rigvision.training.study_error import StudyError

Method = Literal["with-interaction", "without-interaction", "nested", "average-range"]
#: An interaction less sure than this is pooled with the shots (common practice, AIAG MSA).
POOLING_ALPHA = 0.25
#: The width that a spread is compared with the tolerance by: six standard deviations.
WIDTH_DEVIATIONS = 6.0
#: 97 % of a normal spread, over its standard deviation, rounded as the AIAG's manual does.
DISTINCT_FACTOR = 1.41


@dataclass(frozen=True, slots=True)
class GaugeStudy:
    """One way of working a study out. ``table`` is None for averages and ranges.

    ``tolerance`` is the distance of the limits, in the readings' unit, None where there is none.
    """

    method: Method
    components: tuple[Component, ...]
    tolerance: float | None
    table: VarianceTable | None = None
    tests: tuple[SourceTest, ...] = ()
    ratios: RatioIntervals | None = None

    def component(self, part: Part) -> Component | None:
        return next((c for c in self.components if c.part == part), None)

    def share_of_study(self, component: Component) -> float | None:
        """Of the total standard deviation; None where nothing varies."""
        total = self.component("total")
        return component.deviation / total.deviation if total and total.variance else None

    def share_of_variance(self, component: Component) -> float | None:
        total = self.component("total")
        return component.variance / total.variance if total and total.variance else None

    def share_of_tolerance(self, component: Component) -> float | None:
        if self.tolerance is None:
            return None
        return WIDTH_DEVIATIONS * component.deviation / self.tolerance

    def share_of_tolerance_interval(self, component: Component) -> Interval | None:
        ends = component.deviation_interval
        if self.tolerance is None or ends is None:
            return None
        scale = WIDTH_DEVIATIONS / self.tolerance
        return ends[0] * scale, ends[1] * scale

    @property
    def distinct_categories(self) -> float | None:
        """How many groups of settings the gauge tells apart, not cut to a whole number.

        None where the gauge shows no spread at all, or there are no settings to tell apart.
        """
        gauge, settings = self.component("gauge"), self.component("settings")
        if gauge is None or settings is None or not gauge.variance:
            return None
        return DISTINCT_FACTOR * settings.deviation / gauge.deviation

    @property
    def distinct_categories_interval(self) -> Interval | None:
        if self.ratios is None:
            return None
        low, high = self.ratios.settings_of_gauge
        return DISTINCT_FACTOR * low, DISTINCT_FACTOR * high

    @property
    def negative(self) -> tuple[Part, ...]:
        """Components that came out negative and count as 0."""
        single = ("repeatability", "people", "interaction", "settings")
        return tuple(c.part for c in self.components if c.part in single and c.estimated < 0.0)


@dataclass(frozen=True, slots=True)
class GaugeStudies:
    """Every way in which the readings can be worked out, and which of them counts.

    ``missing`` says of each method that cannot be used why not.
    """

    chosen: GaugeStudy
    why: str
    all: tuple[GaugeStudy, ...]
    missing: dict[Method, str]

    def by(self, method: Method) -> GaugeStudy | None:
        return next((s for s in self.all if s.method == method), None)


def gauge_study(
    readings: Readings, tolerance: float | None, method: Method, confidence: float = 0.95
) -> GaugeStudy:
    """The readings worked out in one way. Raises StudyError where they do not allow it."""
    if method == "average-range":
        return GaugeStudy(method, average_range(readings).components, tolerance)
    if method == "nested":
        table = nested_table(readings)
    else:
        with_it = method == "with-interaction"
        table = crossed_table(readings, interaction=with_it)
        if with_it and table.line("interaction") is None:
            raise StudyError(
                "no-interaction",
                "With one person or one setting there is no interaction.",
                "It is worked out without.",
            )
    return GaugeStudy(
        method,
        components_of(table, confidence),
        tolerance,
        table,
        tests_of(table),
        ratio_intervals(table, confidence),
    )


def gauge_studies(
    readings: Readings, tolerance: float | None, *, nested: bool = False
) -> GaugeStudies:
    """All ways that can be used, and the one that counts.

    Crossed: the interaction is kept where it is significant at ``POOLING_ALPHA``, else pooled with
    the shots. Nested where it was planned so, or where no setting was shot by two people.
    Raises StudyError where no way can be used.
    """
    nested = nested or readings.nested
    methods: tuple[Method, ...] = (
        ("nested",) if nested else ("with-interaction", "without-interaction", "average-range")
    )
    found: dict[Method, GaugeStudy] = {}
    missing: dict[Method, str] = {}
    refused: dict[Method, StudyError] = {}
    for method in methods:
        try:
            found[method] = gauge_study(readings, tolerance, method)
        except StudyError as error:
            missing[method] = error.text
            refused[method] = error
    basic = found.get("nested") or found.get("without-interaction")
    if basic is None:
        raise refused["nested" if nested else "without-interaction"]
    chosen, why = _choice(found, missing, basic)
    return GaugeStudies(chosen, why, tuple(found.values()), missing)


def _choice(
    found: dict[Method, GaugeStudy], missing: dict[Method, str], basic: GaugeStudy
) -> tuple[GaugeStudy, str]:
    if basic.method == "nested":
        return basic, "Every person had settings of their own: the study is nested."
    full = found.get("with-interaction")
    if full is None:
        return basic, f"Worked out without interaction. {missing['with-interaction']}"
    test = next(t for t in full.tests if t.source == "interaction")
    rule = f"the limit is {POOLING_ALPHA}"
    if test.probability is None:
        return basic, "Nothing differs within any cell: no interaction is kept."
    if test.probability < POOLING_ALPHA:
        return full, f"The interaction is kept (p = {test.probability:.3f}; {rule})."
    return basic, (
        f"The interaction is no more than chance (p = {test.probability:.3f}; {rule}) and is "
        "counted among the differences from shot to shot."
    )
