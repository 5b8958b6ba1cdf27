"""How far to turn the wrench, which way, and in what words.

The clock gives the turn within one flat, the gap says which flat: turns = clock / 360
+ k / flats, with the whole k for which gap - turns * (gap per turn) lies nearest to
nominal. Without a clock the gap alone says how far.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import floor, gcd, hypot, inf
from typing import Literal

from rigvision.ground.measured import Measured
from rigvision.ground.student import coverage_factor
from rigvision.world.frame import Drive, Frame

Direction = Literal["close", "open", "none"]
Source = Literal["gap", "gap+clock"]

#: A turn smaller than this is none: finer than anybody turns a wrench (common practice).
SMALLEST_TURN = 0.005
#: This near a whole flat, the flat's own line shows where to stop; further off, degrees help.
NEAR_A_FLAT_TURNS = 0.035
#: Two flats are "nearly as good" while their distances from nominal differ by less than
#: this many combined standard uncertainties.
FLAT_DOUBT_SIGMA = 2.0


@dataclass(frozen=True, slots=True)
class Turns:
    """Turns of the wrench at the socket, positive closes; and what comes after them."""

    value: float
    standard_uncertainty: float
    source: Source
    gap_after_mm: float
    second_value: float | None = None  # another flat that is nearly as good
    contradiction_mm: float | None = None  # gap against clock, where they cannot both be right
    contradiction_limit_mm: float | None = None
    degrees_of_freedom: float = inf

    @property
    def coverage_factor(self) -> float:
        return coverage_factor(self.degrees_of_freedom)

    @property
    def expanded_uncertainty(self) -> float:
        return self.coverage_factor * self.standard_uncertainty

    @property
    def direction(self) -> Direction:
        if abs(self.value) < SMALLEST_TURN:
            return "none"
        return "close" if self.value > 0 else "open"


def solve_turns(gap_mm: Measured, clock_deg: Measured | None, frame: Frame) -> Turns:
    """What brings the socket to where the yoke engages and the gap is nearest to nominal."""
    drive, nominal = frame.drive, frame.gap.nominal_mm
    per_turn = drive.gap_per_socket_turn_mm
    if clock_deg is None or frame.socket is None:
        value = (gap_mm.value - nominal) / per_turn
        return Turns(value, gap_mm.standard_uncertainty / per_turn, "gap", nominal)
    flats = frame.socket.flats
    sense = 1.0 if drive.opening_moves_socket_front == "+y" else -1.0
    fine = sense * clock_deg.value / 360.0
    fine_u = clock_deg.standard_uncertainty / 360.0
    wanted = (gap_mm.value - nominal) / per_turn
    k = floor((wanted - fine) * flats + 0.5)
    value = fine + k / flats
    left_over_mm = gap_mm.value - value * per_turn - nominal
    together_mm = hypot(gap_mm.standard_uncertainty, fine_u * per_turn, drive.gap_clock_spread_mm)
    side = 1 if left_over_mm > 0 else -1
    other = fine + (k + side) / flats
    doubt = abs(gap_mm.value - other * per_turn - nominal) - abs(left_over_mm)
    contradicts = abs(left_over_mm) > 3.0 * together_mm
    return Turns(
        value,
        fine_u,
        "gap+clock",
        gap_mm.value - value * per_turn,
        second_value=other if doubt < FLAT_DOUBT_SIGMA * together_mm else None,
        contradiction_mm=abs(left_over_mm) if contradicts else None,
        contradiction_limit_mm=3.0 * together_mm if contradicts else None,
    )


def instruction(turns: Turns, drive: Drive, flats: int | None) -> str:
    """One line for the mechanic: how far, which way round, and how to finish."""
    if turns.direction == "none":
        return "No turn is needed."
    closing = drive.closing_direction
    opening = "counter-clockwise" if closing == "clockwise" else "clockwise"
    way = closing if turns.direction == "close" else opening
    amount = amount_in_words(abs(turns.value), flats if turns.source == "gap+clock" else None)
    text = f"Turn the socket {amount} {way}"
    if turns.direction == "open":
        back = drive.backlash_turns
        if back > 0.0:
            return f"{text}, go {back:g} turn further, then come back: finish {closing}."
        return f"{text}."
    return f"{text}, finish {closing}."


def amount_in_words(turns: float, flats: int | None) -> str:
    """An amount as a wrench turns it, in whole flats and what is left of one.

    "1 1/4 turns", "about 1/2 turn (0.49)", "1/4 turn and 36 deg more (0.35)", "14 deg (0.04 turn)".
    """
    parts = flats or 4
    nearest = round(turns * parts)
    off_turns = abs(turns - nearest / parts)
    if nearest and off_turns < SMALLEST_TURN:
        return _in_parts(nearest, parts)
    if nearest and off_turns < NEAR_A_FLAT_TURNS:
        return f"about {_in_parts(nearest, parts)} ({turns:.2f})"
    below = int(turns * parts)
    left_deg = (turns - below / parts) * 360.0
    if below == 0:
        return f"{left_deg:.0f} deg ({turns:.2f} turn)"
    return f"{_in_parts(below, parts)} and {left_deg:.0f} deg more ({turns:.2f})"


def _in_parts(steps: int, parts: int) -> str:
    """So many flats in turns: 5 of 4 is "1 1/4 turns"."""
    whole, part = divmod(steps, parts)
    words = " ".join(w for w in (str(whole) if whole else "", _fraction(part, parts)) if w)
    return f"{words} {'turn' if steps <= parts else 'turns'}"


def _fraction(part: int, parts: int) -> str:
    """Part of a turn in lowest terms: 2 of 4 is 1/2."""
    if part == 0:
        return ""
    divisor = gcd(part, parts)
    return f"{part // divisor}/{parts // divisor}"
