"""How far to turn the wrench, which way, and in what words.

The clock gives the turn within one flat, the gap says which flat, as a vernier does: turns =
clock / 360 + k / flats, with the whole k for which gap - turns * (gap per turn) lies nearest
to nominal. Without a clock the gap alone says how far.

A real door keeps to the drawing's relation of gap and clock within ``gap_clock_spread_mm``: for
the right k, what the turn leaves of the gap differs from nominal by that spread and by the
errors of both readings. So each flat has a probability, and where even the nearest is too far
off, gap and clock contradict each other.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, floor, gcd, inf, sqrt
from typing import Literal

from rigvision.ground.measured import (
    Influence,
    Measured,
    covariance,
    effective_degrees_of_freedom,
)
from rigvision.ground.student import coverage_factor
from rigvision.world.frame import Drive, Frame, GapLimits

Direction = Literal["close", "open", "none"]
Source = Literal["gap", "gap+clock"]

#: A turn smaller than this is none: finer than anybody turns a wrench (common practice).
SMALLEST_TURN = 0.005
#: This near a whole flat, the flat's own line shows where to stop; further off, degrees help.
NEAR_A_FLAT_TURNS = 0.035
#: Gap and clock contradict each other beyond so many combined standard uncertainties.
CONTRADICTION_SIGMAS = 3.0
#: Flats looked at on either side of the nearest: even one uncertain by a whole flat is then
#: told to 1e-4 of its probability.
_FLATS_BESIDE = 4


@dataclass(frozen=True, slots=True)
class Turns:
    """Turns of the wrench at the socket, positive closes; and what comes after them."""

    value: float
    standard_uncertainty: float
    source: Source
    gap_after_mm: float
    gap_after_u_mm: float
    flat_inside: bool = True  # some position leaves the gap inside its limits
    flat_probability: float | None = None  # that the flat is the right one; None without clock
    second_value: float | None = None  # the flat that is next likely; None without clock
    contradiction_mm: float | None = None  # gap against clock, where they cannot both be right
    contradiction_limit_mm: float | None = None
    degrees_of_freedom: float = inf
    gap_after_degrees_of_freedom: float = inf

    @property
    def coverage_factor(self) -> float:
        return coverage_factor(self.degrees_of_freedom)

    @property
    def expanded_uncertainty(self) -> float:
        return self.coverage_factor * self.standard_uncertainty

    @property
    def gap_after_expanded_uncertainty_mm(self) -> float:
        return coverage_factor(self.gap_after_degrees_of_freedom) * self.gap_after_u_mm

    @property
    def direction(self) -> Direction:
        if abs(self.value) < SMALLEST_TURN:
            return "none"
        return "close" if self.value > 0 else "open"


def solve_turns(gap_mm: Measured, clock_deg: Measured | None, frame: Frame) -> Turns:
    """What brings the socket to where the yoke engages and the gap is nearest to nominal."""
    if clock_deg is None or frame.socket is None:
        return _from_gap(gap_mm, frame)
    drive, nominal, flats = frame.drive, frame.gap.nominal_mm, frame.socket.flats
    per_turn = drive.gap_per_socket_turn_mm
    sense = 1.0 if drive.opening_moves_socket_front == "+y" else -1.0
    fine, fine_u = sense * clock_deg.value / 360.0, clock_deg.standard_uncertainty / 360.0
    k = floor(((gap_mm.value - nominal) / per_turn - fine) * flats + 0.5)
    value = fine + k / flats
    after_mm = gap_mm.value - value * per_turn
    left_over_mm, flat_mm = after_mm - nominal, per_turn / flats
    # The gap's and the clock's readings share the view; the turn takes the clock's errors off.
    after_variance = (
        gap_mm.standard_uncertainty**2
        + (fine_u * per_turn) ** 2
        - 2.0 * sense * per_turn / 360.0 * covariance(gap_mm, clock_deg)
    )
    together_mm = sqrt(after_variance + drive.gap_clock_spread_mm**2)
    contradicts = abs(left_over_mm) > CONTRADICTION_SIGMAS * together_mm
    return Turns(
        value,
        fine_u,
        "gap+clock",
        after_mm,
        sqrt(after_variance),
        _some_flat_inside(after_mm, flat_mm, frame.gap),
        _flat_probability(left_over_mm, flat_mm, together_mm),
        value + (1 if left_over_mm > 0 else -1) / flats,
        abs(left_over_mm) if contradicts else None,
        CONTRADICTION_SIGMAS * together_mm if contradicts else None,
        clock_deg.degrees_of_freedom,
        _freedom_after(gap_mm, clock_deg, per_turn / 360.0),
    )


def _from_gap(gap_mm: Measured, frame: Frame) -> Turns:
    """Without a clock any turn may be made, and it brings the gap to nominal."""
    per_turn, nominal = frame.drive.gap_per_socket_turn_mm, frame.gap.nominal_mm
    u, freedom = gap_mm.standard_uncertainty, gap_mm.degrees_of_freedom
    value = (gap_mm.value - nominal) / per_turn
    return Turns(
        value,
        u / per_turn,
        "gap",
        nominal,
        u,
        degrees_of_freedom=freedom,
        gap_after_degrees_of_freedom=freedom,
    )


def _flat_probability(left_over_mm: float, flat_mm: float, together_mm: float) -> float:
    """Posterior probability of the nearest flat, all flats alike beforehand.

    What a flat leaves over is drawn from a normal distribution about 0 with the combined
    standard uncertainty if, and only if, it is the right one (Bayes' theorem).
    """
    if together_mm == 0.0:
        return 1.0
    likelihoods = [
        # Against the nearest's own: the quotient neither under- nor overflows.
        exp((left_over_mm**2 - (left_over_mm - k * flat_mm) ** 2) / (2.0 * together_mm**2))
        for k in range(-_FLATS_BESIDE, _FLATS_BESIDE + 1)
    ]
    return 1.0 / sum(likelihoods)


def _some_flat_inside(after_mm: float, flat_mm: float, limits: GapLimits) -> bool:
    """Whether any whole number of flats more or less leaves the gap inside its limits."""
    lowest = after_mm - floor((after_mm - limits.lower_mm) / flat_mm) * flat_mm
    return lowest <= limits.upper_mm


def _freedom_after(gap_mm: Measured, clock_deg: Measured, mm_per_deg: float) -> float:
    """Effective degrees of freedom of the gap after the turn."""
    parts = [
        (gap_mm.standard_uncertainty, gap_mm.degrees_of_freedom),
        (clock_deg.standard_uncertainty * mm_per_deg, clock_deg.degrees_of_freedom),
    ]
    return effective_degrees_of_freedom(tuple(Influence("", "B", u, nu) for u, nu in parts))


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
