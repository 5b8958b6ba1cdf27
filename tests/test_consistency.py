"""Photos against each other: who agrees, who is named, and how often by mistake."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import kstest

from rigvision.metrology.consistency import compare_photos
from rigvision.metrology.joint import stacked
from rigvision.metrology.photo_reading import read_photos, read_to_compare
from tests.hand_made import socket_place, yoke_place
from tests.setups import VIEWS, photo_of


def compared(gauge, frame, *photos):
    return compare_photos(read_to_compare(photos, gauge, frame), frame)


def photos(frame, count: int = 3):
    return [
        photo_of(frame, k, v, sigma_mm=0.02) for k, v in zip("abcd"[:count], VIEWS, strict=False)
    ]


@pytest.mark.parametrize("count", [2, 3, 4])
def test_photos_of_one_set_up_agree(count, gauge, frame):
    found = compared(gauge, frame, *photos(frame, count))
    assert found.agree
    assert found.odd is None
    assert found.chi_squared == pytest.approx(0.0, abs=1e-3)
    # Sill, its direction, gap, taper, and seven of yoke and socket, in all photos but one.
    assert found.degrees_of_freedom == 11 * (count - 1)
    assert found.probability == pytest.approx(1.0, abs=1e-6)
    assert set(found.photos) == set("abcd"[:count])


CHANGES = {
    "gap": {"gaps_mm": 1.1},
    "place of the sill": {"sill_mm": 0.4},
    "place of the yoke along its slide": {"yoke": yoke_place(3.2, -20.0)},
    "place of the socket": {"socket": socket_place(-19.6)},
    "clock": {"socket": socket_place(-20.0, clock_deg=8.0)},
    "taper": {"gaps_mm": 0.8 + 0.3 * np.linspace(-0.5, 0.5, 7)},
}


@pytest.mark.parametrize("odd", [0, 1, 2])
@pytest.mark.parametrize("what", CHANGES)
def test_the_photo_of_another_state_is_named_with_what_differs(what, odd, gauge, frame):
    views = photos(frame)
    changed = photo_of(frame, "x", VIEWS[odd], sigma_mm=0.02, **CHANGES[what])
    views[odd] = changed
    found = compared(gauge, frame, *views)
    assert (found.agree, found.odd) == (True, "x")
    assert found.photos["x"].largest[0].name == what
    assert found.photos["x"].probability < 0.01 / 3
    assert all(c.probability > 0.5 for key, c in found.photos.items() if key != "x")


def test_the_difference_is_that_photo_minus_the_others(gauge, frame):
    views = [*photos(frame, 2), photo_of(frame, "x", VIEWS[2], gaps_mm=1.1, sigma_mm=0.02)]
    figure, by = compared(gauge, frame, *views).photos["x"].largest
    assert (figure.name, figure.unit) == ("gap", "mm")
    assert by.value == pytest.approx(0.3, abs=0.001)
    assert 0.01 < by.standard_uncertainty < 0.05


def test_two_photos_only_disagree(gauge, frame):
    found = compared(
        gauge, frame, photos(frame)[0], photo_of(frame, "x", VIEWS[1], gaps_mm=1.2, sigma_mm=0.02)
    )
    assert (found.agree, found.odd) == (False, None)
    assert found.photos["a"].chi_squared == pytest.approx(found.photos["x"].chi_squared)


def test_three_states_in_three_photos_name_nobody(gauge, frame):
    views = [
        photo_of(frame, k, v, gaps_mm=g, sigma_mm=0.02)
        for k, v, g in zip("abc", VIEWS, (0.6, 0.9, 1.2), strict=False)
    ]
    found = compared(gauge, frame, *views)
    assert (found.agree, found.odd) == (False, None)


def test_a_photo_between_two_others_names_neither(gauge, frame):
    """0.80, 0.87, 0.94: without the first the rest agree, and without the last as well."""
    views = [
        photo_of(frame, k, VIEWS[2], gaps_mm=g, sigma_mm=0.02)
        for k, g in zip("abc", (0.80, 0.87, 0.94), strict=True)
    ]
    assert compared(gauge, frame, *views[1:]).agree
    assert compared(gauge, frame, *views[:2]).agree
    found = compared(gauge, frame, *views)
    assert (found.agree, found.odd) == (False, None)


def test_two_odd_photos_of_four_name_nobody(gauge, frame):
    views = [*photos(frame, 2), *(
        photo_of(frame, k, v, gaps_mm=g, sigma_mm=0.02)
        for k, v, g in zip("xy", VIEWS[2:], (0.4, 1.3), strict=True)
    )]  # fmt: skip
    found = compared(gauge, frame, *views)
    assert (found.agree, found.odd) == (False, None)


def test_two_pairs_of_two_states_name_nobody(gauge, frame):
    views = [*photos(frame, 2), *(
        photo_of(frame, k, v, gaps_mm=1.2, sigma_mm=0.02)
        for k, v in zip("xy", VIEWS[2:], strict=True)
    )]  # fmt: skip
    found = compared(gauge, frame, *views)
    assert (found.agree, found.odd) == (False, None)


def shaded(photo, u_mm):
    """The photo with edges whose shading leaves each open by so much, alike at all stations."""
    stations = len(photo.slot.stations)
    alike = np.kron(np.ones((stations, stations)), np.eye(2)) * u_mm**2
    covariance = alike + photo.slot.covariance_mm2
    return replace(photo, slot=replace(photo.slot, covariance_mm2=covariance))


def test_doubt_that_all_photos_share_does_not_hide_an_odd_gap(gauge, frame):
    """0.4 mm off, where each photo leaves its gap open by 0.11 to 0.16 mm in the same way."""
    views = [shaded(p, u) for p, u in zip(photos(frame), (0.08, 0.08, 0.11), strict=True)]
    views[2] = shaded(photo_of(frame, "x", VIEWS[2], gaps_mm=1.2), 0.11)
    found = compared(gauge, frame, *views)
    assert (found.agree, found.odd) == (True, "x")
    same_size = compare_photos(read_photos(views, gauge, frame), frame)
    assert same_size.odd is None, "what the solve takes for shared is too little to tell"


def test_the_order_of_photos_changes_nothing(gauge, frame):
    views = [*photos(frame, 3), photo_of(frame, "x", VIEWS[3], gaps_mm=1.1, sigma_mm=0.02)]
    there, back = (compared(gauge, frame, *v) for v in (views, views[::-1]))
    assert there.odd == back.odd == "x"
    assert there.chi_squared == pytest.approx(back.chi_squared, rel=1e-6)


def test_what_no_other_photo_shows_is_not_compared(gauge, frame):
    edges, yoke = photos(frame, 2)
    found = compared(gauge, frame, replace(edges, yoke=None), replace(yoke, slot=None))
    assert found.agree
    assert found.degrees_of_freedom == 0
    assert found.probability is None
    assert found.photos["a"].probability is None
    assert found.photos["a"].largest is None


def test_a_shift_that_all_photos_share_contradicts_nothing(gauge, frame):
    """All gaps misread by one radius error: they agree, however large it is."""
    views = [photo_of(frame, k, v, gaps_mm=1.4) for k, v in zip("abc", VIEWS, strict=False)]
    assert compared(gauge, frame, *views).agree


def test_errors_as_large_as_stated_look_like_chance(gauge, frame):
    """300 sets of three photos drawn from the readings' own influences.

    Chi-squared's probabilities are then uniform; Kolmogorov and Smirnov tell a distribution
    that is off by 0.1 from it. At 1 % false alarms, 300 sets give more than 9 in 0.1 % of
    campaigns (binomial).
    """
    rng = np.random.default_rng(12)
    readings = read_to_compare(photos(frame), gauge, frame)
    sizes = [len(r.values) for r in readings]
    probabilities, alarms = [], 0
    for _ in range(300):
        errors = sum(
            p.by_variable @ rng.standard_normal(p.by_variable.shape[1]) for p in stacked(readings)
        )
        parts = np.split(errors, np.cumsum(sizes)[:-1])
        drawn = [replace(r, values=r.values + e) for r, e in zip(readings, parts, strict=True)]
        found = compare_photos(drawn, frame)
        probabilities.append(found.probability)
        alarms += not found.agree or found.odd is not None
    assert kstest(probabilities, "uniform").pvalue > 0.01
    assert alarms <= 9
