"""Campaigns of disturbed photos: what is made in which order, and what counts as what."""

from __future__ import annotations

import json
from collections import Counter

import pytest
from campaign import robustness, store
from campaign.disturbances import CONTROLS_A_ROUND, campaign_of, checked
from campaign.record import Figure, Record

from rigvision.synthetic.disturbance import DISTURBANCES, UNDISTURBED, disturbed_photo

SIZE_PX = (1600, 1200)
ROUND = 3 * len(DISTURBANCES) + CONTROLS_A_ROUND


def gap(error_mm: float, expanded_mm: float = 0.1) -> Figure:
    return Figure("gap", 0.8, 0.8 + error_mm, expanded_mm, 2.0)


def record(verdict: str, true: str, *codes: str, figures=(), kind="dark:3") -> Record:
    return Record(
        f"{verdict}-{true}-{'-'.join(codes)}",
        verdict,
        true,
        codes,
        figures,
        group=f"disturbed:{kind}",
        accepted_codes=("too-dark", "no-gauge"),
    )


def test_every_round_has_each_disturbance_at_each_strength_and_some_controls():
    campaign = campaign_of(0, ROUND, 1, None, None, SIZE_PX, "RG-10", "DF-10")
    for start in (0, ROUND, 17):
        kinds = Counter(campaign.kind(number) for number in range(start, start + ROUND))
        assert kinds.pop((UNDISTURBED, 0)) == CONTROLS_A_ROUND
        assert kinds == {(name, s): 1 for name in DISTURBANCES for s in (1, 2, 3)}


def test_some_alone_can_be_asked_for_and_others_are_refused():
    campaign = campaign_of(0, 9, 1, ["dark"], [2], SIZE_PX, "RG-10", "DF-10")
    assert {campaign.kind(n) for n in range(20)} == {("dark", 2), (UNDISTURBED, 0)}
    with pytest.raises(SystemExit, match="rain"):
        campaign_of(0, 9, 1, ["rain"], None, SIZE_PX, "RG-10", "DF-10")


def test_what_was_said_of_disturbed_photos_is_counted():
    tally = robustness.tally_of(
        [
            record("pass", "pass", figures=(gap(0.05),)),
            record("pass", "adjust", figures=(gap(-0.3),)),
            record("adjust", "pass", "gap-high", figures=(gap(0.15),)),
            record("retake", "pass", "too-dark", "gap-low", figures=(gap(0.9),)),
            record("retake", "adjust", "gauge-not-seated", figures=(gap(0.9),)),
            record("error", "adjust", "damaged"),
        ]
    )
    assert (tally.photos, tally.read, tally.right_verdict) == (6, 3, 1)
    assert (tally.wrong_passes, tally.needless_adjusts) == (1, 1)
    assert (tally.right_reason, tally.wrong_reason) == (1, 2)
    # What a refused photo says is not relied on.
    assert (tally.figures, tally.inside) == (3, 1)
    assert tally.gap_worst_mm == pytest.approx(-0.3)
    assert tally.gap_rms_mm == pytest.approx(((0.05**2 + 0.3**2 + 0.15**2) / 3) ** 0.5)


def test_an_adjust_code_or_note_is_no_reason_to_refuse():
    """A retake may also say that the gap is high; only what makes it a retake is judged."""
    said = record("retake", "adjust", "gap-high", "stations-lost", "edge-hidden")
    assert robustness.retake_codes(said) == ("edge-hidden",)


def test_aims_are_reached_or_missed_by_the_counts():
    good = [record("pass", "pass", figures=(gap(0.01),), kind="dark:1") for _ in range(100)]
    good += [record("retake", "pass", "too-dark") for _ in range(20)]
    good += [record("adjust", "adjust", figures=(gap(0.01),), kind="none:0") for _ in range(9)]
    assert robustness.aims_table(robustness.cells_of(good)).count("| reached |") == 6
    bad = [
        record("pass", "adjust", figures=(gap(0.2),), kind="dark:1"),
        record("retake", "pass", "too-dark", kind="dark:2"),
        record("retake", "pass", "yoke-hidden"),
        record("retake", "adjust", "too-dark", kind="none:0"),
    ]
    assert robustness.aims_table(robustness.cells_of(bad)).count("**missed**") == 6


def test_photos_of_a_screen_are_counted_apart():
    """They are refused at every strength, and rightly: reading is not what is wanted of them."""
    read = [record("pass", "pass", figures=(gap(0.01),), kind="dark:1") for _ in range(9)]
    screens = [record("retake", "pass", "screen", kind="screen:2")]
    rows = robustness.aims_table(robustness.cells_of(read + screens)).splitlines()
    assert "90.0% | 10 | at least 97% | **missed**" in next(r for r in rows if "1 and 2" in r)
    assert "100.0% | 9 | at least 97% | reached" in next(r for r in rows if "screen" in r)


def test_a_checked_photo_names_its_disturbance_and_comes_back_from_its_file(tmp_path, gauge, frame):
    made = disturbed_photo("dark", 3, 5, gauge, frame, size_px=SIZE_PX, samples=2)
    path = tmp_path / "dark.jpg"
    path.write_bytes(made.jpeg)
    found = checked(path, json.loads(json.dumps(made.truth)))
    assert found.group == "disturbed:dark:3"
    assert found.accepted_codes == DISTURBANCES["dark"].accepted_codes
    assert found.seconds is not None
    assert found.seconds > 0
    store.save(tmp_path / "part.json", "./scripts/disturbances --quick 1", [found])
    _, back = store.load([tmp_path / "part.json"])
    assert [(r.group, r.codes, r.accepted_codes) for r in back] == [
        (found.group, found.codes, found.accepted_codes)
    ]
