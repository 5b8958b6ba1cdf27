"""The slot's edges on disturbed quick photos: right, or lost with the cause that is at work.

A gap accepted counts as right within 0.2 mm here: three standard uncertainties of these pictures
of three million pixels. Each of those called *other edge* was read 0.66 to 1.1 mm wrong by a
search that took the strongest borders for the edges.
"""

from __future__ import annotations

import pytest

import rigvision
from rigvision.synthetic.disturbance import disturbed_photo

SIZE_PX = (2400, 1800)


@pytest.fixture(scope="module")
def taken(tmp_path_factory, gauge, frame):
    """A disturbed photo's result and truth."""
    folder = tmp_path_factory.mktemp("disturbed")

    def take(name: str, strength: int, seed: int):
        photo = disturbed_photo(name, strength, seed, gauge, frame, size_px=SIZE_PX, samples=2)
        path = folder / f"{name}-{strength}-{seed}.jpg"
        path.write_bytes(photo.jpeg)
        return rigvision.check(path), photo.truth

    return take


@pytest.mark.parametrize(
    ("name", "strength", "seed"),
    [("shadow-along-edge", 2, 5006), ("shadow-along-edge", 3, 5008), ("scratches", 3, 5008)],
    ids=["other edge, shadow", "other edge, near shadow", "other edge, scratches"],
)
def test_lines_along_the_gap_are_not_its_edges(taken, name, strength, seed):
    result, truth = taken(name, strength, seed)
    assert result.gap.mean_mm == pytest.approx(truth["gap"]["mean_mm"], abs=0.2)


@pytest.mark.parametrize(("strength", "seed"), [(1, 5001), (2, 5004), (3, 5004)])
def test_a_slot_before_a_light_duct_is_read(taken, strength, seed):
    """Half, 0.9 and 1.6 times as bright as the door; all were refused for want of contrast."""
    result, truth = taken("light-duct", strength, seed)
    assert result.gap.mean_mm == pytest.approx(truth["gap"]["mean_mm"], abs=0.2)
    assert not result.evidence.slot.lost


def test_grease_at_two_stations_leaves_the_others(taken):
    result, truth = taken("grease-on-edge", 2, 5001)
    assert 1 <= len(result.evidence.slot.lost) <= 3
    assert result.gap.mean_mm == pytest.approx(truth["gap"]["mean_mm"], abs=0.2)


def test_glare_along_the_gap_loses_the_stations_it_covers(taken):
    """Twelve times as bright as a white pad over 25 mm to either side."""
    result, _ = taken("glare-on-edges", 3, 5003)
    slot = result.evidence.slot
    assert "saturated" in {station.cause for station in slot.lost}
    covered = [s for s in slot.lost if s.cause == "saturated"]
    for station in covered:
        assert any(low - 2.4 <= station.x_mm <= high + 2.4 for low, high in slot.glare_mm)
    assert result.verdict == "retake"


def test_a_rag_loses_the_stations_under_it_and_no_other(taken):
    """Three of seven; the rest gives the gap, with more doubt than all would."""
    result, truth = taken("rag-over-gap", 2, 5003)
    slot = result.evidence.slot
    assert 3 <= len(slot.lost) <= 4
    assert {station.cause for station in slot.lost} <= {"no-contrast", "disagrees", "dark"}
    assert result.gap.mean_mm == pytest.approx(truth["gap"]["mean_mm"], abs=0.2)


def test_grains_all_over_the_edges_are_not_read(taken):
    result, _ = taken("dust-on-edges", 3, 5005)
    assert result.verdict == "retake"
    assert len(result.evidence.slot.stations) < 4
