"""Pass, adjust or retake: guarded acceptance, every reason, and which of them wins."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from rigvision.decision.reasons import CURES, REASONS
from rigvision.decision.sight import Sight
from rigvision.decision.verdict import Decision, Findings, decide
from rigvision.ground.measured import Measured
from rigvision.metrology.gap import SillLine, Station
from rigvision.metrology.yoke import YokeAlignment
from rigvision.photo.stored import Stored
from rigvision.vision.lost_station import LostStation
from rigvision.world.catalogue import load
from rigvision.world.frame import Frame
from rigvision.world.gauge import Gauge
from tests.hand_made import gap_of, measured

GAUGE, FRAME = load(Gauge, "RG-10"), load(Frame, "DF-10")
GOOD_SIGHT = Sight(240.0, 14.0, 8.0, 0.1, 6.0, True)
ALIGNED = YokeAlignment(
    measured(0.05, 0.04), measured(0.1, 0.1), measured(0.08, 0.04), measured(0.6, 0.5)
)


def gap(mean: float = 0.80, u: float = 0.03, taper: float = 0.02, taper_u: float = 0.03,
        offset: float = 0.02, tilt: float = 0.03):  # fmt: skip
    """A gap whose figures are set by hand."""
    base = gap_of(GAUGE, FRAME, np.full(7, mean))
    stations = tuple(Station(s.x_mm, measured(mean, u)) for s in base.stations)
    sill = SillLine(measured(offset, 0.02), measured(tilt, 0.03))
    return replace(
        base,
        stations=stations,
        mean_mm=measured(mean, u),
        taper_mm=measured(taper, taper_u),
        sill=sill,
    )


def findings(**changes: object) -> Findings:
    usual = Findings(
        frame=FRAME,
        gauge_name="RG-10",
        gauge_has_yoke_tag=True,
        gauge_has_lines=True,
        tang_length_mm=8.0,
        sight=GOOD_SIGHT,
        gap=gap(),
        yoke=ALIGNED,
        socket_found=True,
    )
    return replace(usual, **changes)


def codes(decision: Decision) -> list[str]:
    return [r.code for r in decision.reasons]


def lost(cause: str, *x_mm: float) -> tuple[LostStation, ...]:
    return tuple(LostStation(x, cause) for x in x_mm)


def yoke(**changes: Measured | None) -> YokeAlignment:
    return replace(ALIGNED, **changes)


# ------------------------------------------------------------------------------ to pass


def test_a_rig_proven_inside_passes_without_a_turn():
    decision = decide(findings())
    assert (decision.verdict, decision.borderline, codes(decision)) == ("pass", False, [])
    assert decision.instruction == "No turn is needed."
    assert decision.engaged is True


@pytest.mark.parametrize(
    ("mean_mm", "verdict"),
    [(0.5993, "adjust"), (0.5997, "pass"), (1.0003, "pass"), (1.0007, "adjust")],
)
def test_a_pass_needs_the_guard_of_1_645_standard_uncertainties(mean_mm, verdict):
    """One-sided 95 %: 1.644854 * 0.03 = 0.049346 mm inside the limit (ISO 14253-1; factor from

    memory). 0.55 + 0.0493 = 0.5993 is just short, as is 1.05 - 0.0493 = 1.0007.
    """
    clock = measured(360.0 * (mean_mm - 0.80) / 1.5, 0.5)
    decision = decide(
        findings(
            frame=FRAME.model_copy(
                update={"yoke_limits": FRAME.yoke_limits.model_copy(update={"clock_deg": 60.0})}
            ),
            gap=gap(mean_mm),
            yoke=yoke(clock_deg=clock),
        )
    )
    assert decision.verdict == verdict


@pytest.mark.parametrize("probability", [0.80, 0.99])
def test_the_frame_says_how_sure_a_pass_must_be(probability):
    """0.58 mm lies one u inside 0.55: 84 % (JCGM 106:2012, Table 1: 0.84 u for 80 %)."""
    rule = FRAME.decision.model_copy(update={"conformance_probability": probability})
    frame = FRAME.model_copy(update={"decision": rule, "yoke_limits": None})
    decision = decide(findings(frame=frame, gap=gap(0.58), yoke=None))
    assert decision.verdict == ("pass" if probability == 0.80 else "adjust")
    assert decision.gap_probability == pytest.approx(0.8413, abs=1e-4)


@pytest.mark.parametrize(
    ("mean_mm", "borderline"),
    [(1.05, True), (1.0955, True), (1.1045, False), (1.3, False), (1.0045, True)],
)
def test_borderline_lies_between_5_and_95_percent(mean_mm, borderline):
    """u 0.03: 1.645 u is 0.0494. 1.0955 is 6.5 % inside, 1.1045 3.5 %, 1.0045 93.5 %."""
    frame = FRAME.model_copy(update={"yoke_limits": None})
    decision = decide(findings(frame=frame, gap=gap(mean_mm), yoke=None))
    assert decision.verdict == "adjust"
    assert decision.borderline is borderline


def ruled(**settings: object) -> Frame:
    """The frame without yoke limits, judged by other settings."""
    rule = FRAME.decision.model_copy(update=settings)
    return FRAME.model_copy(update={"decision": rule, "yoke_limits": None})


def test_simple_acceptance_passes_what_reads_inside():
    """1.04 mm: 63 % inside at u 0.03 mm."""
    simple = decide(findings(frame=ruled(rule="simple-acceptance"), gap=gap(1.04), yoke=None))
    assert simple.verdict == "pass"
    assert decide(findings(frame=ruled(), gap=gap(1.04), yoke=None)).verdict == "adjust"
    outside = findings(frame=ruled(rule="simple-acceptance"), gap=gap(1.06), yoke=None)
    assert (decide(outside).verdict, codes(decide(outside))) == ("adjust", ["gap-high"])


def test_the_frame_says_what_is_borderline():
    """1.05 mm is 50 % inside."""
    at_limit = gap(1.05)
    assert decide(findings(frame=ruled(), gap=at_limit, yoke=None)).borderline is True
    strict = ruled(borderline_probabilities=(0.6, 0.9))
    assert decide(findings(frame=strict, gap=at_limit, yoke=None)).borderline is False


def test_the_frame_says_how_likely_a_seated_gauge_must_be():
    """Sill 0.16 mm off at 0.15 mm and u 0.02 mm: 31 % on its seat."""
    off = gap(offset=0.16)
    assert codes(decide(findings(gap=off))) == []
    frame = FRAME.model_copy(
        update={"decision": FRAME.decision.model_copy(update={"seated_probability": 0.5})}
    )
    assert codes(decide(findings(frame=frame, gap=off))) == ["gauge-not-seated"]


def test_the_frame_says_when_a_flat_is_certain_enough():
    """0.10 mm left over of 0.375 mm between flats, u 0.09 and 0.045 mm: 96 % sure."""
    turning = findings(gap=gap(1.15, u=0.089), yoke=yoke(clock_deg=measured(-30.0, 0.5)))
    assert "flat-uncertain" not in codes(decide(turning))
    sure = FRAME.decision.model_copy(update={"flat_probability": 0.999})
    strict = FRAME.model_copy(update={"decision": sure})
    assert "flat-uncertain" in codes(decide(replace(turning, frame=strict)))


def test_every_characteristic_is_judged_and_the_joint_risk_lies_between_its_bounds():
    decision = decide(findings())
    judged = {j.characteristic.quantity: j for j in decision.judged}
    assert list(judged) == ["gap", "taper", "lateral_offset", "tilt", "seat_gap", "clock"]
    risks = [1.0 - j.probability for j in decision.judged]
    assert max(risks) <= decision.joint_risk.probability <= sum(risks) + 1e-12
    assert decide(Findings()).joint_risk is None


def test_one_thing_surely_out_is_not_borderline_though_another_is():
    decision = decide(findings(gap=gap(1.05, taper=0.9), yoke=yoke(clock_deg=measured(60.0, 0.5))))
    assert decision.borderline is False


# ----------------------------------------------------------------------------- adjust codes


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"gap": gap(2.30)}, "gap-high"),
        ({"gap": gap(0.425), "yoke": yoke(clock_deg=measured(0.0, 0.5))}, "gap-low"),
        ({"gap": gap(taper=0.35)}, "taper"),
        ({"gap": gap(taper=-0.35)}, "taper"),
        ({"yoke": yoke(lateral_offset_mm=measured(0.6, 0.04))}, "yoke-offset"),
        ({"yoke": yoke(lateral_offset_mm=measured(-0.6, 0.04))}, "yoke-offset"),
        ({"yoke": yoke(tilt_deg=measured(-1.6, 0.1))}, "yoke-tilt"),
        ({"yoke": yoke(seat_gap_mm=measured(9.0, 0.04))}, "yoke-not-seated"),
        ({"yoke": yoke(clock_deg=measured(7.0, 0.5))}, "clock-off"),
        ({"yoke": yoke(clock_deg=measured(-7.0, 0.5))}, "clock-off"),
    ],
)
def test_what_is_outside_its_limits_is_an_adjust_with_its_own_code(changes, code):
    decision = decide(findings(**changes))
    assert decision.verdict == "adjust"
    assert codes(decision) == [code]
    assert all("{" not in r.text + r.remedy for r in decision.reasons)


def test_an_adjust_says_value_and_limit():
    (reason,) = decide(findings(gap=gap(2.30))).reasons
    assert "2.30 mm" in reason.text
    assert "1.05 mm" in reason.text
    assert "1 turn clockwise" in reason.remedy


def test_inside_but_not_proven_says_so():
    reasons = decide(findings(gap=gap(1.04))).reasons
    assert "inside but not proven" in reasons[0].text


@pytest.mark.parametrize(
    ("seat_mm", "engaged"), [(0.1, True), (7.5, True), (8.5, False), (-0.1, True)]
)
def test_the_yoke_is_engaged_while_its_tang_reaches_into_the_socket(seat_mm, engaged):
    """A tang of 8 mm; seated is another question, with a limit of its own."""
    decision = decide(findings(yoke=yoke(seat_gap_mm=measured(seat_mm, 0.04))))
    assert decision.engaged is engaged


def test_without_a_seat_gap_nobody_knows_whether_the_yoke_is_engaged():
    assert decide(findings(yoke=yoke(seat_gap_mm=None))).engaged is None


# ----------------------------------------------------------------------------- retake codes

STOPPED = {
    "no-gauge": {},
    "two-gauges": {"ids": "100, 101"},
    "wrong-gauge": {"ids": "300, 301", "wanted": "gauge RG-10"},
    "too-few-marks": {"found": 3, "total": 8, "needed": 4, "missing": "100"},
    "marks-disagree": {"residual_px": 2.0},
}
SIGHTS = {
    "too-oblique": {"tilt_deg": 56.0},
    "too-far": {"px_per_mm": 2.1},
    "blurred": {"blur_mm": 0.4},
    "ambiguous-view": {"rival_ratio": 1.05},
}


@pytest.mark.parametrize("code", STOPPED)
def test_a_step_that_cannot_be_taken_is_a_retake(code):
    decision = decide(Findings(stopped=(code, STOPPED[code])))
    assert (decision.verdict, codes(decision)) == ("retake", [code])
    assert decision.instruction == decision.reasons[0].remedy
    assert decision.turns is None


@pytest.mark.parametrize("code", SIGHTS)
def test_a_bad_view_is_a_retake(code):
    decision = decide(findings(sight=replace(GOOD_SIGHT, **SIGHTS[code])))
    assert (decision.verdict, codes(decision)) == ("retake", [code])


def test_lost_edges_are_hidden_or_glared_upon():
    hidden = decide(findings(stations_lost=lost("disagrees", *FRAME.gap.stations_x_mm[:5])))
    assert codes(hidden) == ["edge-hidden"]
    assert "2 of 7" in hidden.reasons[0].text
    assert "take away what covers them" in hidden.reasons[0].remedy
    none = decide(findings(gap=None))
    assert none.verdict == "retake"
    assert "0 of 7" in none.reasons[0].text


RIGHT_HALF = {"stations_lost": lost("saturated", 0.0, 12.0, 24.0, 36.0), "glare_mm": ((8.0, 38.0),)}


def test_glare_on_the_edges_says_where_and_which_way_to_step():
    """A lamp's image on the right of the gap leaves it soonest to the right."""
    decision = decide(findings(**RIGHT_HALF))
    assert codes(decision) == ["glare"]
    assert "from x = 8 to 38 mm" in decision.reasons[0].text
    assert "Step to the right and tilt the torch" in decision.reasons[0].remedy


def test_a_phone_held_on_its_head_steps_the_other_way():
    turned = replace(GOOD_SIGHT, gauge_right=(-1.0, 0.0))
    assert "Step to the left" in decide(findings(sight=turned, **RIGHT_HALF)).reasons[0].remedy


def test_a_blown_picture_is_overexposed_and_a_bright_spot_is_glare():
    blown = replace(GOOD_SIGHT, white=1.0, white_blown=0.9)
    everywhere = {"stations_lost": lost("saturated", *FRAME.gap.stations_x_mm)}
    whole = decide(findings(sight=blown, glare_mm=((-40.0, 40.0),), gap=None, **everywhere))
    assert codes(whole) == ["too-bright"]
    assert "90%" in whole.reasons[0].text
    assert codes(decide(findings(sight=blown, **RIGHT_HALF))) == ["glare"]


def test_edges_lost_in_a_dark_picture_are_lost_to_the_dark():
    dark = replace(GOOD_SIGHT, white=0.05)
    decision = decide(
        findings(sight=dark, stations_lost=lost("dark", *FRAME.gap.stations_x_mm[:5]))
    )
    assert codes(decision) == ["too-dark"]
    assert "5%" in decision.reasons[0].text


def test_a_moved_phone_and_a_missed_focus_ask_for_different_things():
    soft = replace(GOOD_SIGHT, blur_mm=0.4)
    moved = replace(soft, smear_mm=1.2, smear_along=(0.0, 1.0))
    focus, motion = (decide(findings(sight=s)).reasons[0] for s in (soft, moved))
    assert focus.code == motion.code == "blurred"
    assert "focus" in focus.remedy
    assert "smeared up and down by 1.2 mm" in motion.text
    assert "rest your hand" in motion.remedy


def test_too_oblique_says_which_way_to_move():
    """The camera stands to the upper left of square: it must come down and to the right."""
    sight = replace(GOOD_SIGHT, tilt_deg=60.0, camera_side=(-0.7, -0.7))
    assert "Move the phone down and to the right" in decide(findings(sight=sight)).reasons[0].remedy


def test_too_far_says_how_near_is_enough():
    """80 cm away at 1.5 px per mm: 3 px per mm are there at half of that."""
    sight = replace(GOOD_SIGHT, distance_mm=800.0, px_per_mm=1.5)
    remedy = decide(findings(sight=sight)).reasons[0].remedy
    assert "80 cm away now" in remedy
    assert "40 cm is near enough" in remedy


@pytest.mark.parametrize(
    ("sight", "words"),
    [
        (replace(GOOD_SIGHT, barrel_blown=0.6), ("glare", "leaves the socket")),
        (replace(GOOD_SIGHT, barrel_light=0.005), ("yoke-hidden", "Light the lower window")),
        (GOOD_SIGHT, ("yoke-hidden", "Uncover and wipe")),
    ],
)
def test_a_socket_that_cannot_be_read_is_blamed_on_its_light_or_on_what_covers_it(sight, words):
    decision = decide(findings(sight=sight, socket_found=False, yoke=YokeAlignment()))
    assert decision.reasons[0].code == words[0]
    assert words[1] in decision.reasons[0].remedy


@pytest.mark.parametrize(
    ("changes", "what"),
    [
        ({"socket_found": False, "yoke": YokeAlignment()}, "socket's outline"),
        ({"yoke": YokeAlignment(clock_deg=measured(0.5, 0.5))}, "yoke's tag"),
        ({"yoke": yoke(seat_gap_mm=None)}, "socket's face"),
        ({"yoke": yoke(clock_deg=None)}, "socket's index lines"),
    ],
)
def test_a_hidden_part_of_the_yoke_is_named(changes, what):
    decision = decide(findings(**changes))
    assert decision.verdict == "retake"
    assert codes(decision)[0] == "yoke-hidden"
    assert what in decision.reasons[0].text


@pytest.mark.parametrize(("offset", "tilt"), [(0.17, 0.0), (-0.17, 0.0), (0.0, 0.35), (0.0, -0.35)])
def test_a_gauge_off_its_seat_is_a_retake(offset, tilt):
    decision = decide(findings(gap=gap(offset=offset, tilt=tilt)))
    assert (decision.verdict, codes(decision)) == ("retake", ["gauge-not-seated"])


def test_gap_and_clock_that_contradict_each_other_are_a_retake():
    decision = decide(findings(gap=gap(0.98, u=0.01)))
    assert decision.verdict == "retake"
    assert codes(decision)[0] == "clock-contradicts-gap"


def test_an_uncertainty_that_fills_the_limits_is_a_retake():
    """Half the tolerance is 0.25 mm; expanded 0.26 mm could never prove anything."""
    decision = decide(findings(gap=gap(u=0.13)))
    assert decision.verdict == "retake"
    assert "uncertainty-too-large" in codes(decision)


def test_a_retake_beats_an_adjust_and_still_carries_its_figures():
    decision = decide(findings(gap=gap(2.30), sight=replace(GOOD_SIGHT, blur_mm=0.4)))
    assert decision.verdict == "retake"
    assert codes(decision) == ["blurred", "gap-high"]
    assert decision.borderline is False
    assert decision.gap_probability == pytest.approx(0.0, abs=1e-6)
    assert decision.instruction == decision.reasons[0].remedy


def test_nothing_measured_is_never_a_pass():
    assert decide(Findings()).verdict == "retake"
    assert decide(Findings(frame=FRAME, sight=GOOD_SIGHT)).verdict == "retake"


# ----------------------------------------------------------------------------------- notes


def test_a_gauge_without_yoke_tag_or_lines_says_so_and_passes():
    without = findings(
        gauge_has_yoke_tag=False, gauge_has_lines=False, yoke=YokeAlignment(), socket_found=True
    )
    decision = decide(without)
    assert decision.verdict == "pass"
    assert codes(decision) == ["no-yoke-on-gauge", "no-clock-on-gauge"]
    assert decision.turns.source == "gap"


def test_a_frame_without_yoke_limits_is_judged_by_its_gap():
    frame = FRAME.model_copy(update={"yoke_limits": None, "socket": None})
    decision = decide(findings(frame=frame, yoke=YokeAlignment(), socket_found=False))
    assert (decision.verdict, codes(decision)) == ("pass", [])


def test_refused_marks_lost_stations_and_an_unknown_lens_are_notes():
    sight = replace(GOOD_SIGHT, marks_refused=(103, 107), focal_known=False)
    decision = decide(findings(sight=sight, stations_lost=lost("no-contrast", -36.0, 12.0)))
    assert decision.verdict == "pass"
    assert sorted(codes(decision)) == ["focal-unknown", "marks-refused", "stations-lost"]
    text = " ".join(r.text for r in decision.reasons)
    assert "103, 107" in text
    assert "-36, 12" in text


def test_no_flat_inside_its_limits_is_said():
    """A door whose flats come 0.375 mm apart and whose limits are 0.2 mm wide."""
    limits = FRAME.gap.model_copy(update={"lower_mm": 0.70, "upper_mm": 0.90})
    frame = FRAME.model_copy(
        update={
            "gap": limits,
            "drive": FRAME.drive.model_copy(update={"gap_clock_spread_mm": 0.2}),
        }
    )
    decision = decide(findings(frame=frame, gap=gap(0.95, u=0.01)))
    assert decision.verdict == "adjust"
    assert "no-flat-inside" in codes(decision)


def test_two_flats_nearly_as_good_are_both_named():
    decision = decide(findings(gap=gap(0.97, u=0.10), yoke=yoke(clock_deg=measured(0.6, 0.5))))
    assert "flat-uncertain" in codes(decision)
    note = next(r for r in decision.reasons if r.code == "flat-uncertain")
    assert "0.00 or 0.25 turns; the first is right with 65%" in note.text


def test_a_better_flat_is_mentioned_on_a_pass():
    """Wide limits: the gap passes a whole flat away from nominal."""
    limits = FRAME.gap.model_copy(update={"upper_mm": 2.0})
    frame = FRAME.model_copy(update={"gap": limits})
    decision = decide(findings(frame=frame, gap=gap(1.175)))
    assert decision.verdict == "pass"
    assert codes(decision) == ["better-flat"]
    assert decision.instruction == "No turn is needed."


# ----------------------------------------------------------------------- the table of reasons


def test_every_code_that_can_be_given_stands_in_the_table_with_a_remedy():
    for code, kind in REASONS.items():
        assert kind.text.endswith("."), code
        assert kind.remedy.endswith((".", "{instruction}", "{cure}")), code
    assert all(cure.endswith(".") for cure in CURES.values())
    retakes = {c for c, k in REASONS.items() if k.outcome == "retake"}
    assert retakes >= {
        "no-gauge", "wrong-gauge", "too-few-marks", "blurred", "glare", "too-dark",
        "too-oblique", "too-far", "edge-hidden", "yoke-hidden", "gauge-not-seated",
        "clock-contradicts-gap", "uncertainty-too-large",
    }  # fmt: skip
    adjusts = {c for c, k in REASONS.items() if k.outcome == "adjust"}
    assert adjusts == {
        "gap-high", "gap-low", "taper", "yoke-offset", "yoke-tilt", "yoke-not-seated",
        "clock-off",
    }  # fmt: skip


# --------------------------------------------------------------------- copies, and their blame

ORIGINAL = Stored(93, 4000, True)
MESSENGER = Stored(75, 1600, False)
ALL_LOST = {"stations_lost": lost("disagrees", *FRAME.gap.stations_x_mm), "gap": None}


def test_a_copy_that_can_be_read_is_not_refused():
    assert decide(findings(stored=MESSENGER)).verdict == "pass"


def test_what_a_messenger_s_copy_lost_is_asked_for_as_it_was_taken():
    decision = decide(findings(stored=MESSENGER, **ALL_LOST))
    assert codes(decision) == ["recompressed", "edge-hidden"]
    assert "JPEG quality 75, at least 80" in decision.reasons[0].text
    assert "1600 px long" in decision.reasons[0].text
    assert "not through a messenger" in decision.instruction


@pytest.mark.parametrize(
    "stored",
    [
        ORIGINAL,
        None,
        Stored(None, 4000, False),  # a PNG: nothing is known of it
        Stored(95, 4000, False),  # EXIF taken off, the picture as it was
        Stored(95, 1600, True),  # an old phone
    ],
)
def test_an_original_is_not_blamed(stored):
    assert codes(decide(findings(stored=stored, **ALL_LOST))) == ["edge-hidden"]


@pytest.mark.parametrize("code", ["too-few-marks", "marks-disagree"])
def test_marks_that_a_copy_lost_are_blamed_on_it(code):
    decision = decide(Findings(stopped=(code, STOPPED[code]), stored=MESSENGER))
    assert codes(decision) == ["recompressed", code]


def test_a_gauge_off_its_seat_comes_before_the_copy_that_may_be_why():
    off = replace(gap(offset=0.6), mean_mm=measured(0.8, 0.03))
    decision = decide(findings(gap=off, stored=MESSENGER))
    assert codes(decision) == ["gauge-not-seated", "recompressed"]
    assert "Seat the gauge" in decision.instruction


@pytest.mark.parametrize("code", ["wrong-gauge", "no-gauge"])
def test_a_wrong_gauge_or_none_is_no_copy_s_fault(code):
    decision = decide(Findings(stopped=(code, STOPPED[code]), stored=MESSENGER))
    assert codes(decision) == [code]


def test_being_too_far_away_comes_before_the_copy():
    sight = replace(GOOD_SIGHT, px_per_mm=2.1)
    decision = decide(findings(sight=sight, stored=MESSENGER, **ALL_LOST))
    assert codes(decision) == ["too-far", "recompressed", "edge-hidden"]


def test_a_sharp_picture_with_too_few_pixels_for_its_blur_was_taken_from_too_far():
    """0.9 px of blur at 3.1 px per mm are 0.29 mm; 0.25 need 3.6 px per mm."""
    sight = replace(GOOD_SIGHT, px_per_mm=3.1, blur_mm=0.29, distance_mm=620.0)
    decision = decide(findings(sight=sight))
    assert codes(decision) == ["too-far"]
    assert "3.1 px per mm, at least 3.6" in decision.reasons[0].text
    assert "53 cm is near enough" in decision.reasons[0].remedy


def test_edges_lost_in_a_smeared_picture_are_lost_to_the_movement():
    sight = replace(GOOD_SIGHT, blur_mm=0.2, smear_mm=0.9, smear_along=(0.0, 1.0))
    decision = decide(findings(sight=sight, **ALL_LOST))
    assert codes(decision) == ["blurred"]
    assert "smeared up and down" in decision.reasons[0].text
    assert "0.90 mm wide; at most 0.30 mm" in decision.reasons[0].text
    assert "rest your hand" in decision.reasons[0].remedy
    assert codes(decide(findings(sight=sight))) == []


def test_a_focal_length_that_only_the_marks_tell_is_said_to_be_so():
    for told, word in ((True, "measured by the marks"), (False, "guessed")):
        sight = replace(GOOD_SIGHT, focal_known=False, focal_told=told)
        note = decide(findings(sight=sight)).reasons[0]
        assert (note.code, word in note.text) == ("focal-unknown", True)
