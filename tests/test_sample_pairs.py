"""Every pair of sample pictures as before and after: a change errs no more than it claims."""

from __future__ import annotations

import json
from functools import cache
from itertools import combinations
from math import sqrt
from typing import Any

import pytest

from rigvision.records.comparison import changes
from rigvision.report.as_json import as_json
from rigvision.report.saved_result import SavedResult, parse_saved
from tests.half_size import SAMPLES
from tests.photos import checked

TRUE = {
    "gap": ("gap", "mean_mm"),
    "taper": ("gap", "taper_mm"),
    "lateral_offset": ("yoke", "lateral_offset_mm"),
    "tilt": ("yoke", "tilt_deg"),
    "seat_gap": ("yoke", "seat_gap_mm"),
}


@cache
def measured() -> list[tuple[SavedResult, dict[str, Any]]]:
    """Results of all samples that are no retake, with what is true of them."""
    found = []
    for path in sorted(SAMPLES.glob("*.jpg")):
        (saved,) = parse_saved(json.dumps(as_json(checked(path))).encode())
        assert isinstance(saved, SavedResult)
        if saved.verdict != "retake":
            truth = path.with_suffix(".truth.json").read_text(encoding="utf-8")
            found.append((saved, json.loads(truth)))
    return found


@pytest.mark.parametrize("key", TRUE)
def test_changes_err_no_more_than_they_claim(key: str) -> None:
    """RMS of error over u at most 1, and 95 % inside U, over all 171 pairs."""
    table, name = TRUE[key]
    over_u, inside = [], []
    for (before, true_before), (after, true_after) in combinations(measured(), 2):
        change = next(c for c in changes(before, after, 4) if c.key == key)
        if change.change is None or change.change_expanded_uncertainty is None:
            continue
        error = change.change - (true_after[table][name] - true_before[table][name])
        over_u.append(2.0 * error / change.change_expanded_uncertainty)
        inside.append(abs(error) <= change.change_expanded_uncertainty)
    assert len(over_u) > 150
    assert sqrt(sum(x * x for x in over_u) / len(over_u)) <= 1.0
    assert sum(inside) >= 0.95 * len(inside)
