"""One picture checked against its truth: every error beside the uncertainty claimed for it."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

import rigvision
from rigvision.decision.result import CheckResult
from rigvision.evidence import Evidence
from rigvision.ground.conventions import fold_deg
from rigvision.ground.errors import PhotoError
from rigvision.vision.outward import corrected_corners
from rigvision.world.catalogue import load
from rigvision.world.frame import Frame

Truth = dict[str, Any]
#: How the code of a picture begins on which the program failed.
CRASH = "crash"

#: Yoke figures: name here, key of value, key of expanded uncertainty, both in results.
YOKE_KEYS = (
    ("lateral", "lateral_offset_mm", "lateral_offset_expanded_uncertainty_mm"),
    ("tilt", "tilt_deg", "tilt_expanded_uncertainty_deg"),
    ("seat", "seat_gap_mm", "seat_gap_expanded_uncertainty_mm"),
    ("clock", "clock_deg", "clock_expanded_uncertainty_deg"),
)


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure of one picture; ``found`` and ``expanded`` are None where not measured."""

    name: str
    true: float
    found: float | None
    expanded: float | None
    factor: float | None  # coverage factor of ``expanded``
    period: float | None = None  # errors count modulo this

    @property
    def error(self) -> float | None:
        if self.found is None:
            return None
        error = self.found - self.true
        return error if self.period is None else fold_deg(error, self.period)

    @property
    def error_over_u(self) -> float | None:
        """Error over the standard uncertainty claimed for it."""
        if self.error is None or not self.expanded or self.factor is None:
            return None
        return self.error * self.factor / self.expanded


@dataclass(frozen=True, slots=True)
class Record:
    """What one picture gave. Figures and corners are empty where truth says retake."""

    name: str
    verdict: str  # pass, adjust, retake, or error where the file could not be read
    true_verdict: str
    codes: tuple[str, ...]
    figures: tuple[Figure, ...] = ()
    corners_px: tuple[tuple[float, float, float], ...] = ()  # errors x, y, outward
    budget_mm: dict[str, float] = field(default_factory=dict)  # standard uncertainties of the gap
    view: dict[str, float | None] = field(default_factory=dict)
    group: str = ""  # what it was drawn from: quick:nominal, traced:hard, samples and so on
    # True lengths: the largest excess over a limit, negative where all are inside.
    outside_mm: float | None = None
    # Gap left over after the true turn to the best flat, in spreads of gap against clock.
    left_over_spreads: float | None = None
    # Of a disturbed photo: codes of a retake that are right answers.
    accepted_codes: tuple[str, ...] = ()
    seconds: float | None = None  # that the check took

    @property
    def crash(self) -> str | None:
        """What the program failed of, if it did."""
        return next((code for code in self.codes if code.startswith(CRASH)), None)

    @property
    def relied_on(self) -> tuple[Figure, ...]:
        """Figures that somebody may rely on: those of a refused picture count as not measured."""
        if self.verdict != "retake":
            return self.figures
        return tuple(replace(f, found=None, expanded=None) for f in self.figures)

    def figure(self, name: str) -> Figure | None:
        return next((f for f in self.relied_on if f.name == name), None)


def measure(photo: Path, truth: Truth, name: str, group: str) -> Record:
    """Check one photo and hold the result against its truth."""
    frame = load(Frame, truth["frame"])
    wanted = true_verdict(truth, frame)
    try:
        result = rigvision.check(photo)
    except PhotoError as error:
        return Record(name, "error", wanted, (error.code,), group=group)
    except Exception as error:  # one of a thousand must not cost the others
        crash = f"{CRASH}: {type(error).__name__}: {error}"
        return Record(name, "error", wanted, (crash,), group=group)
    codes = tuple(reason.code for reason in result.reasons)
    if wanted == "retake":
        return Record(name, result.verdict, wanted, codes, group=group)
    return Record(
        name,
        result.verdict,
        wanted,
        codes,
        tuple(_figures(result, truth, frame, wanted)),
        _corner_errors(result, truth),
        _gap_budget(result),
        _view(result, truth),
        group,
        _outside_mm(truth, frame),
        _left_over_spreads(truth, frame),
    )


def _view(result: CheckResult, truth: Truth) -> dict[str, float | None]:
    """How it was seen: distance and tilt by the truth, blur as the marks' borders show it."""
    pose = result.evidence.pose if isinstance(result.evidence, Evidence) else None
    return {
        "distance_mm": truth["view"]["distance_mm"],
        "tilt_deg": truth["view"]["tilt_deg"],
        "blur_px": pose.blur_px if pose else None,
    }


def _outside_mm(truth: Truth, frame: Frame) -> float:
    gap, limits = truth["gap"], frame.gap
    excess = [
        limits.lower_mm - gap["mean_mm"],
        gap["mean_mm"] - limits.upper_mm,
        abs(gap["taper_mm"]) - limits.taper_limit_mm,
    ]
    for _, key, _ in YOKE_KEYS if frame.yoke_limits else ():
        if key.endswith("_mm") and truth["yoke"][key] is not None:
            excess.append(abs(truth["yoke"][key]) - getattr(frame.yoke_limits, key))
    return max(excess)


def _left_over_spreads(truth: Truth, frame: Frame) -> float | None:
    """None where the truth holds no turn to the best flat: path-traced passes."""
    turns, drive = _true_turns(truth), frame.drive
    if "to_best_flat" not in truth["turns"] and true_verdict(truth, frame) == "pass":
        return None
    left_mm = truth["gap"]["mean_mm"] - turns * drive.gap_per_socket_turn_mm - frame.gap.nominal_mm
    return abs(left_mm) / drive.gap_clock_spread_mm


def _true_turns(truth: Truth) -> float:
    return float(truth["turns"].get("to_best_flat", truth["turns"]["value"]))


def true_verdict(truth: Truth, frame: Frame) -> str:
    """The verdict that follows from the true figures and the frame's limits."""
    if "verdict" in truth:
        return str(truth["verdict"])
    sill = truth["sill"]
    if (
        abs(sill["offset_mm"]) > frame.sill.edge_y_tolerance_mm
        or abs(sill["tilt_deg"]) > frame.sill.edge_tilt_tolerance_deg
    ):
        return "retake"
    gap, limits = truth["gap"], frame.gap
    inside = limits.lower_mm <= gap["mean_mm"] <= limits.upper_mm
    inside = inside and abs(gap["taper_mm"]) <= limits.taper_limit_mm
    for _, key, _ in YOKE_KEYS if frame.yoke_limits else ():
        value = truth["yoke"][key]
        inside = inside and (value is None or abs(value) <= getattr(frame.yoke_limits, key))
    return "pass" if inside else "adjust"


def _figures(result: CheckResult, truth: Truth, frame: Frame, wanted: str) -> list[Figure]:
    true_gap, gap, yoke = truth["gap"], result.gap, result.yoke
    figures = [
        Figure(
            "gap",
            true_gap["mean_mm"],
            gap.mean_mm if gap else None,
            gap.expanded_uncertainty_mm if gap else None,
            gap.coverage_factor if gap else None,
        ),
        Figure(
            "taper",
            true_gap["taper_mm"],
            gap.taper_mm if gap else None,
            gap.taper_expanded_uncertainty_mm if gap else None,
            gap.taper_coverage_factor if gap else None,
        ),
    ]
    found = {s.x_mm: s for s in gap.stations} if gap else {}
    for station in true_gap["stations"]:
        seen = found.get(station["x_mm"])
        read = (seen.gap_mm, seen.expanded_uncertainty_mm, seen.coverage_factor) if seen else None
        figures.append(Figure("station", station["gap_mm"], *(read or (None, None, None))))
    for name, key, expanded in YOKE_KEYS:
        if truth["yoke"][key] is not None:
            period = 360.0 / frame.socket.flats if name == "clock" and frame.socket else None
            factor = f"{key.rpartition('_')[0]}_coverage_factor"
            values = (getattr(yoke, k) for k in (key, expanded, factor))
            figures.append(Figure(name, truth["yoke"][key], *values, period))
    if wanted == "adjust" and result.verdict != "pass":
        turns = result.turns
        found_turns = (turns.value, turns.expanded_uncertainty, turns.coverage_factor)
        figures.append(Figure("turns", _true_turns(truth), *found_turns))
    return figures


def _corner_errors(result: CheckResult, truth: Truth) -> tuple[tuple[float, float, float], ...]:
    """Found minus true of each corner of the marks the pose stands on: x, y, outward (px)."""
    seen = result.evidence
    if not isinstance(seen, Evidence) or seen.pose is None or seen.marks is None:
        return ()
    errors = []
    for mark_id in seen.pose.used:
        mark, true = seen.marks.by_id(mark_id), truth["marks"].get(str(mark_id))
        if mark is None or true is None:
            continue
        corners = np.asarray(true)
        apart = corrected_corners(mark, seen.pose.view) - corners
        outward = corners - corners.mean(axis=0)
        outward /= np.linalg.norm(outward, axis=1, keepdims=True)
        radial = np.sum(apart * outward, axis=1)
        errors += [(float(x), float(y), float(r)) for (x, y), r in zip(apart, radial, strict=True)]
    return tuple(errors)


def _gap_budget(result: CheckResult) -> dict[str, float]:
    lines = [line for line in result.uncertainty_budget if line.quantity == "gap"]
    return {line.source: line.standard_uncertainty_mm or 0.0 for line in lines}
