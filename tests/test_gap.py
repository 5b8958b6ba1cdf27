"""The gap from hand-made edges: square to the sill, signs, lost stations, budget."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigvision.ground.measured import correlation
from rigvision.metrology.gap import GapModel, GapTuning, measure_gap
from rigvision.vision.view import View
from rigvision.world.catalogue import load
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge
from tests.hand_made import gap_of, influence, pose_at, slot_of
from tests.views import view_at

GAUGE, FRAME = load(Gauge, "RG-10"), load(Frame, "DF-10")
X = np.asarray(FRAME.gap.stations_x_mm)


def test_the_mean_is_that_of_the_stations():
    gaps = np.array([0.70, 0.82, 0.75, 0.91, 0.68, 0.77, 0.80])
    gap = gap_of(GAUGE, FRAME, gaps)
    assert gap.mean_mm.value == pytest.approx(0.775714, abs=1e-6)
    assert [s.gap_mm.value for s in gap.stations] == pytest.approx(gaps.tolist(), abs=1e-12)
    assert [s.x_mm for s in gap.stations] == X.tolist()


def test_the_gap_is_square_to_a_sill_that_slopes():
    """A sill 3 deg off: across it, the gap is cos(3 deg) = 0.998630 of the one along y."""
    gap = gap_of(GAUGE, FRAME, np.full(7, 2.0), sill_mm=np.tan(np.radians(3.0)) * X)
    assert gap.mean_mm.value == pytest.approx(1.997259, abs=1e-6)


@pytest.mark.parametrize("slope", [0.15 / 72.0, -0.08 / 72.0])
def test_taper_is_the_gap_at_the_largest_x_minus_that_at_the_smallest(slope):
    gap = gap_of(GAUGE, FRAME, 0.8 + slope * X)
    assert gap.taper_mm.value == pytest.approx(72.0 * slope, abs=1e-9)


@given(
    st.floats(-0.3, 0.3),
    st.floats(0.4, 3.0),
    st.sets(st.integers(0, 6), max_size=4),
)
def test_lost_stations_do_not_shift_the_mean_or_taper_of_a_straight_gap(taper, gap_mm, lost):
    """Whichever are lost, ends too: the edges are straight."""
    gap = gap_of(GAUGE, FRAME, gap_mm + taper / 72.0 * X, lost=tuple(sorted(lost)))
    assert gap.mean_mm.value == pytest.approx(gap_mm, abs=1e-9)
    assert gap.taper_mm.value == pytest.approx(taper, abs=1e-9)
    assert [s.gap_mm is None for s in gap.stations] == [i in lost for i in range(7)]


def test_a_lost_end_widens_the_mean_s_uncertainty():
    """Read from six, said of seven."""
    whole = gap_of(GAUGE, FRAME, np.full(7, 0.8), sigma_mm=0.02)
    lame = gap_of(GAUGE, FRAME, np.full(7, 0.8), sigma_mm=0.02, lost=(5, 6))
    assert influence(lame.mean_mm, "edge fit") > 1.1 * influence(whole.mean_mm, "edge fit")


def test_a_lost_end_widens_the_taper_s_uncertainty_as_a_shorter_line_does():
    """Of stations at 12 mm, seven have 28 and four have 5 squares of it about their middle."""
    whole = gap_of(GAUGE, FRAME, np.full(7, 0.8), sigma_mm=0.02)
    lame = gap_of(GAUGE, FRAME, np.full(7, 0.8), sigma_mm=0.02, lost=(0, 1, 2))
    assert lame.mean_mm.value == pytest.approx(0.8, abs=1e-12)
    assert lame.taper_mm.value == pytest.approx(0.0, abs=1e-12)
    ratio = influence(lame.taper_mm, "edge fit") / influence(whole.taper_mm, "edge fit")
    assert ratio == pytest.approx((28 / 5) ** 0.5, rel=0.01)


def test_two_stations_tell_no_taper():
    """A line through two readings fits them whatever they are."""
    gap = gap_of(GAUGE, FRAME, np.full(7, 0.8), lost=(1, 2, 3, 4, 5))
    assert gap.taper_mm is None
    assert gap.mean_mm.value == pytest.approx(0.8, abs=1e-12)


@pytest.mark.parametrize("lost", [(0, 1, 2, 3, 4, 5), tuple(range(7))])
def test_fewer_than_two_stations_are_no_gap(lost):
    slot = slot_of(FRAME, np.full(7, 0.8), lost=lost)
    assert measure_gap(slot, pose_at(), GAUGE, FRAME) is None


@pytest.mark.parametrize(("offset", "tilt_deg"), [(0.12, 0.25), (-0.20, 0.10), (0.05, -0.40)])
def test_the_sill_s_place_and_tilt_keep_their_signs(offset, tilt_deg):
    """Up is positive, counter-clockwise is positive."""
    sill = offset + np.tan(np.radians(tilt_deg)) * X
    found = gap_of(GAUGE, FRAME, np.full(7, 0.8), sill_mm=sill).sill
    assert found.offset_mm.value == pytest.approx(offset, abs=1e-9)
    # slope against angle: 1e-4 deg at half a degree
    assert found.tilt_deg.value == pytest.approx(tilt_deg, abs=2e-4)


def test_edge_noise_averages_over_stations():
    """Two edges of 0.02 mm at each of 7 stations: 0.02 sqrt(2) / sqrt(7) = 0.010690 mm."""
    gap = gap_of(GAUGE, FRAME, np.full(7, 0.8), sigma_mm=0.02)
    assert influence(gap.mean_mm, "edge fit") == pytest.approx(0.010690, abs=1e-6)
    station = gap.stations[2].gap_mm
    assert influence(station, "edge fit") == pytest.approx(0.028284, abs=1e-6)


def test_edges_that_err_together_leave_the_gap_alone():
    """Sill and door shifted alike, fully correlated: no share in the gap."""
    slot = slot_of(FRAME, np.full(7, 0.8))
    together = replace(slot, covariance_mm2=np.full((14, 14), 0.05**2))
    gap = measure_gap(together, pose_at(), GAUGE, FRAME)
    assert influence(gap.mean_mm, "edge fit") == pytest.approx(0.0, abs=1e-6)


def test_a_worse_pose_widens_the_gap_in_proportion():
    near = gap_of(GAUGE, FRAME, np.full(7, 0.8), pose=pose_at())
    far = gap_of(GAUGE, FRAME, np.full(7, 0.8), pose=pose_at(scale=3.0))
    for source in ("pose", "focal length"):
        narrow, wide = (influence(g.mean_mm, source) for g in (near, far))
        assert wide == pytest.approx(3.0 * narrow, abs=1e-6 + 0.01 * wide)


def test_view_s_share_covers_what_other_views_read():
    """500 views drawn from the covariance re-read the same pixels; no formula in between.

    The spread of 500 draws is known to 3 %; the budget may be no smaller, and no more than
    1.15 times as large.
    """
    rng = np.random.default_rng(9)
    pose, slot = pose_at(scale=4.0), slot_of(FRAME, np.full(7, 3.0))
    points = np.array(
        [[s.x_mm, y, slot.plane_z_mm] for s in slot.stations for y in (s.sill_y_mm, s.door_y_mm)]
    )
    pixels = pose.view.project(points)
    root = np.linalg.cholesky(pose.covariance)
    read = []
    for _ in range(500):
        view = View(pose.view.parameters + root @ rng.standard_normal(11))
        y = view.on_plane_z(pixels, slot.plane_z_mm)[:, 1]
        read.append(np.mean(y[1::2] - y[::2]))
    gap = measure_gap(slot, pose, GAUGE, FRAME)
    told = np.hypot(
        influence(gap.mean_mm, "pose"),
        np.hypot(influence(gap.mean_mm, "focal length"), influence(gap.mean_mm, "lens")),
    )
    assert 0.93 * np.std(read) < told < 1.15 * np.std(read)


def test_a_steep_view_costs_certainty_about_the_round():
    """sqrt(1 + t^2) - 1 of the radius at slope t; nothing from straight ahead."""
    flat = gap_of(GAUGE, FRAME, np.full(7, 0.8), pose=pose_at(view_at(tilt_deg=1.0)))
    steep = gap_of(
        GAUGE, FRAME, np.full(7, 0.8), pose=pose_at(view_at(tilt_deg=40.0, azimuth_deg=90.0))
    )
    assert influence(flat.mean_mm, "edge radius") < 0.001
    assert influence(steep.mean_mm, "edge radius") > 5 * influence(flat.mean_mm, "edge radius")


def test_every_influence_has_a_source_a_kind_and_no_negative_size():
    gap = gap_of(GAUGE, FRAME, np.full(7, 0.8))
    for quantity in (gap.mean_mm, gap.taper_mm, gap.sill.offset_mm, gap.sill.tilt_deg):
        assert len({i.source for i in quantity.influences}) == len(quantity.influences)
        assert all(i.kind in "AB" and i.standard_uncertainty >= 0.0 for i in quantity.influences)


def test_mean_and_taper_hang_on_the_same_edges():
    """The last station read badly: what makes it too wide makes mean and taper too large.

    Evenly good stations leave the two uncorrelated, as the taper's weights are odd in x.
    """
    slot = slot_of(FRAME, np.full(7, 0.8))
    bad = slot.covariance_mm2.copy()
    bad[-1, -1] = 0.4**2
    even = measure_gap(slot, pose_at(), GAUGE, FRAME)
    worse = measure_gap(replace(slot, covariance_mm2=bad), pose_at(), GAUGE, FRAME)
    assert abs(correlation(even.mean_mm, even.taper_mm)) < 0.02
    assert correlation(worse.mean_mm, worse.taper_mm) > 0.5
    assert correlation(worse.mean_mm, worse.sill.offset_mm) < 0.0


def test_edge_definition_is_a_share_of_the_round():
    """No round, no doubt where the tangent plane lies."""
    sharp = FRAME.model_copy(update={"sill": FRAME.sill.model_copy(update={"edge_radius_mm": 0.0})})
    gap = gap_of(GAUGE, sharp, np.full(7, 0.8), tuning=GapTuning())
    assert influence(gap.mean_mm, "edge definition") == 0.0


# --------------------------------------- what the model says of an error is what it really does


def read_again(error: dict[str, float], true_points: np.ndarray, view: View) -> float:
    """Mean gap that the model gives for known errors, from edges that were read without them.

    ``true_points`` (7, 2, 3): sill and door as they are, seen by ``view``, read at the plane.
    """
    plane_z = FRAME.sill.face_z_mm - FRAME.sill.edge_radius_mm
    read = view.on_plane_z(view.project(true_points.reshape(-1, 3)), plane_z)[:, 1]
    base = slot_of(FRAME, np.full(7, 1.5))
    edges = tuple(
        replace(s, sill_y_mm=float(low), door_y_mm=float(high))
        for s, low, high in zip(base.stations, read[::2], read[1::2], strict=True)
    )
    model = GapModel(replace(base, stations=edges), pose_at(view), GAUGE, FRAME)
    errors = {s.name: np.zeros((1, len(s.root))) for s in model.sources}
    for name, value in error.items():
        errors[name] += value
    return float(model(errors)[0, 0])


def edges_at(gap_mm: float, plane_z: float) -> np.ndarray:
    """Points (7, 2, 3) of a straight slot."""
    points = np.zeros((7, 2, 3))
    points[..., 0], points[..., 2] = X[:, None], plane_z
    points[..., 1] = FRAME.sill.edge_y_mm + np.array([0.0, gap_mm])
    return points


STEEP = [
    view_at(tilt_deg=35.0, azimuth_deg=80.0, roll_deg=3.0),
    view_at(tilt_deg=30.0, azimuth_deg=-95.0, roll_deg=3.0),
]


@pytest.mark.parametrize("view", STEEP)
def test_a_door_that_stands_proud_is_read_right_once_that_is_known(view):
    """0.1 mm at a slope of 0.6: 0.06 mm of gap, up or down as the view looks."""
    points = edges_at(1.5, FRAME.sill.face_z_mm - FRAME.sill.edge_radius_mm)
    points[:, 1, 2] += 0.1
    assert abs(read_again({}, points, view) - 1.5) > 0.04
    assert read_again({"door flush": 0.1}, points, view) == pytest.approx(1.5, abs=1e-6)


@pytest.mark.parametrize("view", STEEP)
def test_faces_that_lie_deeper_are_read_right_once_that_is_known(view):
    points = edges_at(1.5, FRAME.sill.face_z_mm - FRAME.sill.edge_radius_mm - 0.5)
    assert abs(read_again({}, points, view) - 1.5) > 0.002
    assert read_again({"plane depth": -0.5}, points, view) == pytest.approx(1.5, abs=1e-6)


def test_a_hot_gauge_reads_short():
    """20 K of 11.5e-6: marks 0.023 % further apart than drawn, so all lengths read shorter."""
    plain = edges_at(4.0, FRAME.sill.face_z_mm - FRAME.sill.edge_radius_mm)
    found = read_again({"temperature": 20.0}, plain, STEEP[0])
    assert found == pytest.approx(4.0 * (1.0 + 20.0 * 11.5e-6), abs=1e-6)


@pytest.mark.parametrize("view", STEEP)
def test_a_larger_round_is_read_right_once_that_is_known(view):
    """Rounds of 0.35 mm for the drawn 0.25: one edge's outline and the other's tangent line,

    by the geometry of circle and line of sight; the reading allows for the drawn radius.
    """
    drawn, true = FRAME.sill.edge_radius_mm, 0.35
    points = edges_at(1.5, FRAME.sill.face_z_mm - true)
    sill_y, door_y = points[0, :, 1]
    for x_row in points:
        middle = np.array([x_row[0, 0], (sill_y + door_y) / 2, FRAME.sill.face_z_mm - true])
        slope = view.ray_slope_y(middle)
        outline = true * (np.sqrt(1.0 + slope**2) - 1.0)
        allowed = drawn * (np.sqrt(1.0 + slope**2) - 1.0)
        # From above the door shows its outline, out in the slot; from below the sill does.
        x_row[1 if slope > 0 else 0, 1] += (allowed - outline) * (1 if slope > 0 else -1)
    assert abs(read_again({}, points, view) - 1.5) > 0.01
    assert read_again({"edge radius": true - drawn}, points, view) == pytest.approx(1.5, abs=3e-4)
