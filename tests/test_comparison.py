"""A door before and after: differences and their uncertainties, by hand."""

from __future__ import annotations

import json
from dataclasses import replace
from math import sqrt
from typing import Any

import pytest

from rigvision.decision.result import (
    GapResult,
    PhotoFacts,
    StationResult,
    TurnsResult,
    ViewResult,
    YokeResult,
)
from rigvision.records.comparison import Change, changes, expected_after
from rigvision.report.saved_result import SavedResult


def result(gap: tuple[float, float, float] | None, **changed: Any) -> SavedResult:
    """A result with this gap, its expanded uncertainty and coverage factor."""
    mean, expanded, factor = gap or (None, None, None)
    stations = (StationResult(-36.0, mean, expanded, factor),)
    figures = GapResult(mean, expanded, factor, None, 0.55, 1.05, None, None, stations)
    return replace(
        SavedResult(
            schema="rigvision.check/1",
            photo=PhotoFacts("photo.jpg", "ab" * 32, 4000, 3000, None),
            gauge="RG-10",
            frame="DF-10",
            door=3,
            camera="generic-phone",
            verdict="pass",
            borderline=False,
            reasons=(),
            gap=figures,
            yoke=YokeResult(),
            turns=TurnsResult(None, None, None, None, ""),
            uncertainty_budget=(),
            view=ViewResult(None, None, None, ()),
            version="0",
        ),
        **changed,
    )


def clock(degrees: float) -> YokeResult:
    return YokeResult(
        clock_deg=degrees, clock_expanded_uncertainty_deg=1.0, clock_coverage_factor=2.0
    )


def change(found: list[Change], key: str) -> Change:
    return next(c for c in found if c.key == key)


def test_uncertainties_of_a_difference_add_up_in_squares() -> None:
    """u: 0.03 and 0.04 make 0.05; the larger factor, 2.5, makes that 0.125."""
    gap = change(changes(result((1.30, 0.06, 2.0)), result((0.80, 0.10, 2.5))), "gap")
    assert gap.change == pytest.approx(-0.50, abs=1e-12)
    assert gap.change_expanded_uncertainty == pytest.approx(0.125, abs=1e-12)
    assert gap.beyond_doubt
    assert (gap.before, gap.after, gap.unit) == (1.30, 0.80, "mm")


@pytest.mark.parametrize(("after", "beyond"), [(0.86, False), (0.884, False), (0.886, True)])
def test_beyond_doubt_is_more_than_the_uncertainty(after: float, beyond: bool) -> None:
    """Twice sqrt(2) times 0.03 is 0.0849."""
    gap = change(changes(result((0.80, 0.06, 2.0)), result((after, 0.06, 2.0))), "gap")
    assert gap.change_expanded_uncertainty == pytest.approx(0.06 * sqrt(2.0), abs=1e-12)
    assert gap.beyond_doubt is beyond


def test_what_was_measured_once_has_no_difference() -> None:
    gap = change(changes(result((1.30, 0.06, 2.0)), result(None)), "gap")
    assert (gap.before, gap.after, gap.change, gap.beyond_doubt) == (1.30, None, None, None)
    station = change(
        changes(replace(result(None), gap=None), result((0.8, 0.06, 2.0))), "gap at -36"
    )
    assert (station.before, station.after, station.change) == (None, 0.8, None)


def test_without_a_coverage_factor_the_doubt_is_not_known() -> None:
    before = result((1.30, 0.06, 2.0))
    assert before.gap is not None
    after = replace(before, gap=replace(before.gap, coverage_factor=None, mean_mm=0.8))
    gap = change(changes(before, after), "gap")
    assert gap.change == pytest.approx(-0.5, abs=1e-12)
    assert (gap.change_expanded_uncertainty, gap.beyond_doubt) == (None, None)


@pytest.mark.parametrize(
    ("before", "after", "flats", "turned"),
    [
        (40.0, -40.0, 4, 10.0),  # over the edge between two flats: 80 the other way is 10
        (-44.0, 44.0, 4, -2.0),
        (10.0, -10.0, 4, -20.0),
        (40.0, -40.0, None, -80.0),  # nothing is known of flats
        (29.0, -29.0, 6, 2.0),
    ],
)
def test_the_clock_comes_round_again_after_a_flat(
    before: float, after: float, flats: int | None, turned: float
) -> None:
    found = changes(result(None, yoke=clock(before)), result(None, yoke=clock(after)), flats)
    assert change(found, "clock").change == pytest.approx(turned, abs=1e-9)


def test_turns_are_no_state_that_changes() -> None:
    assert not [c for c in changes(result(None), result(None)) if c.key == "turns"]


def test_what_was_foreseen_stands_beside_what_was_found() -> None:
    turns = TurnsResult(
        0.5,
        0.01,
        "close",
        "gap+clock",
        "",
        gap_after_mm=0.84,
        gap_after_expanded_uncertainty_mm=0.08,
    )
    before = result((1.53, 0.08, 2.0), turns=turns)
    found = expected_after(before, result((0.78, 0.06, 2.0)))
    assert found is not None
    assert (found.before, found.after) == (0.84, 0.78)
    assert found.change_expanded_uncertainty == pytest.approx(0.10, abs=1e-12)
    assert found.beyond_doubt is False
    assert expected_after(result((0.8, 0.06, 2.0)), before) is None
    missing = expected_after(before, result(None))
    assert missing is not None
    assert (missing.after, missing.change) == (None, None)


def test_a_change_is_json() -> None:
    (gap, *_) = changes(result((1.30, 0.06, 2.0)), result((0.80, 0.06, 2.0)))
    plain = json.loads(json.dumps(gap.as_json(), allow_nan=False))
    assert plain["beyond_doubt"] is True
    assert plain["key"] == "gap"
