"""Campaigns: what is drawn, what is kept of it, and what the tables count."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from campaign import across, store
from campaign.groups import grouped, marker
from campaign.record import Figure, Record, measure

from rigvision.synthetic import ZONES, random_case
from rigvision.synthetic.truth import truth_of

SIZE_PX = (800, 600)


def case(seed, zone, gauge, frame):
    return random_case(seed, gauge, frame, zone, size_px=SIZE_PX)


# ------------------------------------------------------------------------ what is drawn


def test_near_a_limit_one_length_is_within_0_15_mm_of_it_and_the_rest_is_well_inside(gauge, frame):
    limits, gap = frame.yoke_limits, frame.gap
    seen = set()
    for seed in range(80):
        drawn = case(seed, "near-limit", gauge, frame)
        truth = truth_of(drawn.scene, drawn.camera, gauge, frame)
        mean, yoke = truth["gap"]["mean_mm"], truth["yoke"]
        lengths_mm = {
            "gap-low": gap.lower_mm - mean,
            "gap-high": mean - gap.upper_mm,
            "taper": abs(truth["gap"]["taper_mm"]) - gap.taper_limit_mm,
            "lateral": abs(yoke["lateral_offset_mm"]) - limits.lateral_offset_mm,
            "seat": abs(yoke["seat_gap_mm"]) - limits.seat_gap_mm,
        }
        excess = sorted(lengths_mm.values())
        seen.add(max(lengths_mm, key=lengths_mm.__getitem__))
        assert abs(excess[-1]) < 0.152
        assert excess[-2] < -0.11
        assert abs(yoke["clock_deg"]) < 0.5 * limits.clock_deg
        assert abs(yoke["tilt_deg"]) < limits.tilt_deg
        assert yoke["engaged"]
    assert seen == {"gap-low", "gap-high", "taper", "lateral", "seat"}


@pytest.mark.parametrize(
    ("zone", "farthest_mm", "tilt_deg"), [("hard", 450, 45), ("clean", 350, 25)]
)
def test_a_zone_keeps_to_its_views(zone, farthest_mm, tilt_deg, gauge, frame):
    cameras = [case(seed, zone, gauge, frame).camera for seed in range(60)]
    assert max(c.tilt_deg for c in cameras) <= tilt_deg
    assert max(c.tilt_deg for c in cameras) > 0.8 * tilt_deg
    # a camera that would lose a mark steps back a little
    assert max(c.distance_mm for c in cameras) < 1.05 * farthest_mm


def test_the_clean_zone_has_no_tone_curve_no_sharpening_and_no_jpeg_to_speak_of(gauge, frame):
    for seed in range(20):
        drawn = case(seed, "clean", gauge, frame)
        development = drawn.camera.development
        assert (development.s_curve, development.sharpen) == (0.0, 0.0)
        assert development.jpeg_quality == 100
        assert drawn.scene.light.glare == 0.0


def test_zones_draw_different_scenes_and_the_same_seed_the_same(gauge, frame):
    series = [zone.series for zone in ZONES.values()]
    assert len(set(series)) == len(series)
    gaps = {zone: case(5, zone, gauge, frame).scene.gap_mm for zone in ZONES}
    assert len(set(gaps.values())) == len(gaps)
    assert gaps["hard"] == case(5, "hard", gauge, frame).scene.gap_mm


# ------------------------------------------------------------------------ what is kept


def record(name="a", group="quick:nominal", **changes) -> Record:
    figures = (Figure("gap", 0.8, 0.81, 0.03, 2.0), Figure("clock", 44.0, -45.0, 1.0, 2.0, 90.0))
    corners = ((0.01, -0.02, 0.005),)
    plain = Record(
        name, "adjust", "adjust", ("gap-high",), figures, corners, {"pose": 0.001}, {}, group
    )
    return replace(plain, **changes)


def test_records_come_back_from_their_file_as_they_were(tmp_path):
    made = [record("a"), record("b", "traced:hard", outside_mm=-0.25, left_over_spreads=1.5)]
    store.save(tmp_path / "part.json", "./scripts/accuracy --quick 2", made)
    commands, found = store.load([tmp_path / "part.json"])
    assert commands == ["./scripts/accuracy --quick 2"]
    assert found == made


def test_parts_add_up_and_a_picture_in_two_parts_counts_once(tmp_path):
    store.save(tmp_path / "1.json", "one", [record("a"), record("b")])
    store.save(tmp_path / "2.json", "two", [record("b"), record("c"), record("a", "quick:hard")])
    commands, found = store.load([tmp_path / "1.json", tmp_path / "2.json"])
    assert commands == ["one", "two"]
    assert [len(part) for part in grouped(found).values()] == [3, 1]


@pytest.mark.parametrize(
    "content",
    [
        "{}",
        "not JSON",
        '{"schema": "other/1", "records": []}',
        '{"schema": "rigvision.campaign/1", "command": "", "records": [{"name": "a"}]}',
    ],
)
def test_a_file_without_records_is_refused_by_name(tmp_path, content):
    path = tmp_path / "other.json"
    path.write_text(content)
    with pytest.raises(SystemExit, match=r"other\.json"):
        store.load([path])


def test_a_check_that_crashes_is_an_error_on_record_and_not_the_campaign_s_end(
    monkeypatch, gauge, frame
):
    def broken(*_):
        raise ZeroDivisionError("by nought")

    monkeypatch.setattr("campaign.record.rigvision.check", broken)
    drawn = case(1, "nominal", gauge, frame)
    truth = truth_of(drawn.scene, drawn.camera, gauge, frame)
    found = measure(Path("a.jpg"), truth, "a", "quick:nominal")
    assert found.verdict == "error"
    assert found.crash == "crash: ZeroDivisionError: by nought"
    assert record().crash is None


def test_blocks_are_named_for_source_and_zone():
    assert marker("quick:campaign") == "accuracy:quick"
    assert marker("traced:hard") == "accuracy:traced:hard"
    assert marker("samples") == "accuracy:samples"


# ------------------------------------------------------------------------ what is counted


def cells(table: str, row: str) -> list[str]:
    line = next(line for line in table.splitlines() if line.startswith(f"| {row}"))
    return [cell.strip() for cell in line.strip("|").split("|")][1:]


def passed(outside_mm: float, verdict: str) -> Record:
    truth = "adjust" if outside_mm > 0 else "pass"
    return record(
        f"{outside_mm}{verdict}", outside_mm=outside_mm, true_verdict=truth, verdict=verdict
    )


def test_wrong_passes_are_counted_by_their_distance_from_the_limit():
    table = across.wrong_passes_table(
        [
            passed(0.004, "pass"),
            passed(0.008, "adjust"),
            passed(0.015, "adjust"),
            passed(-0.005, "pass"),
            passed(0.05, "pass"),
            passed(-0.11, "adjust"),
        ]
    )
    assert cells(table, "within 0.01") == ["1", "1", "2", "1", "50.0%"]
    assert cells(table, "0.00 to 0.02") == ["1", "1", "3", "1", "33.3%"]
    assert cells(table, "0.04 to 0.06") == ["0", "0", "1", "1", "100.0%"]
    assert cells(table, "all") == ["2", "1", "4", "2", "50.0%"]
    assert "of all: 2 of 6 (33.33%; under 1% **missed**)" in table


def turned(name: str, error: float, spreads: float) -> Record:
    turns = Figure("turns", 0.5, 0.5 + error, 0.004, 2.0)
    return record(name, left_over_spreads=spreads, figures=(turns,))


def test_flats_count_as_right_or_wrong_and_by_how_well_the_scene_keeps_to_the_spread():
    records = [
        turned("a", 0.001, 0.4),
        turned("b", 0.25, 1.5),
        turned("c", -0.25, 2.5),
        replace(turned("d", 0.25, 0.2), verdict="retake"),
    ]
    table = across.flats_table({"quick:nominal": records})
    assert cells(table, "quick, nominal") == [
        *("1 of 1", "0 of 1", "0 of 1", "-", "1 of 2"),
        "**missed**",
    ]


def test_coverage_is_bold_where_it_is_neither_honest_nor_modest():
    rng = np.random.default_rng(2)

    def group(scale: float) -> list[Record]:
        errors = scale * rng.standard_normal(4000)
        return [
            record(str(i), figures=(Figure("gap", 1.0, 1.0 + e, 2.0, 2.0),))
            for i, e in enumerate(errors)
        ]

    table = across.coverage_table({"quick:nominal": group(1.0), "quick:hard": group(1.5)})
    assert "**" not in cells(table, "quick, nominal")[1]
    assert cells(table, "quick, hard")[1].count("**") == 4


def test_plots_are_drawn_small_and_come_out_the_same_again(tmp_path):
    pytest.importorskip("matplotlib")
    from campaign.plots import draw_all

    rng = np.random.default_rng(3)
    groups = {
        group: [
            record(
                str(i),
                group,
                view={"distance_mm": 200.0 + i, "tilt_deg": 0.1 * i, "blur_px": 1.0 + 0.001 * i},
                figures=(Figure("gap", 0.5 + 0.005 * i, 0.5 + 0.005 * i + e, 0.04, 2.0),),
            )
            for i, e in enumerate(0.02 * rng.standard_normal(number))
        ]
        for group, number in (("quick:nominal", 120), ("traced:nominal", 12), ("traced:hard", 9))
    }
    for folder in ("one", "two"):
        draw_all(groups, tmp_path / folder)
    files = sorted(Path(tmp_path / "one").glob("*.png"))
    assert len(files) == 5
    assert sum(f.stat().st_size for f in files) < 300_000
    for file in files:
        assert file.read_bytes() == (tmp_path / "two" / file.name).read_bytes()
