"""Several readings solved together: against one photo's figures, scipy, and drawn errors."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import least_squares

from rigvision.ground.measured import correlation
from rigvision.metrology.gap import measure_gap
from rigvision.metrology.joint import solve
from rigvision.metrology.joint_figures import joint_alignment, joint_gap, plane_depths
from rigvision.metrology.photo_reading import EDGES_DEPTH, _in_common, read_photos
from rigvision.metrology.reading import Pull, Reading
from rigvision.metrology.yoke import measure_yoke
from tests.hand_made import influence, socket_place, yoke_place
from tests.setups import VIEWS, off_plane, photo_of

SILL, DOOR = ("sill", 0.0), ("door", 0.0)


def reading(key: str, values, *pulls: Pull, places=(SILL, DOOR)) -> Reading:
    return Reading(key, places, np.asarray(values, dtype=float), pulls)


def pull(key, matrix, source: str = "noise") -> Pull:
    return Pull(source, "A", key, np.asarray(matrix, dtype=float))


# ---------------------------------------------------------------- the linear algebra


def test_own_noise_averages_and_what_is_shared_does_not():
    """Four readings of 0.02 each: 0.01. A shared 0.03 stays 0.03: together 0.031623."""
    readings = [
        reading(k, [1.0, 2.0], pull((k, "own"), 0.02 * np.eye(2)),
                pull("all", 0.03 * np.eye(2), "shared"))
        for k in "abcd"
    ]  # fmt: skip
    figure = solve(readings).measured(2.0, np.array([0.0, 1.0]))
    assert influence(figure, "noise") == pytest.approx(0.01, abs=1e-12)
    assert influence(figure, "shared") == pytest.approx(0.03, abs=1e-12)
    assert figure.standard_uncertainty == pytest.approx(0.0316228, abs=1e-7)


def test_the_better_reading_weighs_by_its_variance():
    """u = 0.1 and 0.2: weights 0.8 and 0.2, 0.8 * 1.0 + 0.2 * 1.5 = 1.1, u = 0.0894427."""
    solution = solve(
        [
            reading("a", [1.0], pull("a", [[0.1]]), places=(SILL,)),
            reading("b", [1.5], pull("b", [[0.2]]), places=(SILL,)),
        ]
    )
    assert solution.value(SILL) == pytest.approx(1.1, abs=1e-12)
    assert solution.measured(1.1, np.ones(1)).standard_uncertainty == pytest.approx(
        0.0894427, abs=1e-7
    )
    # (0.5)^2 / (0.01 + 0.04)
    assert solution.chi_squared == pytest.approx(5.0, abs=1e-9)
    assert solution.degrees_of_freedom == 1


def random_readings(rng: np.random.Generator, truth: np.ndarray, variables: dict) -> list[Reading]:
    """Five photos of four places, of which each lacks one, with shared and own influences.

    ``variables`` holds the unit variables of each key, drawn where they are missing.
    """
    shape = np.random.default_rng(44)  # the same set-up whatever is drawn
    places = tuple((f"place {k}", 0.0) for k in range(4))
    readings = []
    for photo in range(5):
        shown = [k for k in range(4) if k != photo]
        pulls = [
            pull("depth", shape.normal(0.0, 0.05, (len(shown), 1)), "depth"),
            pull("marks", shape.normal(0.0, 0.02, (len(shown), 3)), "marks"),
            pull((photo, "own"), np.diag(shape.uniform(0.01, 0.04, len(shown)))),
        ]
        values = truth[shown].copy()
        for p in pulls:
            z = variables.setdefault(p.key, rng.standard_normal(p.by_variable.shape[1]))
            values += p.by_variable @ z
        readings.append(reading(str(photo), values, *pulls, places=tuple(places[k] for k in shown)))
    return readings


TRUTH = np.array([12.0, 12.8, -20.0, 4.0])


def test_places_and_shared_variables_are_those_of_scipy_on_the_whole_system():
    """Every influence an unknown with a prior of unit variance: the same minimum."""
    readings = random_readings(np.random.default_rng(5), TRUTH, {})
    solution = solve(readings)
    keys = {p.key: p.by_variable.shape[1] for r in readings for p in r.pulls}
    starts = dict(zip(keys, np.cumsum([4, *keys.values()]), strict=False))

    def residuals(unknowns: np.ndarray) -> np.ndarray:
        misfit = []
        for r in readings:
            modelled = unknowns[[int(name[-1]) for name, _ in r.places]]
            for p in r.pulls:
                at = starts[p.key]
                modelled = modelled + p.by_variable @ unknowns[at : at + keys[p.key]]
            misfit.append(1e6 * (r.values - modelled))  # readings hold exactly
        return np.concatenate([*misfit, unknowns[4:]])

    start = np.zeros(4 + sum(keys.values()))
    start[:4] = TRUTH
    whole = least_squares(residuals, start, method="lm", xtol=1e-15, ftol=1e-15)
    found = [solution.value((f"place {k}", 0.0)) for k in range(4)]
    np.testing.assert_allclose(found, whole.x[:4], rtol=0, atol=1e-7)
    assert solution.chi_squared == pytest.approx(2.0 * whole.cost, abs=1e-4)
    assert solution.told("depth")[0] == pytest.approx(whole.x[starts["depth"]], abs=1e-5)


def test_stated_covariance_and_chi_squared_are_those_of_drawn_errors():
    """2000 draws: a standard deviation is known to 1.6 %, mean chi-squared to 0.13 of 16 - 4."""
    rng = np.random.default_rng(6)
    drawn = [solve(random_readings(rng, TRUTH, {})) for _ in range(2000)]
    order = np.argsort([int(name[-1]) for name, _ in drawn[0].places])
    places = np.array([s.values[order] for s in drawn])
    np.testing.assert_allclose(places.mean(axis=0), TRUTH, rtol=0, atol=0.004)
    told = np.sqrt(np.diag(drawn[0].covariance)[order])
    np.testing.assert_allclose(places.std(axis=0), told, rtol=0.06)
    # One place that photo 4 shows as well: 4 + 4 * 3 readings of 4 places.
    assert drawn[0].degrees_of_freedom == 12
    assert np.mean([s.chi_squared for s in drawn]) == pytest.approx(12.0, abs=0.5)


def test_what_is_told_of_a_shared_variable_errs_as_it_says():
    rng = np.random.default_rng(7)
    errors = []
    for _ in range(1000):
        variables: dict = {}
        told = solve(random_readings(rng, TRUTH, variables)).told("depth")
        errors.append((told[0] - variables["depth"][0]) / told[1])
    assert told[1] < 0.8
    assert np.std(errors) == pytest.approx(1.0, abs=0.08)


# ---------------------------------------------------------------- figures


def alike(joint, single, rel: float = 1e-5) -> None:
    assert joint.value == pytest.approx(single.value, abs=1e-6)
    assert joint.standard_uncertainty == pytest.approx(single.standard_uncertainty, rel=rel)
    assert joint.coverage_factor == pytest.approx(single.coverage_factor, abs=0.02)


@pytest.mark.parametrize("view", VIEWS)
@pytest.mark.parametrize("lost", [(), (0, 5)])
def test_one_photo_alone_says_what_its_own_check_says(view, lost, gauge, frame):
    gaps = 0.8 + 0.004 * np.asarray(frame.gap.stations_x_mm)
    photo = photo_of(
        frame, "a", view, gaps_mm=gaps, sill_mm=0.05, lost=lost,
        yoke=yoke_place(3.2, -20.1, 0.6), socket=socket_place(-19.8, -0.4, 4.1, 12.0),
    )  # fmt: skip
    solution = solve(read_photos([photo], gauge, frame))
    found, single = joint_gap(solution, frame), measure_gap(photo.slot, photo.pose, gauge, frame)
    alike(found.mean_mm, single.mean_mm)
    alike(found.taper_mm, single.taper_mm)
    alike(found.sill.offset_mm, single.sill.offset_mm)
    alike(found.sill.tilt_deg, single.sill.tilt_deg)
    for mine, theirs in zip(found.stations, single.stations, strict=True):
        assert mine.x_mm == theirs.x_mm
        assert (mine.gap_mm is None) == (theirs.gap_mm is None)
        if mine.gap_mm:
            alike(mine.gap_mm, theirs.gap_mm)
    yoke, alone = joint_alignment(solution, frame), measure_yoke(photo.yoke, photo.pose, frame)
    alike(yoke.lateral_offset_mm, alone.lateral_offset_mm)
    alike(yoke.tilt_deg, alone.tilt_deg)
    alike(yoke.seat_gap_mm, alone.seat_gap_mm)
    alike(yoke.clock_deg, alone.clock_deg)
    assert correlation(yoke.lateral_offset_mm, yoke.tilt_deg) == pytest.approx(
        correlation(alone.lateral_offset_mm, alone.tilt_deg), abs=0.02
    )


def test_more_photos_say_more_of_everything(gauge, frame):
    one, *rest = (photo_of(frame, k, v) for k, v in zip("abcd", VIEWS, strict=True))
    few, many = (solve(read_photos(p, gauge, frame)) for p in ([one], [one, *rest]))
    for figure in ("mean_mm", "taper_mm"):
        before, after = (getattr(joint_gap(s, frame), figure) for s in (few, many))
        assert after.standard_uncertainty < before.standard_uncertainty
    for figure in ("lateral_offset_mm", "tilt_deg", "seat_gap_mm", "clock_deg"):
        before, after = (getattr(joint_alignment(s, frame), figure) for s in (few, many))
        assert after.standard_uncertainty < before.standard_uncertainty


def test_what_all_photos_share_stays_however_many_there_are(gauge, frame):
    """0.75 of the variance of edge definition, 40 photos: sqrt(0.75 + 0.25 / 40) of one's."""
    photos = [photo_of(frame, str(k)) for k in range(40)]
    one, many = (
        influence(joint_gap(solve(read_photos(p, gauge, frame)), frame).mean_mm, "edge definition")
        for p in (photos[:1], photos)
    )
    assert many / one == pytest.approx(np.sqrt(0.75 + 0.25 / 40), abs=1e-6)


def test_a_photo_with_more_doubt_never_pulls_the_wrong_way(gauge, frame):
    """Two gaps, the second four times as uncertain: the joint one lies between them."""
    photos = [
        photo_of(frame, "a", VIEWS[0], gaps_mm=0.80, sigma_mm=0.03),
        photo_of(frame, "b", VIEWS[0], gaps_mm=0.90, sigma_mm=0.12),
    ]
    gap = joint_gap(solve(read_photos(photos, gauge, frame)), frame).mean_mm.value
    assert 0.80 < gap < 0.85


@pytest.mark.parametrize("seed", range(5))
def test_what_is_common_exceeds_no_photo_s_own(seed):
    """In no direction: what is left of each has no negative variance."""
    rng = np.random.default_rng(seed)
    shapes = rng.normal(0.0, 1.0, (3, 4, 4)) * rng.uniform(0.2, 3.0, (3, 1, 4))
    covariances = [s @ s.T for s in shapes]
    root = _in_common(covariances, 1.0)
    common = root @ root.T
    for covariance in covariances:
        assert np.linalg.eigvalsh(covariance - common).min() > -1e-9
    # and it is not simply nothing: of two alike it is all
    again = _in_common(covariances[:1] * 2, 0.9)
    np.testing.assert_allclose(again @ again.T, 0.9 * covariances[0], rtol=0, atol=1e-9)


def test_figures_do_not_hang_on_the_order_of_photos(gauge, frame):
    photos = [
        photo_of(frame, k, v, gaps_mm=g, sigma_mm=s)
        for k, v, g, s in zip("abcd", VIEWS, (0.8, 0.82, 0.79, 0.83), (0.01, 0.02, 0.01, 0.03),
                              strict=True)
    ]  # fmt: skip
    there, back = (
        joint_gap(solve(read_photos(p, gauge, frame)), frame).mean_mm
        for p in (photos, photos[::-1])
    )
    assert there.value == pytest.approx(back.value, abs=1e-9)
    assert there.standard_uncertainty == pytest.approx(back.standard_uncertainty, abs=1e-9)


def test_stations_that_one_photo_lost_come_from_the_others(gauge, frame):
    photos = [
        photo_of(frame, "a", VIEWS[0], lost=(0, 1, 2)),
        photo_of(frame, "b", VIEWS[1], lost=(4, 5, 6), with_yoke=False),
    ]
    gap = joint_gap(solve(read_photos(photos, gauge, frame)), frame)
    assert all(s.gap_mm is not None for s in gap.stations)
    assert gap.stations[3].gap_mm.standard_uncertainty < gap.stations[0].gap_mm.standard_uncertainty


def test_clocks_on_both_sides_of_half_a_flat_are_neighbours(gauge, frame):
    """44.8 and -44.6 lie 0.6 deg apart, not 89.4, and what both say lies between."""
    photos = [
        photo_of(frame, "a", socket=socket_place(-20.0, clock_deg=44.8)),
        photo_of(frame, "b", socket=socket_place(-20.0, clock_deg=-44.6)),
    ]
    for order in (photos, photos[::-1]):
        clock = joint_alignment(solve(read_photos(order, gauge, frame)), frame).clock_deg
        assert 44.8 < clock.value % 90.0 < 45.4
        assert -45.0 < clock.value <= 45.0


def test_without_socket_or_edges_the_rest_is_solved(gauge, frame):
    photos = [photo_of(frame, k, v, with_yoke=False) for k, v in zip("ab", VIEWS, strict=False)]
    solution = solve(read_photos(photos, gauge, frame))
    assert joint_alignment(solution, frame).clock_deg is None
    blind = [replace(photo_of(frame, k, v), slot=None) for k, v in zip("ab", VIEWS, strict=False)]
    solution = solve(read_photos(blind, gauge, frame))
    assert joint_gap(solution, frame) is None
    assert joint_alignment(solution, frame).seat_gap_mm is not None
    assert read_photos([replace(blind[0], yoke=None)], gauge, frame) == ()


# ---------------------------------------------------------------- depth


@pytest.mark.parametrize("nearer_mm", [0.15, -0.12])
def test_photos_from_above_and_below_tell_the_edges_depth(nearer_mm, gauge, frame):
    """And the sill's place with it, which one photo alone misreads by the slope of its view."""
    photos = []
    for k, view in zip("abc", VIEWS, strict=False):
        photo = photo_of(frame, k, view, sigma_mm=0.002)
        photos.append(replace(photo, slot=off_plane(photo.slot, view, nearer_mm)))
    alone, together = (solve(read_photos(p, gauge, frame)) for p in (photos[:1], photos))
    told = next(d for d in plane_depths(together) if d.plane == "edges").offset_mm
    assert told.value == pytest.approx(nearer_mm, abs=0.04)
    assert abs(told.value - nearer_mm) < told.expanded_uncertainty
    assert told.standard_uncertainty < 0.6 * 0.10, "of what the drawing leaves open"
    misread, read = (joint_gap(s, frame).sill.offset_mm.value for s in (alone, together))
    assert abs(read) < 0.5 * abs(misread)
    assert alone.told(EDGES_DEPTH) == pytest.approx((0.0, 1.0), abs=1e-6)


@pytest.mark.parametrize(
    ("plane", "other", "nearer_mm"), [("yoke", "socket", 0.045), ("socket", "yoke", 0.09)]
)
def test_yoke_and_socket_off_their_planes_are_told_apart(plane, other, nearer_mm, gauge, frame):
    """Nearer by one and a half of its prior: half of that at least is told, as the tighter prior
    holds against the photos; the other plane is where it is drawn, as far as is known.
    """
    photos = []
    for k, view in zip("abcd", VIEWS, strict=True):
        places = {
            "yoke": np.array([4.0, -20.0, -3.0]),
            "socket": np.array([4.0, -20.0, -10.0]),
        }
        pixel = view.project((places[plane] + np.array([0.0, 0.0, nearer_mm]))[None, :])
        seen = view.on_plane_z(pixel, places[plane][2])[0]
        moved = {
            "yoke": {"yoke": yoke_place(float(seen[0]), float(seen[1]), sigma=0.002)},
            "socket": {"socket": socket_place(float(seen[1]), face_x_mm=None, sigma=0.002)},
        }
        usual = {
            "yoke": yoke_place(4.0, -20.0, sigma=0.002),
            "socket": socket_place(-20.0, face_x_mm=None, sigma=0.002),
        }
        photos.append(photo_of(frame, k, view, **(usual | moved[plane])))
    depths = {d.plane: d.offset_mm for d in plane_depths(solve(read_photos(photos, gauge, frame)))}
    assert 0.5 * nearer_mm < depths[plane].value < nearer_mm
    assert nearer_mm - depths[plane].value < depths[plane].expanded_uncertainty
    assert abs(depths[other].value) < depths[other].expanded_uncertainty


def test_photos_from_one_place_tell_no_depth(gauge, frame):
    photos = [photo_of(frame, k) for k in "ab"]
    told = next(d for d in plane_depths(solve(read_photos(photos, gauge, frame)))).offset_mm
    assert told.value == pytest.approx(0.0, abs=1e-6)
    assert told.standard_uncertainty == pytest.approx(0.10, abs=1e-4)
