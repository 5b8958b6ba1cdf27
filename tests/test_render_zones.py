"""Random path-traced shots: what each zone draws. Nothing is rendered here."""

from __future__ import annotations

import numpy as np
import pytest
from render.rig import load_rig
from render.shots import ZONES, random_shot

SIZE_PX = (4000, 3000)


@pytest.fixture(scope="module")
def rig():
    return load_rig()


@pytest.mark.parametrize(
    ("zone", "distance_mm", "tilt_deg", "gap_mm"),
    [
        ("nominal", (180, 350), 25, (0.35, 1.6)),
        ("hard", (160, 450), 45, (0.25, 4.0)),
        ("any", (160, 450), 40, (0.25, 4.0)),
    ],
)
def test_shots_keep_to_their_zone_and_fill_it(zone, distance_mm, tilt_deg, gap_mm, rig):
    shots = [random_shot(i, 3, rig, SIZE_PX, zone) for i in range(150)]
    for values, (low, high) in (
        ([s.view.distance_mm for s in shots], distance_mm),
        ([s.view.tilt_deg for s in shots], (0, tilt_deg)),
        ([s.state.gap for s in shots], gap_mm),
    ):
        assert low <= min(values) < low + 0.2 * (high - low)
        assert high - 0.2 * (high - low) < max(values) <= high
    assert {s.look.soil for s in shots} == set(ZONES[zone].soils)
    assert {s.look.light for s in shots} == set(ZONES[zone].lights)
    assert {s.zone for s in shots} == {zone}


def test_nominal_shots_have_neither_glare_nor_grease(rig):
    shots = [random_shot(i, 4, rig, SIZE_PX, "nominal") for i in range(100)]
    assert all(s.look.pad_gloss == 0.0 for s in shots)
    assert not {"glare", "shadow", "dim hangar"} & {s.look.light for s in shots}
    assert "greasy" not in {s.look.soil for s in shots}


@pytest.mark.parametrize("zone", ZONES)
def test_every_mark_is_in_the_picture(zone, rig):
    half = rig.mark_pad / 2
    signs = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    pads = [np.array([x, y]) + half * signs for _, x, y in rig.mark_centres]
    flat = np.concatenate(pads)
    points = np.column_stack([flat, np.zeros(len(flat))])
    for index in range(150):
        seen = random_shot(index, 5, rig, SIZE_PX, zone).view.project(points)
        assert (seen > 0).all()
        assert (seen < np.array(SIZE_PX) - 1).all()


def test_zones_are_series_of_their_own_and_a_seed_gives_the_same_shots(rig):
    gaps = {zone: random_shot(0, 9, rig, SIZE_PX, zone).state.gap for zone in ZONES}
    assert len(set(gaps.values())) == len(ZONES)
    assert random_shot(0, 9, rig, SIZE_PX, "hard").state.gap == gaps["hard"]
