"""How far to turn and in what words: arithmetic of the drive, both senses, all folds."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigvision.decision.turns import amount_in_words, instruction, solve_turns
from rigvision.ground.conventions import fold_deg
from rigvision.ground.measured import Influence, Measured
from rigvision.world.catalogue import load
from rigvision.world.frame import Drive, Frame
from tests.hand_made import measured

FRAME = load(Frame, "DF-10")


def frame_with(**drive: object) -> Frame:
    flats = drive.pop("flats", None)
    changes: dict[str, object] = {"drive": FRAME.drive.model_copy(update=drive)}
    if flats:
        changes["socket"] = FRAME.socket.model_copy(update={"flats": flats})
    return FRAME.model_copy(update=changes)


# ------------------------------------------------------------------------------- the drive


def test_lead_is_pitch_times_starts():
    """Shigley's double-start power screw, example 8-1: pitch 4 mm, lead 8 mm (from memory).

    Turned once directly, it moves its nut, and here the door, by 8 mm.
    """
    drive = FRAME.drive.model_copy(
        update={
            "screw_lead_mm": 2 * 4.0,
            "socket_turns_per_screw_turn": 1.0,
            "door_motion_ratio": 1.0,
        }
    )
    assert drive.gap_per_socket_turn_mm == pytest.approx(8.0, abs=1e-12)


def test_turns_are_travel_over_lead():
    """Mott, example 17-1 (lead 0.250 in as printed): a door 25.4 mm too open on that screw alone

    takes four turns.
    """
    drive = {"screw_lead_mm": 6.35, "socket_turns_per_screw_turn": 1.0, "door_motion_ratio": 1.0}
    found = solve_turns(measured(0.80 + 25.4, 0.05), None, frame_with(**drive))
    assert found.value == pytest.approx(4.0, abs=1e-12)


def test_a_bevel_pair_of_16_and_32_teeth_halves_the_travel():
    """Ratio of a bevel pair: i = z2 / z1 = 2 (recomputed). 8 mm of lead become 4 mm a turn."""
    drive = FRAME.drive.model_copy(
        update={
            "screw_lead_mm": 8.0,
            "socket_turns_per_screw_turn": 32 / 16,
            "door_motion_ratio": 1.0,
        }
    )
    assert drive.gap_per_socket_turn_mm == pytest.approx(4.0, abs=1e-12)


def test_one_turn_of_the_demonstration_drive_is_1_5_mm():
    """4 mm / 2 * 0.75."""
    assert FRAME.drive.gap_per_socket_turn_mm == pytest.approx(1.5, abs=1e-12)


# ------------------------------------------------------------------------- from gap and clock


@pytest.mark.parametrize(
    ("gap_mm", "turns"), [(0.80, 0.0), (2.30, 1.0), (0.425, -0.25), (3.65, 1.9)]
)
def test_without_a_clock_the_gap_alone_says_how_far(gap_mm, turns):
    found = solve_turns(measured(gap_mm, 0.03), None, FRAME)
    assert found.value == pytest.approx(turns, abs=1e-12)
    assert found.source == "gap"
    assert found.standard_uncertainty == pytest.approx(0.02, abs=1e-12)
    assert found.gap_after_mm == pytest.approx(0.80, abs=1e-12)


@pytest.mark.parametrize(
    ("gap_mm", "clock_deg", "turns"),
    [
        # nominal 0.80, 1.5 mm a turn, four flats: k / 4 nearest to what the gap wants
        (0.80, 0.0, 0.0),
        (1.00, 43.0, 43 / 360),  # gap wants 0.133: k = 0
        (1.24, 18.0, 0.05 + 0.25),  # gap wants 0.293: k = 1
        (2.70, -35.0, -35 / 360 + 1.25),  # gap wants 1.267, less -0.097: k = 5.46, so 5
        (0.30, 0.0, -0.25),  # gap wants -0.333: k = -1
        (0.62, -40.0, -40 / 360),  # gap wants -0.12: k = 0
        (4.80, 10.0, 10 / 360 + 2.75),  # gap wants 2.667: k = 11 (10.56)
    ],
)
def test_the_clock_gives_the_turn_within_a_flat_and_the_gap_the_flat(gap_mm, clock_deg, turns):
    found = solve_turns(measured(gap_mm, 0.02), measured(clock_deg, 0.5), FRAME)
    assert found.value == pytest.approx(turns, abs=1e-12)
    assert found.source == "gap+clock"
    assert found.gap_after_mm == pytest.approx(gap_mm - 1.5 * turns, abs=1e-12)


def test_a_front_that_moves_down_when_opening_turns_the_clock_s_sense():
    """The same door, the socket's front moving the other way: clock -18 for +18."""
    up = solve_turns(measured(1.24, 0.02), measured(18.0, 0.5), FRAME)
    down = solve_turns(
        measured(1.24, 0.02), measured(-18.0, 0.5), frame_with(opening_moves_socket_front="-y")
    )
    assert up.value == pytest.approx(0.30, abs=1e-12)
    assert down.value == pytest.approx(0.30, abs=1e-12)


@pytest.mark.parametrize(
    ("gap_mm", "clock_deg", "turns"),
    [(1.05, 0.0, 1 / 6), (1.30, 0.0, 2 / 6), (1.10, 12.0, 12 / 360 + 1 / 6), (0.55, 0.0, -1 / 6)],
)
def test_a_hexagon_engages_every_sixth_of_a_turn(gap_mm, clock_deg, turns):
    found = solve_turns(measured(gap_mm, 0.02), measured(clock_deg, 0.5), frame_with(flats=6))
    assert found.value == pytest.approx(turns, abs=1e-12)


@given(st.floats(0.2, 5.0), st.floats(-44.9, 44.9), st.sampled_from([4, 6]), st.sampled_from("+-"))
def test_turns_end_on_a_flat_and_no_other_flat_comes_nearer_to_nominal(gap, clock, flats, sign):
    """Turns less the clock are whole flats; a flat more or less leaves the gap further off."""
    clock = clock * 4 / flats
    frame = frame_with(flats=flats, opening_moves_socket_front=f"{sign}y")
    value = solve_turns(measured(gap, 0.02), measured(clock, 0.5), frame).value
    sense = 1.0 if sign == "+" else -1.0
    k = (value - sense * clock / 360) * flats
    assert k == pytest.approx(round(k), abs=1e-9)
    left = [abs(gap - 1.5 * (value + d / flats) - 0.80) for d in (-1, 0, 1)]
    assert left[1] <= min(left) + 1e-9


@given(st.floats(0.2, 5.0), st.floats(-44.0, 44.0))
def test_a_mirrored_rig_turns_as_far(gap, clock):
    """Clock and the sense of the socket's front both mirrored: nothing else changes."""
    here = solve_turns(measured(gap, 0.02), measured(clock, 0.5), FRAME)
    there = solve_turns(
        measured(gap, 0.02), measured(-clock, 0.5), frame_with(opening_moves_socket_front="-y")
    )
    assert there.value == pytest.approx(here.value, abs=1e-12)


def test_uncertainty_is_the_clock_s_where_there_is_one():
    """0.9 deg are 0.0025 turn, times 1.959964."""
    found = solve_turns(measured(1.20, 0.05), measured(5.0, 0.9), FRAME)
    assert found.standard_uncertainty == pytest.approx(0.0025, abs=1e-12)
    assert found.expanded_uncertainty == pytest.approx(0.00489991, abs=1e-8)


# ------------------------------------------------------------- where the two do not agree


def together_mm(gap_u: float, clock_u_deg: float) -> float:
    """Combined: gap, clock at 1.5 mm a turn, and the drive's own spread of 0.045 mm."""
    return math.sqrt(gap_u**2 + (1.5 * clock_u_deg / 360) ** 2 + 0.045**2)


@pytest.mark.parametrize(("sigmas", "contradicts"), [(2.9, False), (3.1, True), (-3.1, True)])
def test_gap_and_clock_contradict_beyond_three_combined_standard_uncertainties(sigmas, contradicts):
    """gap 0.80 + n sigma with the clock on its flat: half a flat, 0.1875 mm, is the most."""
    off_mm = sigmas * together_mm(0.02, 1.0)
    assert abs(off_mm) < 0.1875
    found = solve_turns(measured(0.80 + off_mm, 0.02), measured(0.0, 1.0), FRAME)
    assert (found.contradiction_mm is not None) is contradicts
    if contradicts:
        assert found.contradiction_mm == pytest.approx(abs(off_mm), abs=1e-9)
        assert found.contradiction_limit_mm == pytest.approx(3 * together_mm(0.02, 1.0), abs=1e-9)


@pytest.mark.parametrize(("gap_mm", "second"), [(0.98, 0.25), (0.62, -0.25), (0.82, 0.25)])
def test_the_second_flat_lies_on_the_side_of_what_is_left_over(gap_mm, second):
    found = solve_turns(measured(gap_mm, 0.02), measured(0.0, 0.5), FRAME)
    assert found.value == pytest.approx(0.0, abs=1e-12)
    assert found.second_value == pytest.approx(second, abs=1e-12)


@pytest.mark.parametrize(
    ("gap_mm", "gap_u", "probability"),
    [
        # Combined u 0.1 mm (0.089303 of the gap, 0.045 of the drive), flats 0.375 mm apart.
        # Half way: two flats alike, their neighbours exp(-(0.5625^2 - 0.1875^2) / 0.02) each.
        (0.9875, 0.089303, 0.5),
        # 0.10 left over, rivals 0.275 and 0.475 off: 1 / (1 + exp(-3.28125) + exp(-10.78125))
        (0.90, 0.089303, 0.963770),
        (0.80, 0.02, 1.0),
    ],
)
def test_the_flat_has_a_probability(gap_mm, gap_u, probability):
    """Bayes' theorem over the flats (recomputed by hand)."""
    found = solve_turns(measured(gap_mm, gap_u), measured(0.0, 0.0), FRAME)
    assert found.flat_probability == pytest.approx(probability, abs=1e-5)


def test_the_flat_s_probability_is_how_often_it_is_right():
    """20,000 doors that keep to the spread, read with normal errors: u of the share is 0.3 %."""
    rng = np.random.default_rng(11)
    gap_u, clock_u = 0.12, 1.0
    claimed, right = [], []
    for true_gap in rng.uniform(0.3, 4.0, 20_000):
        turns_true = (true_gap - 0.80 + rng.normal(0.0, 0.045)) / 1.5
        clock = fold_deg(360.0 * turns_true, 90.0) + rng.normal(0.0, clock_u)
        found = solve_turns(
            measured(true_gap + rng.normal(0.0, gap_u), gap_u), measured(clock, clock_u), FRAME
        )
        claimed.append(found.flat_probability)
        right.append(abs(found.value - turns_true) < 0.125)
    assert np.mean(right) == pytest.approx(np.mean(claimed), abs=0.009)
    unsure = np.array(claimed) < 0.8
    assert np.mean(np.array(right)[unsure]) == pytest.approx(
        np.mean(np.array(claimed)[unsure]), abs=0.025
    )


def test_without_a_clock_no_flat_is_claimed():
    found = solve_turns(measured(1.20, 0.02), None, FRAME)
    assert (found.flat_probability, found.second_value) == (None, None)


def test_the_gap_after_the_turn_is_as_uncertain_as_gap_and_turn_together():
    """0.02 mm and 2.4 deg, which at 1.5 mm a turn are 0.01 mm: 0.022361 mm, times 1.959964."""
    found = solve_turns(measured(2.70, 0.02), measured(0.0, 2.4), FRAME)
    assert found.gap_after_mm == pytest.approx(0.825, abs=1e-12)
    assert found.gap_after_u_mm == pytest.approx(0.022361, abs=1e-6)
    assert found.gap_after_expanded_uncertainty_mm == pytest.approx(0.043826, abs=1e-6)


@pytest.mark.parametrize(("front", "u_mm"), [("+y", 0.01), ("-y", 0.03)])
def test_errors_that_gap_and_clock_share_count_once(front, u_mm):
    """One error makes the gap 0.02 mm and the clock 2.4 deg (0.01 mm) too large: apart 0.01 mm,

    and 0.03 mm where the clock runs the other way.
    """
    gap = Measured(0.8, (Influence("view", "B", 0.02, effects=(0.02,), inputs="view"),))
    clock = Measured(0.0, (Influence("view", "B", 2.4, effects=(2.4,), inputs="view"),))
    found = solve_turns(gap, clock, frame_with(opening_moves_socket_front=front))
    assert found.gap_after_u_mm == pytest.approx(u_mm, abs=1e-9)


def test_a_flat_further_off_nominal_may_be_the_only_one_inside():
    """Limits 0.55 to 1.05 about a nominal of 0.6: 0.525 and 0.90 can be reached, and 0.525 is

    nearer to nominal, but outside.
    """
    limits = FRAME.gap.model_copy(update={"nominal_mm": 0.6})
    frame = FRAME.model_copy(update={"gap": limits})
    found = solve_turns(measured(0.525, 0.02), measured(0.0, 0.5), frame)
    assert found.gap_after_mm == pytest.approx(0.525, abs=1e-12)
    assert found.flat_inside is True
    narrow = limits.model_copy(update={"upper_mm": 0.85})
    found = solve_turns(
        measured(0.525, 0.02), measured(0.0, 0.5), frame.model_copy(update={"gap": narrow})
    )
    assert found.flat_inside is False


# --------------------------------------------------------------------------------- in words


def said(gap_mm: float, clock_deg: float | None = None, **drive: object) -> str:
    frame = frame_with(**drive)
    clock = None if clock_deg is None else measured(clock_deg, 0.5)
    flats = frame.socket.flats
    return instruction(solve_turns(measured(gap_mm, 0.02), clock, frame), frame.drive, flats)


@pytest.mark.parametrize(
    ("gap_mm", "clock_deg", "drive", "words"),
    [
        (2.675, 0.0, {}, "Turn the socket 1 1/4 turns clockwise, finish clockwise."),
        (1.175, 0.0, {}, "Turn the socket 1/4 turn clockwise, finish clockwise."),
        (2.30, 0.0, {}, "Turn the socket 1 turn clockwise, finish clockwise."),
        (1.55, 0.0, {}, "Turn the socket 1/2 turn clockwise, finish clockwise."),
        (
            0.425,
            0.0,
            {},
            (
                "Turn the socket 1/4 turn counter-clockwise, go 0.05 turn further, then come back: "
                "finish clockwise."
            ),
        ),
        (
            2.675,
            0.0,
            {"closing_direction": "counter-clockwise"},
            "Turn the socket 1 1/4 turns counter-clockwise, finish counter-clockwise.",
        ),
        (
            0.425,
            0.0,
            {"closing_direction": "counter-clockwise", "backlash_turns": 0.1},
            (
                "Turn the socket 1/4 turn clockwise, go 0.1 turn further, then come back: "
                "finish counter-clockwise."
            ),
        ),
        (0.425, 0.0, {"backlash_turns": 0.0}, "Turn the socket 1/4 turn counter-clockwise."),
        (1.30, 0.0, {"flats": 6}, "Turn the socket 1/3 turn clockwise, finish clockwise."),
        (2.05, 0.0, {"flats": 6}, "Turn the socket 5/6 turn clockwise, finish clockwise."),
        (0.80, 0.0, {}, "No turn is needed."),
    ],
)
def test_the_instruction_says_how_far_which_way_and_how_to_finish(gap_mm, clock_deg, drive, words):
    assert said(gap_mm, clock_deg, **drive) == words


def test_every_adjustment_ends_in_the_closing_direction():
    """Opening overshoots by the backlash and comes back; closing simply stops."""
    for closing in ("clockwise", "counter-clockwise"):
        for gap in (0.3, 2.4):
            words = said(gap, None, closing_direction=closing)
            assert words.endswith(f"finish {closing}.")


@pytest.mark.parametrize(
    ("turns", "flats", "words"),
    [
        (1.27, 4, "about 1 1/4 turns (1.27)"),
        (0.04, 4, "14 deg (0.04 turn)"),
        (0.25, 4, "1/4 turn"),
        (0.97, 4, "about 1 turn (0.97)"),
        (2.0, 4, "2 turns"),
        (0.5, 6, "1/2 turn"),
        (1.68, 6, "about 1 2/3 turns (1.68)"),
        (0.35, 4, "1/4 turn and 36 deg more (0.35)"),
        (0.3, None, "1/4 turn and 18 deg more (0.30)"),
    ],
)
def test_amounts_are_said_as_a_wrench_turns_them(turns, flats, words):
    assert amount_in_words(turns, flats) == words


def test_the_smallest_turn_is_none():
    assert solve_turns(measured(0.806, 0.02), None, FRAME).direction == "none"
    assert solve_turns(measured(0.83, 0.02), None, FRAME).direction == "close"
    assert solve_turns(measured(0.77, 0.02), None, FRAME).direction == "open"


def test_a_drive_s_directions_are_the_only_two():
    with pytest.raises(ValueError, match="closing_direction"):
        Drive.model_validate(FRAME.drive.model_dump() | {"closing_direction": "left"})
