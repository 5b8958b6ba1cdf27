"""All that a study has found: readings, gauge R&R, verdicts, bias; and what stands in the way."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import numpy as np

from rigvision.training.linearity import LinearityStudy, MasterReadings, linearity_study
from rigvision.training.quantity import Limits
from rigvision.training.readings import Readings, readings_of
from rigvision.training.rr import GaugeStudies, gauge_studies
from rigvision.training.study_error import StudyError
from rigvision.training.study_shot import Study
from rigvision.training.study_taking import odd_remark
from rigvision.training.verdict_agreement import Call, VerdictAgreement, verdict_agreement
from rigvision.world.frame import Frame

#: A master's expanded uncertainty over its standard one.
MASTER_COVERAGE = 2.0


@dataclass(frozen=True, slots=True)
class PersonTally:
    """``taken`` of ``planned`` shots; ``again`` photos that had to be taken again."""

    person: str
    planned: int
    taken: int
    again: int


@dataclass(frozen=True, slots=True)
class StudyFindings:
    """``why_no_gauge`` and ``why_no_bias`` say in a sentence why that part is None.

    ``claimed`` is the root mean square of the standard uncertainties that the checks state.
    """

    study: Study
    limits: Limits
    readings: Readings | None
    gauge: GaugeStudies | None
    why_no_gauge: str
    verdicts: VerdictAgreement
    bias: LinearityStudy | None
    why_no_bias: str
    tallies: tuple[PersonTally, ...]
    remarks: tuple[str, ...]
    claimed: float | None

    @property
    def tolerance(self) -> float:
        return self.limits[1] - self.limits[0]


def study_findings(study: Study, frame: Frame) -> StudyFindings:
    """Work a study out, however far it has come. What cannot be worked out is said."""
    limits = study.plan.about.limits(frame)
    if limits is None:
        raise StudyError(
            "no-limits",
            f"Frame {frame.name} has no limits for the {study.plan.about.words}.",
            "Give the frame that the study was planned with.",
        )
    readings, gauge, why_no_gauge = _gauge(study, limits[1] - limits[0])
    bias, why_no_bias = _bias(study)
    return StudyFindings(
        study,
        limits,
        readings,
        gauge,
        why_no_gauge,
        verdict_agreement(_calls(study)),
        bias,
        why_no_bias,
        _tallies(study),
        _remarks(study, readings),
        _claimed(study),
    )


def _rows(study: Study) -> list[tuple[str, str, float]]:
    """In the plan's order."""
    about = study.plan.about
    found = []
    for planned in study.plan.order:
        shot = study.taken.get(planned.shot)
        value = about.value(shot.result) if shot else None
        if value is not None:
            found.append((planned.setting, planned.person, value))
    return found


def _gauge(study: Study, tolerance: float) -> tuple[Readings | None, GaugeStudies | None, str]:
    plan = study.plan
    try:
        readings = readings_of(_rows(study), (s.name for s in plan.settings), plan.people)
    except StudyError as error:
        return None, None, f"{error.text} {error.remedy}"
    try:
        return readings, gauge_studies(readings, tolerance, nested=plan.kind == "nested"), ""
    except StudyError as error:
        return readings, None, f"{error.text} {error.remedy}"


def _bias(study: Study) -> tuple[LinearityStudy | None, str]:
    rows = _rows(study)
    known = [
        MasterReadings(
            s.name,
            s.reference,
            s.reference_expanded_uncertainty / MASTER_COVERAGE,
            np.array([v for name, _, v in rows if name == s.name]),
        )
        for s in study.plan.settings
        if s.reference is not None
    ]
    if not known:
        key = f"reference_{study.plan.about.unit}"
        return None, f"No setting has a known value. Give settings a {key} to learn the bias."
    try:
        return linearity_study(known), ""
    except StudyError:
        return None, "No setting with a known value has been shot yet."


def _calls(study: Study) -> list[Call]:
    """Person after person, as the plan names them."""
    plan = study.plan
    order = sorted(plan.order, key=lambda s: plan.people.index(s.person))
    return [
        Call(
            planned.setting,
            planned.person,
            planned.repeat,
            study.taken[planned.shot].result.verdict,
            plan.setting(planned.setting).reference_verdict,
        )
        for planned in order
        if planned.shot in study.taken
    ]


def _tallies(study: Study) -> tuple[PersonTally, ...]:
    order = study.plan.order
    planned = Counter(s.person for s in order)
    taken = Counter(s.person for s in order if s.shot in study.taken)
    again = Counter(order[s.shot - 1].person for s in study.again)
    return tuple(PersonTally(p, planned[p], taken[p], again[p]) for p in study.plan.people)


def _remarks(study: Study, readings: Readings | None) -> tuple[str, ...]:
    """What whoever reads the report must know first."""
    found = []
    left = len(study.open_shots)
    if left and study.taken:
        found.append(
            f"{left} of {len(study.plan.order)} planned shots are not taken: what follows rests on "
            "the others."
        )
    found += [
        f"{t.person} has taken no shot and is left out."
        if not t.taken
        else f"{t.person} has taken {t.taken} of {t.planned} shots."
        for t in _tallies(study)
        if t.taken < t.planned and study.taken
    ]
    if readings is not None and len(readings.people) == 1:
        found.append("Only one person took part: what differs from person to person is not known.")
    if readings is not None and np.ptp(readings.values) == 0.0 and readings.values.size > 1:
        found.append(
            "All readings are equal to the last digit. Photos differ; are these really different "
            "photos?"
        )
    odd = (odd_remark(study, shot) for _, shot in sorted(study.taken.items()))
    return tuple(found + [remark for remark in odd if remark])


def _claimed(study: Study) -> float | None:
    about = study.plan.about
    stated = [about.standard_uncertainty(s.result) for s in study.taken.values()]
    known = [u for u in stated if u is not None]
    return float(np.sqrt(np.mean(np.square(known)))) if known else None
