"""Gauge studies against published examples, exact cases, drawn studies, and statsmodels."""

from __future__ import annotations

import numpy as np
import pytest

from rigvision.training.average_range import average_range, range_components
from rigvision.training.component import components_of
from rigvision.training.drawn import again, ratio_intervals
from rigvision.training.intervals import variance_interval
from rigvision.training.mean_squares import (
    BALANCED,
    FITTING,
    UNWEIGHTED,
    crossed_table,
    effect_columns,
    nested_table,
)
from rigvision.training.range_constants import range_constant, range_limit
from rigvision.training.readings import Readings, readings_of
from rigvision.training.rr import gauge_studies, gauge_study
from rigvision.training.study_error import StudyError

#: The AIAG MSA manual's example, 10 parts by 3 people by 3 trials: A1 A2 A3, B1 B2 B3, C1 C2 C3.
AIAG = """
 0.29  0.41  0.64   0.08  0.25  0.07   0.04 -0.11 -0.15
-0.56 -0.68 -0.58  -0.47 -1.22 -0.68  -1.38 -1.13 -0.96
 1.34  1.17  1.27   1.19  0.94  1.34   0.88  1.09  0.67
 0.47  0.50  0.64   0.01  1.03  0.20   0.14  0.20  0.11
-0.80 -0.92 -0.84  -0.56 -1.20 -1.28  -1.46 -1.07 -1.45
 0.02 -0.11 -0.21  -0.20  0.22  0.06  -0.29 -0.67 -0.49
 0.59  0.75  0.66   0.47  0.55  0.83   0.02  0.01  0.21
-0.31 -0.20 -0.17  -0.63  0.08 -0.34  -0.46 -0.56 -0.49
 2.26  1.99  2.01   1.80  2.12  2.19   1.77  1.45  1.87
-1.36 -1.25 -1.31  -1.68 -1.62 -1.50  -1.49 -1.77 -2.16
"""

#: Houf and Berman (1988), thermal performance; data as in the examples of SAS PROC VARCOMP.
HOUF = """
37 38 37 41 41 40 41 42 41
42 41 43 42 42 42 43 42 43
30 31 31 31 31 31 29 30 28
42 43 42 43 43 43 42 42 42
28 30 29 29 30 29 31 29 29
42 42 43 45 45 45 44 46 45
25 26 27 28 28 30 29 27 27
40 40 40 43 42 42 43 43 41
25 25 25 27 29 28 26 26 26
35 34 34 35 35 34 35 34 35
"""

Row = tuple[str, str, float]


def rows_of(text: str) -> list[Row]:
    """Three people with three trials each, a part a line."""
    lines = [line.split() for line in text.strip().splitlines()]
    return [
        (f"part {i}", "ABC"[j // 3], float(value))
        for i, line in enumerate(lines, 1)
        for j, value in enumerate(line)
    ]


@pytest.fixture(scope="module")
def aiag() -> Readings:
    return readings_of(rows_of(AIAG))


def published(value: float, digits: int) -> str:
    return f"{value:.{digits}f}"


def test_the_aiag_table_of_variance(aiag):
    """Printed (from memory but for 2.7589): sums of squares to four digits, F and p."""
    study = gauge_study(aiag, None, "with-interaction")
    sums = {line.source: published(line.sum_of_squares, 4) for line in study.table.lines}
    assert sums == {
        "people": "3.1673",
        "settings": "88.3619",
        "interaction": "0.3590",
        "shots": "2.7589",
    }
    freedoms = {line.source: line.degrees_of_freedom for line in study.table.lines}
    assert freedoms == {"people": 2, "settings": 9, "interaction": 18, "shots": 60}
    total = float(np.sum((aiag.values - aiag.values.mean()) ** 2))
    assert published(total, 4) == "94.6471"
    test = next(t for t in study.tests if t.source == "interaction")
    assert (published(test.f, 3), published(test.probability, 4)) == ("0.434", "0.9741")


def test_the_aiag_components_with_the_interaction_pooled(aiag):
    """Printed in the manual: deviations, per cent of study and of variance, categories."""
    studies = gauge_studies(aiag, None)
    study = studies.chosen
    assert study.method == "without-interaction"
    assert "0.974" in studies.why
    parts = {
        p: study.component(p) for p in ("repeatability", "people", "gauge", "settings", "total")
    }
    assert published(parts["repeatability"].deviation, 6) == "0.199933"
    assert published(parts["people"].deviation, 6) == "0.226838"
    assert published(parts["settings"].deviation, 6) == "1.042327"
    # Printed 0.302373: the manual adds rounded squares; from the data it is 0.3023715.
    assert parts["gauge"].deviation == pytest.approx(0.302373, abs=2e-6)
    assert published(parts["total"].deviation, 3) == "1.085"
    shares = [published(100 * study.share_of_study(c), 1) for c in parts.values()]
    assert shares == ["18.4", "20.9", "27.9", "96.0", "100.0"]
    contributions = [published(100 * study.share_of_variance(c), 1) for c in parts.values()]
    assert contributions == ["3.4", "4.4", "7.8", "92.2", "100.0"]
    assert study.distinct_categories == pytest.approx(4.861, abs=5e-4)
    f = {t.source: t.f for t in study.tests}
    assert f["people"] == pytest.approx(39.6172, abs=5e-5)
    assert f["settings"] == pytest.approx(245.6139, abs=1e-3)


def test_the_aiag_components_with_the_interaction_kept(aiag):
    """EV 0.214435 is printed; the others by hand from the mean squares of the table."""
    study = gauge_study(aiag, None, "with-interaction")
    assert published(study.component("repeatability").deviation, 6) == "0.214435"
    assert study.component("interaction").variance == 0.0
    assert study.component("interaction").estimated == pytest.approx(
        (0.019943 - 0.045982) / 3, abs=1e-6
    )
    assert study.negative == ("interaction",)
    assert study.component("people").variance == pytest.approx((1.583631 - 0.019943) / 30, abs=1e-6)
    assert study.component("settings").variance == pytest.approx(
        (9.817993 - 0.019943) / 9, abs=1e-6
    )


def test_the_aiag_averages_and_ranges(aiag):
    """Printed to three or four digits (from memory)."""
    found = average_range(aiag)
    assert [published(r, 3) for r in found.mean_ranges] == ["0.184", "0.513", "0.328"]
    assert published(found.mean_range, 4) == "0.3417"
    # Printed 0.4446, the difference of averages that were rounded before.
    assert found.difference_of_people == pytest.approx(0.4446, abs=1e-4)
    assert published(found.range_of_settings, 3) == "3.511"
    assert study_shares(aiag) == ["17.6", "20.0", "26.7", "96.4"]
    assert gauge_study(aiag, None, "average-range").distinct_categories == pytest.approx(
        5.094, abs=1e-3
    )


def study_shares(readings: Readings) -> list[str]:
    study = gauge_study(readings, None, "average-range")
    parts = [study.component(p) for p in ("repeatability", "people", "gauge", "settings")]
    return [published(100 * study.share_of_study(c), 1) for c in parts]


def test_the_aiag_ranges_from_the_manuals_rounded_figures():
    """The sheet goes on from rounded figures; from these every printed digit follows."""
    found = {c.part: c.deviation for c in range_components(0.3417, 0.4446, 3.511, (10, 3, 3))}
    printed = {
        "repeatability": "0.20188",
        "people": "0.22963",
        "gauge": "0.30575",
        "settings": "1.10456",
        "total": "1.14610",
    }
    for part, digits in printed.items():
        assert found[part] == pytest.approx(float(digits), abs=1.01e-5), part
    total = found["total"]
    shares = [100 * found[p] / total for p in ("repeatability", "people", "gauge", "settings")]
    assert shares == pytest.approx([17.62, 20.04, 26.68, 96.38], abs=0.006)


def test_the_published_constants():
    """K1 and K2 for 2 and 3, K3 for 2 to 10 (AIAG MSA); D4 as in any table of control charts."""
    assert [range_constant(n) for n in (2, 3)] == [0.8862, 0.5908]
    table = [0.7071, 0.5231, 0.4467, 0.4030, 0.3742, 0.3534, 0.3375, 0.3249, 0.3146]
    assert [range_constant(n, 1) for n in range(2, 11)] == table
    assert [round(range_limit(n), 3) for n in (2, 3, 5)] == [3.267, 2.575, 2.114]


def test_houf_and_bermans_components_and_intervals():
    """Intervals from memory of Burdick, Borror and Montgomery (2003): settings 48.29
    (22.69 to 161.64), gauge 1.80 (to 27.02)."""
    study = gauge_study(readings_of(rows_of(HOUF)), None, "with-interaction")
    settings, gauge = study.component("settings"), study.component("gauge")
    assert settings.variance == pytest.approx((437.328 - 2.695) / 9, abs=1e-3)
    assert settings.interval == pytest.approx((22.69, 161.64), abs=0.005)
    assert gauge.variance == pytest.approx(1.80, abs=0.005)
    assert gauge.interval[1] == pytest.approx(27.02, abs=0.005)


def test_a_single_mean_squares_interval_is_exact():
    """60 degrees of freedom: chi-squared between 40.482 and 83.298 (any table)."""
    study = gauge_study(readings_of(rows_of(HOUF)), None, "with-interaction")
    repeat = study.component("repeatability")
    sum_of_squares = repeat.variance * 60
    assert repeat.interval == pytest.approx(
        (sum_of_squares / 83.298, sum_of_squares / 40.482), rel=1e-4
    )


def test_the_interaction_is_what_was_put_in():
    """Two by two by two without error: the means deviate by exactly +-1 in a cross.

    Each cell's mean is +1 or -1: sum of squares 8, one degree of freedom, two shots a cell; shots
    of +-0.5 about it give 4 * 2 * 0.25 = 2 in 4 degrees of freedom.
    """
    rows = [
        (f"s{i}", f"p{j}", (1.0 if i == j else -1.0) + e)
        for i in range(2)
        for j in range(2)
        for e in (-0.5, 0.5)
    ]
    study = gauge_study(readings_of(rows), None, "with-interaction")
    assert study.table.line("interaction").value == pytest.approx(8.0)
    assert study.table.line("shots").value == pytest.approx(0.5)
    assert study.component("interaction").variance == pytest.approx((8.0 - 0.5) / 2)
    assert study.component("people").estimated == pytest.approx(-8.0 / 4)


def drawn_rows(
    rng: np.random.Generator,
    deviations: tuple[float, float, float, float],
    cells: list[tuple[int, int, int]],
) -> list[Row]:
    """Readings of a study with these deviations of settings, people, interaction, shots."""
    settings = rng.normal(0, deviations[0], 40)
    people = rng.normal(0, deviations[1], 40)
    found = []
    for i, j, count in cells:
        middle = 5.0 + settings[i] + people[j] + rng.normal(0, deviations[2])
        for _ in range(count):
            found.append((f"s{i:02d}", f"p{j}", float(middle + rng.normal(0, deviations[3]))))
    return found


UNEQUAL = [(i, j, 1 + (i + j) % 3) for i in range(8) for j in range(4)]
GAPS = [(i, j, 1 + (i * j) % 2) for i in range(8) for j in range(4) if (i + 2 * j) % 5]
TRUTH = (1.0, 0.5, 0.4, 0.3)


@pytest.mark.parametrize(
    ("cells", "estimator"),
    [
        ([(i, j, 2) for i in range(8) for j in range(4)], BALANCED),
        (UNEQUAL, UNWEIGHTED),
        (GAPS, FITTING),
    ],
    ids=["balanced", "unequal", "missing"],
)
def test_components_are_right_on_average(cells, estimator):
    """Estimates before they are cut at 0 have no bias, and intervals hold the truth as often as
    they claim. 200 drawn studies: four standard errors of a mean, and of a share of 95 %."""
    rng = np.random.default_rng(11)
    found, inside = [], []
    for _ in range(200):
        table = crossed_table(readings_of(drawn_rows(rng, TRUTH, cells)), interaction=True)
        assert table.estimator == estimator
        by_part = {c.part: c for c in components_of(table)}
        parts = [by_part[p] for p in ("settings", "people", "interaction", "repeatability")]
        found.append([c.estimated for c in parts])
        inside.append(
            [c.interval[0] <= d**2 <= c.interval[1] for c, d in zip(parts, TRUTH, strict=True)]
        )
    error = np.mean(found, axis=0) - np.square(TRUTH)
    assert np.all(np.abs(error) < 4 * np.std(found, axis=0) / 14)
    assert np.all(np.mean(inside, axis=0) > 0.95 - 4 * 0.0154)


def test_a_nested_study_by_hand():
    """Two people, two settings each, two shots. Means 1 and 3, 11 and 13, shots +-0.1.

    People: 8 readings 5 from the mean, 200 / 1. Settings within: 8 readings 1 off, 8 / 2. Shots:
    8 * 0.01 / 4.
    """
    rows = [
        (f"{p}{i}", p, middle + e)
        for p, i, middle in (("A", 1, 1.0), ("A", 2, 3.0), ("B", 1, 11.0), ("B", 2, 13.0))
        for e in (-0.1, 0.1)
    ]
    readings = readings_of(rows)
    assert readings.nested
    study = gauge_studies(readings, None).chosen
    assert study.method == "nested"
    lines = {line.source: line.value for line in study.table.lines}
    assert lines == pytest.approx({"people": 200.0, "settings": 4.0, "shots": 0.02})
    assert study.component("settings").variance == pytest.approx((4.0 - 0.02) / 2)
    assert study.component("people").variance == pytest.approx((200.0 - 4.0) / 4)


def test_unbalanced_nested_studies_are_right_on_average():
    rng = np.random.default_rng(5)
    cells = [(3 * j + k, j, 1 + (j + k) % 3) for j in range(5) for k in range(3)]
    found = []
    for _ in range(200):
        readings = readings_of(drawn_rows(rng, (1.0, 0.5, 0.0, 0.3), cells))
        components = components_of(nested_table(readings))
        found.append([c.estimated for c in components if c.part in ("people", "settings")])
    error = np.mean(found, axis=0) - [0.25, 1.0]
    assert np.all(np.abs(error) < 4 * np.std(found, axis=0) / 14)


def test_order_and_names_of_rows_do_not_matter(aiag):
    rows = rows_of(AIAG)
    turned = [(p[::-1], s[::-1], v) for p, s, v in reversed(rows)]
    first = gauge_study(aiag, None, "with-interaction")
    other = gauge_study(readings_of(turned), None, "with-interaction")
    for a, b in zip(first.components, other.components, strict=True):
        assert a.part == b.part
        assert a.estimated == pytest.approx(b.estimated, abs=1e-12)


def test_shares_of_the_tolerance():
    """0.05 mm of repeatability alone, tolerance 0.5 mm: 6 * 0.05 / 0.5."""
    rows = [("s", "p", 1.0 + e) for e in (-0.05, 0.0, 0.05)]
    study = gauge_studies(readings_of(rows), 0.5).chosen
    assert study.share_of_tolerance(study.component("gauge")) == pytest.approx(0.6)
    assert study.component("people") is None
    assert study.distinct_categories is None


def test_one_shot_a_cell_leaves_no_interaction():
    rows = [(f"s{i}", f"p{j}", float(i) + 0.1 * j * i) for i in range(4) for j in range(3)]
    studies = gauge_studies(readings_of(rows), 1.0)
    assert studies.chosen.method == "without-interaction"
    assert "twice" in studies.missing["with-interaction"]
    assert "average-range" in studies.missing


def test_equal_readings_have_no_spread_and_no_shares():
    rows = [(f"s{i}", f"p{j}", 0.8) for i in range(3) for j in range(2) for _ in range(2)]
    studies = gauge_studies(readings_of(rows), 0.5)
    study = studies.chosen
    assert all(c.variance == 0.0 for c in study.components)
    assert study.share_of_study(study.component("gauge")) is None
    assert study.distinct_categories is None
    assert study.ratios is None


def test_people_who_share_no_setting_cannot_be_compared_crossed():
    with pytest.raises(StudyError) as refused:
        crossed_table(
            readings_of([("a", "A", 1.0), ("a", "A", 1.1), ("b", "B", 2.0), ("b", "B", 2.2)]),
            interaction=False,
        )
    assert refused.value.code == "no-overlap"


def test_one_setting_for_each_person_tells_neither():
    with pytest.raises(StudyError) as refused:
        nested_table(
            readings_of([("a", "A", 1.0), ("a", "A", 1.1), ("b", "B", 2.0), ("b", "B", 2.2)])
        )
    assert refused.value.code == "one-setting-each"


@pytest.mark.parametrize("rows", [[], [("s", "p", float("nan"))], [("s", "p", 1.0)]])
def test_what_is_no_study_is_refused_in_a_sentence(rows):
    with pytest.raises(StudyError) as refused:
        gauge_studies(readings_of(rows), 0.5)
    assert refused.value.text.endswith(".")
    assert refused.value.remedy


def test_studies_drawn_again_scatter_about_what_was_found(aiag):
    """The middle of 60 degrees of freedom: 95 % of deviations within 18 % of the truth."""
    table = crossed_table(aiag, interaction=True)
    found = again(table, effect_columns(aiag))
    low, high = found["shots"]
    assert low == pytest.approx(0.214435 * (40.482 / 60) ** 0.5, rel=0.02)
    assert high == pytest.approx(0.214435 * (83.298 / 60) ** 0.5, rel=0.02)
    assert found["settings"][0] < 1.043395 < found["settings"][1]


def test_intervals_of_ratios_hold_what_they_claim():
    """Settings over gauge; 200 drawn studies, four standard errors of 95 %."""
    rng = np.random.default_rng(17)
    cells = [(i, j, 2) for i in range(8) for j in range(4)]
    truth = 1.0 / np.sqrt(0.25 + 0.16 + 0.09)
    inside = 0
    for _ in range(200):
        table = crossed_table(readings_of(drawn_rows(rng, TRUTH, cells)), interaction=True)
        low, high = ratio_intervals(table).settings_of_gauge
        inside += low <= truth <= high
    assert inside / 200 > 0.95 - 4 * 0.0154


def test_two_like_mean_squares_count_as_one_of_both_their_freedoms():
    """Where hardly anything is taken off, two equal halves with 6 degrees of freedom each are one
    whole with 12: 2 - 2 (1 - 12 / 23.337), the chi-squared value from any table."""
    values, freedoms = np.array([1.0, 1.0, 1e-9]), np.array([6.0, 6.0, 10.0])
    end = 2.0 * 12 / 23.337
    low, _ = variance_interval(np.array([1.0, 1.0, -1.0]), values, freedoms)
    _, high = variance_interval(np.array([-1.0, -1.0, 1.0]), values, freedoms)
    assert (low, -high) == pytest.approx((end, end), rel=1e-4)


def test_settings_over_shots_of_one_person_is_the_exact_f_interval():
    """(F / F.975(9, 20) - 1) / 3 and (F F.975(20, 9) - 1) / 3, quantiles 2.837 and 3.667 from
    any table; drawn ends wander by a hundredth or two."""
    rows = [row for row in rows_of(HOUF) if row[1] == "A"]
    table = crossed_table(readings_of(rows), interaction=True)
    f = table.line("settings").value / table.line("shots").value
    found = ratio_intervals(table).settings_of_gauge
    assert found[0] == pytest.approx(((f / 2.837 - 1) / 3) ** 0.5, rel=0.02)
    assert found[1] == pytest.approx(((f * 3.667 - 1) / 3) ** 0.5, rel=0.02)


def test_why_nothing_can_be_told_is_the_cause_of_the_simplest_way():
    """Three single shots of two settings by two people: nothing is left over."""
    with pytest.raises(StudyError) as refused:
        gauge_studies(readings_of([("a", "A", 1.0), ("a", "B", 1.1), ("b", "A", 2.0)]), 0.5)
    assert refused.value.code == "nothing-repeated"
