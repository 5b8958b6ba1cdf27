"""Pass, adjust or retake: guarded acceptance of every characteristic (JCGM 106:2012, 8.3).

Pure: measured values in, verdict and reasons out. What cannot be trusted is a retake;
what is not proven inside its limits, at the frame's own probability, is an adjust.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from rigvision.decision.reasons import REASONS, Reason, reason
from rigvision.decision.result import Verdict
from rigvision.decision.turns import Turns, instruction, solve_turns
from rigvision.ground.measured import Measured
from rigvision.world.frame import Frame

if TYPE_CHECKING:
    from rigvision.metrology.gap import Gap
    from rigvision.metrology.yoke import YokeAlignment

#: Between these probabilities of conformity people would disagree: a borderline shot.
BORDERLINE = (0.05, 0.95)

#: Below this probability of lying within its tolerances the gauge counts as not seated. Less
#: than even: the sill is read less surely than the gap, and a seat a little off moves both edges.
SEATED_PROBABILITY = 0.2


@dataclass(frozen=True, slots=True)
class PhotoLimits:
    """What a picture must be for its figures to be believed."""

    tilt_deg: float = 50.0  # beyond, rounds hide what they should show
    px_per_mm: float = 3.0  # fewer, and a mark's modules are under six pixels
    blur_mm: float = 0.25  # sigma; the size of a broken edge
    rival_ratio: float = 1.2  # of 64 residuals: a chance of a wrong pose far below 1e-4
    station_part: float = 0.5  # of the stations must be read
    saturated: float = 0.25  # of the metal beside the gap, where edges are lost


@dataclass(frozen=True, slots=True)
class Sight:
    """How the gauge was seen."""

    distance_mm: float
    tilt_deg: float
    px_per_mm: float
    blur_mm: float
    rival_ratio: float
    focal_known: bool
    marks_refused: tuple[int, ...] = ()
    saturated: float = 0.0


@dataclass(frozen=True, slots=True)
class Findings:
    """Everything the decision rests on; None from the first step that failed."""

    frame: Frame | None = None
    gauge_name: str = ""
    gauge_has_yoke_tag: bool = False
    gauge_has_lines: bool = False
    tang_length_mm: float | None = None
    stopped: tuple[str, dict[str, object]] | None = None  # reason code and its facts
    sight: Sight | None = None
    gap: Gap | None = None
    stations_lost_mm: tuple[float, ...] = ()
    yoke: YokeAlignment | None = None
    socket_found: bool = False


@dataclass(frozen=True, slots=True)
class Decision:
    verdict: Verdict
    borderline: bool
    reasons: tuple[Reason, ...]
    turns: Turns | None
    instruction: str
    gap_probability: float | None
    engaged: bool | None


@dataclass
class _Ledger:
    """Reasons as they come up, and the probability of each characteristic."""

    reasons: list[Reason] = field(default_factory=list)
    probabilities: list[float] = field(default_factory=list)

    def add(self, code: str, **facts: object) -> None:
        self.reasons.append(reason(code, **facts))

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
        _judge_sight(findings.sight, limits, ledger)
    if findings.frame and findings.sight:
        _judge_reading(findings, findings.frame, limits, ledger)
        _judge_seating(findings, findings.frame, ledger)
        _judge_turns(turns, ledger)
    said = _instruction(turns, findings.frame)
    gap_probability = None
    if findings.frame and findings.gap:
        gap_probability = _judge_gap(findings.gap, findings.frame, said, ledger)
    if findings.frame and findings.yoke:
        _judge_yoke(findings.yoke, findings.frame, said, ledger)
    verdict: Verdict = "pass"
    if ledger.has("adjust"):
        verdict = "adjust"
    if ledger.has("retake") or not ledger.probabilities:
        verdict = "retake"
    if verdict != "retake":
        _note_flats(turns, verdict, findings.frame, ledger)
    least = min(ledger.probabilities, default=0.0)
    return Decision(
        verdict,
        verdict == "adjust" and BORDERLINE[0] < least < BORDERLINE[1],
        _ordered(ledger.reasons),
        turns,
        _headline(verdict, said, ledger.reasons),
        gap_probability,
        _engaged(findings),
    )


def _turns(findings: Findings) -> Turns | None:
    if not findings.frame or not findings.gap:
        return None
    clock = findings.yoke.clock_deg if findings.yoke else None
    return solve_turns(findings.gap.mean_mm, clock, findings.frame)


def _instruction(turns: Turns | None, frame: Frame | None) -> str:
    if turns is None or frame is None:
        return ""
    return instruction(turns, frame.drive, frame.socket.flats if frame.socket else None)


def _judge_sight(sight: Sight, limits: PhotoLimits, ledger: _Ledger) -> None:
    """Is the picture good enough to be believed?"""
    if sight.tilt_deg > limits.tilt_deg:
        ledger.add("too-oblique", tilt_deg=sight.tilt_deg, limit_deg=limits.tilt_deg)
    if sight.px_per_mm < limits.px_per_mm:
        ledger.add("too-far", px_per_mm=sight.px_per_mm, limit=limits.px_per_mm)
    if sight.blur_mm > limits.blur_mm:
        ledger.add("blurred", blur=f"{sight.blur_mm:.2f} mm", limit=f"{limits.blur_mm:.2f} mm")
    if sight.rival_ratio < limits.rival_ratio:
        ledger.add("ambiguous-view", ratio=sight.rival_ratio)
    if sight.marks_refused:
        ledger.add("marks-refused", ids=", ".join(map(str, sight.marks_refused)))
    if not sight.focal_known:
        ledger.add("focal-unknown")


def _judge_reading(findings: Findings, frame: Frame, limits: PhotoLimits, ledger: _Ledger) -> None:
    """Was everything read that should be there?"""
    total = len(frame.gap.stations_x_mm)
    lost = findings.stations_lost_mm if findings.gap else frame.gap.stations_x_mm
    if total - len(lost) < limits.station_part * total or findings.gap is None:
        assert findings.sight is not None
        if findings.sight.saturated > limits.saturated:
            ledger.add("glare", where="edges of the gap")
        else:
            ledger.add("edge-hidden", found=total - len(lost), total=total)
    elif lost:
        ledger.add("stations-lost", stations=", ".join(f"{x:g}" for x in lost))
    if findings.gap:
        half_width = (frame.gap.upper_mm - frame.gap.lower_mm) / 2
        _judge_uncertainty("gap", findings.gap.mean_mm, half_width, "mm", ledger)
    if frame.yoke_limits and findings.yoke:
        _judge_yoke_reading(findings, frame, ledger)


def _judge_yoke_reading(findings: Findings, frame: Frame, ledger: _Ledger) -> None:
    yoke = findings.yoke
    assert yoke is not None
    if not findings.gauge_has_yoke_tag:
        ledger.add("no-yoke-on-gauge", gauge=findings.gauge_name)
    if not findings.gauge_has_lines:
        ledger.add("no-clock-on-gauge")
    hidden = []
    if not findings.socket_found:
        hidden.append("socket's outline")
    elif findings.gauge_has_yoke_tag and yoke.lateral_offset_mm is None:
        hidden.append("yoke's tag")
    elif findings.gauge_has_yoke_tag and yoke.seat_gap_mm is None:
        hidden.append("socket's face")
    if findings.socket_found and findings.gauge_has_lines and yoke.clock_deg is None:
        hidden.append("socket's index lines")
    if hidden:
        ledger.add("yoke-hidden", what=" and ".join(hidden))


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
    if seated < SEATED_PROBABILITY:
        ledger.add(
            "gauge-not-seated",
            offset_mm=offset.value,
            tilt_deg=tilt.value,
            offset_limit_mm=sill.edge_y_tolerance_mm,
            tilt_limit_deg=sill.edge_tilt_tolerance_deg,
        )


def _judge_turns(turns: Turns | None, ledger: _Ledger) -> None:
    if turns and turns.contradiction_mm is not None:
        ledger.add(
            "clock-contradicts-gap",
            difference_mm=turns.contradiction_mm,
            limit_mm=turns.contradiction_limit_mm,
        )


def _judge_gap(gap: Gap, frame: Frame, said: str, ledger: _Ledger) -> float:
    """Mean gap and taper; returns the gap's probability of conformity."""
    limits, mean = frame.gap, gap.mean_mm
    high = mean.value > (limits.lower_mm + limits.upper_mm) / 2
    probability = _prove(
        mean,
        limits.lower_mm,
        limits.upper_mm,
        "gap-high" if high else "gap-low",
        frame,
        ledger,
        limit=limits.upper_mm if high else limits.lower_mm,
        instruction=said,
    )
    if gap.taper_mm is not None:
        limit = limits.taper_limit_mm
        _prove(gap.taper_mm, -limit, limit, "taper", frame, ledger, limit=limit)
    return probability


def _judge_yoke(yoke: YokeAlignment, frame: Frame, said: str, ledger: _Ledger) -> None:
    limits = frame.yoke_limits
    if limits is None:
        return
    characteristics = (
        (yoke.lateral_offset_mm, limits.lateral_offset_mm, "yoke-offset"),
        (yoke.tilt_deg, limits.tilt_deg, "yoke-tilt"),
        (yoke.seat_gap_mm, limits.seat_gap_mm, "yoke-not-seated"),
        (yoke.clock_deg, limits.clock_deg, "clock-off"),
    )
    for measured, limit, code in characteristics:
        if measured is not None:
            _prove(measured, -limit, limit, code, frame, ledger, limit=limit, instruction=said)


def _prove(
    measured: Measured,
    lower: float,
    upper: float,
    code: str,
    frame: Frame,
    ledger: _Ledger,
    **facts: object,
) -> float:
    """Probability that a characteristic conforms; a reason where it is not proven."""
    probability = measured.probability_inside(lower, upper)
    ledger.probabilities.append(probability)
    if probability < frame.decision.conformance_probability:
        inside = lower <= measured.value <= upper
        proof = f", inside but not proven ({probability:.0%})" if inside else ""
        ledger.add(code, value=measured.value, proof=proof, **facts)
    return probability


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
    if not frame.gap.lower_mm <= turns.gap_after_mm <= frame.gap.upper_mm:
        ledger.add("no-flat-inside")
    if turns.second_value is not None:
        ledger.add("flat-uncertain", first=turns.value, second=turns.second_value)


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
