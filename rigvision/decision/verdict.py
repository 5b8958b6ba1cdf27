"""Pass, adjust or retake: guarded acceptance of every characteristic (JCGM 106:2012, 8.3).

Pure: measured values in, verdict and reasons out. What cannot be trusted is a retake;
what the frame's own rule does not accept as inside its limits is an adjust.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import floor
from typing import TYPE_CHECKING, Any

from rigvision.decision.acceptance import Characteristic, JointRisk, Judged, joint_risk, judge
from rigvision.decision.cause import Cause
from rigvision.decision.copied import copy_to_blame
from rigvision.decision.reasons import REASONS, Reason, reason
from rigvision.decision.result import Verdict
from rigvision.decision.sight import PhotoLimits, Sight, faults
from rigvision.decision.turns import Turns, instruction, solve_turns
from rigvision.decision.unread import unread_edges, unread_yoke
from rigvision.ground.measured import Measured
from rigvision.world.frame import Frame

if TYPE_CHECKING:
    from rigvision.metrology.gap import Gap
    from rigvision.metrology.yoke import YokeAlignment
    from rigvision.photo.stored import Stored
    from rigvision.vision.lost_station import LostStation


@dataclass(frozen=True, slots=True)
class Findings:
    """Everything the decision rests on; None from the first step that failed."""

    frame: Frame | None = None
    gauge_name: str = ""
    gauge_has_yoke_tag: bool = False
    gauge_has_lines: bool = False
    tang_length_mm: float | None = None
    stopped: Cause | None = None
    sight: Sight | None = None
    gap: Gap | None = None
    stations_lost: tuple[LostStation, ...] = ()
    glare_mm: tuple[tuple[float, float], ...] = ()  # x ranges of edges at the sensor's limit
    yoke: YokeAlignment | None = None
    socket_found: bool = False
    stored: Stored | None = None


@dataclass(frozen=True, slots=True)
class Decision:
    verdict: Verdict
    borderline: bool
    reasons: tuple[Reason, ...]
    turns: Turns | None
    instruction: str
    gap_probability: float | None
    engaged: bool | None
    judged: tuple[Judged, ...] = ()
    joint_risk: JointRisk | None = None  # of all characteristics judged


@dataclass
class _Ledger:
    """Reasons as they come up, and each characteristic judged."""

    reasons: list[Reason] = field(default_factory=list)
    judged: list[Judged] = field(default_factory=list)

    def add(self, code: str, **facts: Any) -> None:
        self.reasons.append(reason(code, **facts))

    def put(self, place: int, code: str, **facts: Any) -> None:
        self.reasons.insert(place, reason(code, **facts))

    def has(self, outcome: str) -> bool:
        return any(REASONS[r.code].outcome == outcome for r in self.reasons)


def decide(findings: Findings, limits: PhotoLimits | None = None) -> Decision:
    """The verdict on one picture."""
    limits = limits or PhotoLimits()
    ledger = _Ledger()
    if findings.stopped:
        code, facts = findings.stopped
        ledger.add(code, **facts)
    turns = _turns(findings)
    if findings.sight:
        for code, facts in faults(findings.sight, limits):
            ledger.add(code, **facts)
    if findings.frame and findings.sight:
        _judge_reading(findings, findings.frame, limits, ledger)
        _judge_seating(findings, findings.frame, ledger)
        _judge_turns(turns, ledger)
    _blame_copy(findings.stored, limits, ledger)
    said = _instruction(turns, findings.frame)
    if findings.frame:
        _judge_limits(findings, findings.frame, said, ledger)
    verdict: Verdict = "pass"
    if ledger.has("adjust"):
        verdict = "adjust"
    if ledger.has("retake") or not ledger.judged:
        verdict = "retake"
    if verdict != "retake":
        _note_flats(turns, verdict, findings.frame, ledger)
    return Decision(
        verdict,
        verdict == "adjust" and _borderline(ledger, findings.frame),
        _ordered(ledger.reasons),
        turns,
        _headline(verdict, said, ledger.reasons),
        _gap_probability(ledger),
        _engaged(findings),
        tuple(ledger.judged),
        joint_risk(ledger.judged),
    )


def _borderline(ledger: _Ledger, frame: Frame | None) -> bool:
    """Whether people would disagree about the worst characteristic."""
    if frame is None:
        return False
    low, high = frame.decision.borderline_probabilities
    return low < min((j.probability for j in ledger.judged), default=0.0) < high


def _gap_probability(ledger: _Ledger) -> float | None:
    gaps = [j.probability for j in ledger.judged if j.characteristic.quantity == "gap"]
    return gaps[0] if gaps else None


def _turns(findings: Findings) -> Turns | None:
    if not findings.frame or not findings.gap:
        return None
    clock = findings.yoke.clock_deg if findings.yoke else None
    return solve_turns(findings.gap.mean_mm, clock, findings.frame)


def _instruction(turns: Turns | None, frame: Frame | None) -> str:
    if turns is None or frame is None:
        return ""
    return instruction(turns, frame.drive, frame.socket.flats if frame.socket else None)


def _judge_reading(findings: Findings, frame: Frame, limits: PhotoLimits, ledger: _Ledger) -> None:
    """Was everything read that should be there?"""
    assert findings.sight is not None
    for code, facts in unread_edges(
        findings.stations_lost,
        frame.gap.stations_x_mm,
        findings.glare_mm,
        findings.sight,
        limits,
        gap_read=findings.gap is not None,
    ):
        ledger.add(code, **facts)
    if findings.gap:
        half_width = (frame.gap.upper_mm - frame.gap.lower_mm) / 2
        _judge_uncertainty("gap", findings.gap.mean_mm, half_width, "mm", ledger)
    if frame.yoke_limits and findings.yoke:
        _judge_yoke_reading(findings, findings.yoke, findings.sight, limits, ledger)


def _judge_yoke_reading(
    findings: Findings, yoke: YokeAlignment, sight: Sight, limits: PhotoLimits, ledger: _Ledger
) -> None:
    if not findings.gauge_has_yoke_tag:
        ledger.add("no-yoke-on-gauge", gauge=findings.gauge_name)
    if not findings.gauge_has_lines:
        ledger.add("no-clock-on-gauge")
    for code, facts in unread_yoke(
        yoke,
        sight,
        limits,
        has_tag=findings.gauge_has_yoke_tag,
        has_lines=findings.gauge_has_lines,
        socket_found=findings.socket_found,
    ):
        ledger.add(code, **facts)


def _judge_uncertainty(
    quantity: str, value: Measured, most: float, unit: str, ledger: _Ledger
) -> None:
    """Where the expanded uncertainty fills the limits, nothing could ever be proven."""
    if value.expanded_uncertainty > most:
        ledger.add(
            "uncertainty-too-large",
            quantity=quantity,
            expanded=value.expanded_uncertainty,
            unit=unit,
        )


def _judge_seating(findings: Findings, frame: Frame, ledger: _Ledger) -> None:
    """The sill must lie where the drawing puts it: else the gauge does not sit on it.

    The gauge is refused where it is hardly likely to be on its seat.
    """
    if findings.gap is None:
        return
    sill, offset, tilt = frame.sill, findings.gap.sill.offset_mm, findings.gap.sill.tilt_deg
    seated = min(
        offset.probability_inside(-sill.edge_y_tolerance_mm, sill.edge_y_tolerance_mm),
        tilt.probability_inside(-sill.edge_tilt_tolerance_deg, sill.edge_tilt_tolerance_deg),
    )
    if seated < frame.decision.seated_probability:
        ledger.add(
            "gauge-not-seated",
            offset_mm=offset.value,
            tilt_deg=tilt.value,
            offset_limit_mm=sill.edge_y_tolerance_mm,
            tilt_limit_deg=sill.edge_tilt_tolerance_deg,
        )


def _blame_copy(stored: Stored | None, limits: PhotoLimits, ledger: _Ledger) -> None:
    """Never refuses by itself what can be read."""
    blamed = copy_to_blame(stored, [r.code for r in ledger.reasons], limits)
    if blamed:
        place, (code, facts) = blamed
        ledger.put(place, code, **facts)


def _judge_turns(turns: Turns | None, ledger: _Ledger) -> None:
    if turns and turns.contradiction_mm is not None:
        ledger.add(
            "clock-contradicts-gap",
            difference_mm=turns.contradiction_mm,
            limit_mm=turns.contradiction_limit_mm,
        )


def _judge_limits(findings: Findings, frame: Frame, said: str, ledger: _Ledger) -> None:
    """Every characteristic measured; a reason where the frame's rule does not accept it."""
    for characteristic in _characteristics(findings, frame):
        judged = judge(characteristic, frame.decision)
        ledger.judged.append(judged)
        if not judged.accepted:
            _not_accepted(judged, said, ledger)


def _characteristics(findings: Findings, frame: Frame) -> list[Characteristic]:
    """What was measured and has limits, in the order of the result."""
    gap, yoke, limits = findings.gap, findings.yoke, frame.yoke_limits
    found: list[Characteristic] = []
    if gap:
        inner = frame.gap
        found.append(Characteristic("gap", "mm", gap.mean_mm, inner.lower_mm, inner.upper_mm))
    either_side: list[tuple[str, str, Measured | None, float]] = []
    if gap:
        either_side.append(("taper", "mm", gap.taper_mm, frame.gap.taper_limit_mm))
    if yoke and limits:
        either_side += [
            ("lateral_offset", "mm", yoke.lateral_offset_mm, limits.lateral_offset_mm),
            ("tilt", "deg", yoke.tilt_deg, limits.tilt_deg),
            ("seat_gap", "mm", yoke.seat_gap_mm, limits.seat_gap_mm),
            ("clock", "deg", yoke.clock_deg, limits.clock_deg),
        ]
    found += [Characteristic(q, unit, m, -most, most) for q, unit, m, most in either_side if m]
    return found


#: Reason given where a characteristic is not accepted; the gap's says which way.
_ADJUST_CODES = {
    "taper": "taper",
    "lateral_offset": "yoke-offset",
    "tilt": "yoke-tilt",
    "seat_gap": "yoke-not-seated",
    "clock": "clock-off",
}


def _not_accepted(judged: Judged, said: str, ledger: _Ledger) -> None:
    found = judged.characteristic
    value, lower, upper = found.measured.value, found.lower, found.upper
    # Rounded down: what falls short of 95 % must not read 95 %.
    percent = floor(100.0 * judged.probability)
    proof = f", inside but not proven ({percent}%)" if lower <= value <= upper else ""
    high = value > (lower + upper) / 2
    if found.quantity == "gap":
        code, limit = ("gap-high", upper) if high else ("gap-low", lower)
    else:
        code, limit = _ADJUST_CODES[found.quantity], upper
    ledger.add(code, value=value, limit=limit, proof=proof, instruction=said)


def _note_flats(
    turns: Turns | None, verdict: Verdict, frame: Frame | None, ledger: _Ledger
) -> None:
    """What a mechanic should know of the flats before turning anything."""
    if turns is None or frame is None or turns.source == "gap":
        return
    if verdict == "pass":
        if abs(turns.value) > 0.5 / (frame.socket.flats if frame.socket else 1):
            ledger.add("better-flat", turns=turns.value)
        return
    if not turns.flat_inside:
        ledger.add("no-flat-inside")
    probability = turns.flat_probability
    if probability is not None and probability < frame.decision.flat_probability:
        ledger.add(
            "flat-uncertain",
            first=turns.value,
            second=turns.second_value,
            probability=probability,
        )


def _ordered(reasons: list[Reason]) -> tuple[Reason, ...]:
    """Retake reasons first, then adjust, then notes."""
    rank = {"retake": 0, "adjust": 1, "note": 2}
    return tuple(sorted(reasons, key=lambda r: rank[REASONS[r.code].outcome]))


def _headline(verdict: Verdict, said: str, reasons: list[Reason]) -> str:
    """The one line of what to do now."""
    if verdict == "pass":
        return "No turn is needed."
    if verdict == "retake":
        causes = [r for r in reasons if REASONS[r.code].outcome == "retake"]
        return causes[0].remedy if causes else "Take the picture again."
    causes = [r for r in reasons if REASONS[r.code].outcome == "adjust"]
    turning = {"gap-high", "gap-low", "clock-off"}
    if any(r.code in turning for r in causes) and said != "No turn is needed.":
        return said
    return causes[0].remedy


def _engaged(findings: Findings) -> bool | None:
    """Whether the yoke's tang is in the socket: the shoulder stands off by less than its length."""
    seat = findings.yoke.seat_gap_mm if findings.yoke else None
    if seat is None or findings.tang_length_mm is None:
        return None
    return seat.value < findings.tang_length_mm
