"""Between the steps and the decision: evidence into findings, findings into a result.

Only carries figures from one form to another; measures and decides nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import inf

import numpy as np

import rigvision
from rigvision.decision.acceptance import Judged
from rigvision.decision.cause import Cause
from rigvision.decision.lost_marks import UnreadMark, too_few
from rigvision.decision.result import (
    BudgetLine,
    CharacteristicResult,
    CheckResult,
    DecisionResult,
    GapResult,
    PhotoFacts,
    StationResult,
    TurnsResult,
    ViewResult,
    YokeResult,
)
from rigvision.decision.sight import Sight
from rigvision.decision.verdict import Decision, Findings
from rigvision.evidence import Evidence
from rigvision.ground.conventions import FloatArray
from rigvision.ground.errors import Unmeasurable
from rigvision.ground.measured import Influence, Measured
from rigvision.photo.picture import Picture
from rigvision.photo.sharpness import blur_px, lightest
from rigvision.vision.conditions import Conditions
from rigvision.vision.marks import Marks
from rigvision.vision.missing_marks import LostMark
from rigvision.vision.pose import Pose
from rigvision.vision.view import View
from rigvision.world.recognise import has_index_lines

#: An unfound gauge is blamed on blur beyond this part of the picture's longer side: a
#: mark's module, filled by the gauge as it should be, is some ten times as large.
BLUR_PER_SIDE = 1 / 1500
#: And on the dark where the lightest parts stay below this, linear light.
DARK = 0.02


def facts_of(picture: Picture) -> PhotoFacts:
    return PhotoFacts(
        picture.name,
        picture.sha256,
        picture.width_px,
        picture.height_px,
        picture.exif.taken_at,
    )


def findings_of(seen: Evidence, stopped: Cause | None) -> Findings:
    """What the decision needs of the evidence; ``stopped`` is why there is no more of it."""
    gauge, frame = seen.gauge, seen.frame
    return Findings(
        frame=frame,
        gauge_name=gauge.name if gauge else "",
        gauge_has_yoke_tag=bool(gauge and gauge.yoke and gauge.yoke.tag_id is not None),
        gauge_has_lines=bool(gauge and frame and has_index_lines(gauge, frame)),
        tang_length_mm=gauge.yoke.tang_length_mm if gauge and gauge.yoke else None,
        stopped=stopped,
        sight=_sight(seen),
        gap=seen.gap,
        stations_lost=seen.slot.lost if seen.slot else (),
        glare_mm=seen.slot.glare_mm if seen.slot else (),
        yoke=seen.alignment,
        socket_found=bool(seen.yoke and seen.yoke.socket),
        stored=seen.stored,
    )


def assemble(
    photo: PhotoFacts,
    seen: Evidence,
    findings: Findings,
    decision: Decision,
    door: int | None,
    camera_name: str,
) -> CheckResult:
    """The result in the form that is printed and kept."""
    return CheckResult(
        photo=photo,
        gauge=seen.gauge.name if seen.gauge else None,
        frame=seen.frame.name if seen.frame else None,
        door=door,
        camera=camera_name,
        verdict=decision.verdict,
        borderline=decision.borderline,
        reasons=decision.reasons,
        gap=_gap_result(seen, decision),
        yoke=_yoke_result(seen, decision),
        turns=_turns_result(seen, decision),
        uncertainty_budget=_budget(seen),
        view=_view_result(seen, findings.sight),
        version=rigvision.__version__,
        decision=_decision_result(seen, decision),
        evidence=seen,
    )


def cause_of(picture: Picture, stopped: Unmeasurable, marks: Marks | None) -> Cause:
    """The reason to give: marks not found in a blurred or dark picture are not at fault."""
    if stopped.code in ("no-gauge", "too-few-marks", "marks-disagree"):
        light = lightest(picture)
        if light < DARK:
            return "too-dark", {"light": f"{light:.1%}", "limit": f"{DARK:.0%}"}
        found = _blur_px(picture, marks)
        limit = BLUR_PER_SIDE * max(picture.width_px, picture.height_px)
        # A picture without any edge is not blurred: there is nothing in it.
        if limit < found < float("inf"):
            return "blurred", {
                "how": "is blurred",
                "blur": f"{found:.1f} px",
                "limit": f"{limit:.1f} px",
                "cure": "focus",
            }
    if stopped.code == "too-few-marks" and marks:
        return too_few(_unread(marks, marks.lost), stopped.facts)
    return stopped.code, stopped.facts


def _blur_px(picture: Picture, marks: Marks | None) -> float:
    """Of the marks where there are any: a moved phone leaves edges along its way sharp."""
    if marks and marks.measured:
        return float(np.median([mark.blur_px for mark in marks.measured]))
    return blur_px(picture)


def _unread(marks: Marks, lost: Sequence[LostMark]) -> tuple[UnreadMark, ...]:
    """Lost marks with their places from the middle of the gauge, as far as any mark tells."""
    seen = [m.corners_px.mean(axis=0) for m in marks.measured]
    places = {m.mark_id: m.corners_px.mean(axis=0) for m in lost if m.corners_px is not None}
    if not seen and not places:
        return tuple(UnreadMark(m.mark_id, m.cause, None) for m in lost)
    middle = np.mean([*seen, *places.values()], axis=0)
    return tuple(
        UnreadMark(m.mark_id, m.cause, _vector(places.get(m.mark_id), middle)) for m in lost
    )


def _vector(place: FloatArray | None, middle: FloatArray) -> tuple[float, float] | None:
    if place is None:
        return None
    x, y = place - middle
    return float(x), float(y)


def _sight(seen: Evidence) -> Sight | None:
    if seen.pose is None or seen.gauge is None or seen.prior is None:
        return None
    view, scale = seen.pose.view, _px_per_mm(seen)
    sight = Sight(
        view.distance_mm,
        view.tilt_deg,
        scale,
        seen.pose.blur_px / scale,
        seen.pose.rival_ratio,
        seen.prior.focal_known,
        seen.pose.refused,
        marks_lost=_lost_of(seen.marks, seen.pose) if seen.marks else (),
        focal_told=seen.pose.focal_source == "picture",
        camera_doubted=seen.pose.doubted,
        gauge_right=_way(view, np.array([1.0, 0.0, 0.0])),
        camera_side=_way(view, view.camera_centre_mm * np.array([1.0, 1.0, 0.0])),
    )
    return _under(seen.conditions, sight, scale) if seen.conditions else sight


def _lost_of(marks: Marks, pose: Pose) -> tuple[UnreadMark, ...]:
    """Marks not read, and those of which a side was left out."""
    sides = {mark_id for mark_id, _ in pose.misread}
    places = {m.mark_id: m.corners_px.mean(axis=0) for m in marks.measured}
    middle = np.mean(list(places.values()), axis=0)
    odd = (UnreadMark(i, "side", _vector(places.get(i), middle)) for i in sorted(sides))
    return (*_unread(marks, _not_read(pose)), *odd)


def _not_read(pose: Pose) -> tuple[LostMark, ...]:
    """Those that were read and refused are told apart from these."""
    return tuple(mark for mark in pose.lost if mark.cause != "contradicts")


def _under(conditions: Conditions, sight: Sight, px_per_mm: float) -> Sight:
    """The same sight with the conditions under which the picture was taken."""
    exposure, screen, smear = conditions.exposure, conditions.screen, conditions.smear
    sight = replace(
        sight,
        white=exposure.white,
        white_blown=exposure.white_blown,
        barrel_light=exposure.barrel_light,
        barrel_blown=exposure.barrel_blown,
        screen_part=screen.part,
        screen_pitch_px=screen.pitch_px,
    )
    if smear is None:
        return sight
    return replace(sight, smear_mm=smear.path_px / px_per_mm, smear_along=smear.direction)


def _way(view: View, along_mm: FloatArray) -> tuple[float, float]:
    """Unit vector in the picture of a way (3,) in gauge axes from the gauge's origin."""
    length_mm = float(np.linalg.norm(along_mm))
    if length_mm == 0.0:
        return 0.0, 1.0
    start, end = view.project(np.stack([np.zeros(3), along_mm / length_mm]))
    x, y = (end - start) / np.linalg.norm(end - start)
    return float(x), float(y)


def _px_per_mm(seen: Evidence) -> float:
    """Scale across the gap, square to the sill, where the edges are; else at the origin."""
    assert seen.pose is not None
    point = np.zeros(3)
    if seen.frame:
        point[1:] = seen.frame.sill.edge_y_mm, seen.frame.sill.face_z_mm
    return seen.pose.view.px_per_mm(point, np.array([0.0, 1.0, 0.0]))


def _gap_result(seen: Evidence, decision: Decision) -> GapResult | None:
    if seen.frame is None:
        return None
    limits, gap = seen.frame.gap, seen.gap
    stations = (
        tuple(StationResult(s.x_mm, *_pair(s.gap_mm), _factor(s.gap_mm)) for s in gap.stations)
        if gap
        else tuple(StationResult(x, None, None) for x in limits.stations_x_mm)
    )
    return GapResult(
        *_pair(gap.mean_mm if gap else None),
        _factor(gap.mean_mm if gap else None),
        decision.gap_probability,
        limits.lower_mm,
        limits.upper_mm,
        *_pair(gap.taper_mm if gap else None),
        stations,
        _factor(gap.taper_mm if gap else None),
        *_acceptance_of_gap(decision),
    )


def _yoke_result(seen: Evidence, decision: Decision) -> YokeResult:
    found = seen.alignment
    if found is None:
        return YokeResult()
    return YokeResult(
        *_pair(found.lateral_offset_mm),
        *_pair(found.tilt_deg),
        *_pair(found.seat_gap_mm),
        *_pair(found.clock_deg),
        decision.engaged,
        _factor(found.lateral_offset_mm),
        _factor(found.tilt_deg),
        _factor(found.seat_gap_mm),
        _factor(found.clock_deg),
    )


def _turns_result(seen: Evidence, decision: Decision) -> TurnsResult:
    turns = decision.turns
    if turns is None:
        return TurnsResult(None, None, None, None, decision.instruction)
    passes = decision.verdict == "pass"
    after = turns.gap_after_mm, turns.gap_after_expanded_uncertainty_mm
    if passes and seen.gap:
        after = seen.gap.mean_mm.value, seen.gap.mean_mm.expanded_uncertainty
    return TurnsResult(
        0.0 if passes else turns.value,
        turns.expanded_uncertainty,
        "none" if passes else turns.direction,
        turns.source,
        decision.instruction,
        turns.coverage_factor,
        turns.flat_probability,
        *after,
    )


def _acceptance_of_gap(decision: Decision) -> tuple[float | None, float | None]:
    found = [j.acceptance for j in decision.judged if j.characteristic.quantity == "gap"]
    return found[0] if found and found[0] else (None, None)


def _decision_result(seen: Evidence, decision: Decision) -> DecisionResult | None:
    if seen.frame is None:
        return None
    rule, risk = seen.frame.decision, decision.joint_risk
    return DecisionResult(
        rule.rule,
        rule.conformance_probability,
        risk.probability if risk else None,
        risk.independent if risk else None,
        risk.at_most if risk else None,
        tuple(_characteristic_result(judged) for judged in decision.judged),
    )


def _characteristic_result(judged: Judged) -> CharacteristicResult:
    found = judged.characteristic
    lower, upper = judged.acceptance or (None, None)
    return CharacteristicResult(
        found.quantity,
        found.unit,
        found.measured.value,
        found.measured.expanded_uncertainty,
        found.lower,
        found.upper,
        lower,
        upper,
        judged.probability,
        judged.accepted,
    )


def _view_result(seen: Evidence, sight: Sight | None) -> ViewResult:
    found = seen.marks.ids if seen.marks else ()
    if sight is None:
        return ViewResult(None, None, None, found)
    return ViewResult(
        sight.distance_mm, sight.tilt_deg, sight.px_per_mm, found, sight.marks_refused
    )


def _budget(seen: Evidence) -> tuple[BudgetLine, ...]:
    quantities: list[tuple[str, Measured | None]] = []
    if seen.gap:
        quantities += [("gap", seen.gap.mean_mm), ("taper", seen.gap.taper_mm)]
    if seen.alignment:
        quantities += [
            ("lateral_offset", seen.alignment.lateral_offset_mm),
            ("tilt", seen.alignment.tilt_deg),
            ("seat_gap", seen.alignment.seat_gap_mm),
            ("clock", seen.alignment.clock_deg),
        ]
    return tuple(
        _budget_line(quantity, influence, measured.standard_uncertainty)
        for quantity, measured in quantities
        if measured
        for influence in measured.influences
    )


def _budget_line(quantity: str, influence: Influence, combined: float) -> BudgetLine:
    angular, u = quantity in ("tilt", "clock"), influence.standard_uncertainty
    return BudgetLine(
        quantity,
        influence.source,
        influence.kind,
        None if angular else u,
        u if angular else None,
        (u / combined) ** 2 if combined else None,
        influence.sensitivity,
        influence.input_uncertainty,
        influence.input_unit,
        influence.degrees_of_freedom if influence.degrees_of_freedom < inf else None,
    )


def _factor(measured: Measured | None) -> float | None:
    return measured.coverage_factor if measured else None


def _pair(measured: Measured | None) -> tuple[float | None, float | None]:
    """Value and expanded uncertainty, or None for both."""
    return (measured.value, measured.expanded_uncertainty) if measured else (None, None)
