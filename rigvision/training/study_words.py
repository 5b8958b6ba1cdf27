"""What a study means, in plain words: good enough or not, and what to improve first."""

from __future__ import annotations

from dataclasses import dataclass
from math import floor
from typing import Literal

import numpy as np

from rigvision.training.component import Component, Part
from rigvision.training.linearity import LinearityStudy
from rigvision.training.readings import Readings
from rigvision.training.rr import GaugeStudy, Method
from rigvision.training.study_findings import StudyFindings

#: Of the tolerance: below the first the gauge is good enough, above the second it is not. Common
#: practice (AIAG MSA, from memory), no source for this rig.
GOOD_SHARE, POOR_SHARE = 0.10, 0.30
#: A gauge should tell so many groups of settings apart. Common practice as well.
ENOUGH_CATEGORIES = 5
#: The study's spread may exceed what checks claim by so much before it is worth a word: with some
#: 20 degrees of freedom chance alone makes it a fifth larger.
CLAIM_EXCEEDED = 1.2

Call = Literal["good", "care", "poor", "unknown"]

HEADLINES: dict[Call, tuple[str, str]] = {
    "good": ("\N{CHECK MARK}", "Good enough for this tolerance"),
    "care": ("\N{WHITE UP-POINTING TRIANGLE}", "Usable with care"),
    "poor": ("\N{MULTIPLICATION X}", "Not good enough for this tolerance"),
    "unknown": ("?", "It cannot be told yet"),
}
PART_WORDS: dict[Part, str] = {
    "repeatability": "from shot to shot (repeatability)",
    "people": "from person to person",
    "interaction": "people at certain settings (interaction)",
    "reproducibility": "people in all (reproducibility)",
    "gauge": "gauge and photo in all (R&R)",
    "settings": "between settings",
    "total": "everything in the study",
}
METHOD_WORDS: dict[Method, str] = {
    "with-interaction": "analysis of variance, with interaction",
    "without-interaction": "analysis of variance, without interaction",
    "nested": "nested analysis of variance",
    "average-range": "averages and ranges",
}
_IMPROVE: dict[Part, str] = {
    "repeatability": "What differs most is one shot from the next of the same person at the same "
    "setting. Seat the gauge anew with care, wipe marks and edges, light the gap from the side, "
    "hold still 20 to 35 cm away; several photos of one set-up solved together (--joint) help "
    "against the photo's part.",
    "people": "What differs most is one person from another. Let them seat the gauge and slide the "
    "yoke home side by side, agree on one way, and shoot again.",
    "interaction": "What differs most is how people do at certain settings. Look at the settings "
    "where their lines cross: access, light, where they stand.",
}


@dataclass(frozen=True, slots=True)
class Judgement:
    """``reasons`` are sentences in the order in which they matter, ``first`` what to do first."""

    call: Call
    reasons: tuple[str, ...]
    first: str

    @property
    def sign(self) -> str:
        return HEADLINES[self.call][0]

    @property
    def headline(self) -> str:
        return HEADLINES[self.call][1]


def judgement(findings: StudyFindings) -> Judgement:
    """Good enough for the tolerance? *Good* must be as good as proven: see ``_call``."""
    if findings.gauge is None:
        return Judgement("unknown", (findings.why_no_gauge,), _to_begin_with(findings))
    study = findings.gauge.chosen
    gauge = study.component("gauge")
    assert gauge is not None
    call = _call(findings, study, gauge)
    reasons = [
        _wrong_pass_sentence(findings),
        _share_sentence(findings, study, gauge),
        _certainty(study, gauge, call),
        _categories(findings, study),
        _bias_sentence(findings),
        _claim_sentence(findings),
    ]
    return Judgement(call, tuple(r for r in reasons if r), _first(findings, study, call))


def _call(findings: StudyFindings, study: GaugeStudy, gauge: Component) -> Call:
    """By the share of the tolerance. Not *good* where the interval reaches beyond what can be used
    at all, a bias of that size is proven, photos claim too little, or a wrong pass was seen."""
    share = study.share_of_tolerance(gauge)
    if share is None or _is_void(findings):
        return "unknown"
    if share > POOR_SHARE:
        return "poor"
    ends = study.share_of_tolerance_interval(gauge)
    doubts = (
        share >= GOOD_SHARE,
        ends is not None and ends[1] > POOR_SHARE,
        abs(_proven_bias(findings.bias)) > GOOD_SHARE * findings.tolerance,
        _claims_too_little(findings, gauge),
        _wrong_passes(findings)[0] > 0,
    )
    return "care" if any(doubts) else "good"


def notes_on(study: GaugeStudy) -> tuple[str, ...]:
    """How it was worked out, where that is not a matter of course."""
    found = []
    if study.table is not None:
        found.append(f"Estimated by {study.table.estimator}.")
    if study.negative:
        names = " and ".join(PART_WORDS[p] for p in study.negative)
        found.append(
            f"The variance {names} came out negative, which only means that it is too small to be "
            "seen among the rest; it counts as 0."
        )
    return tuple(found)


def _wrong_passes(findings: StudyFindings) -> tuple[int, int]:
    """Shots that passed, of those of settings that should not."""
    rows = findings.verdicts.reference
    return sum(r.wrong_passes.count for r in rows), sum(r.wrong_passes.total for r in rows)


def _wrong_pass_sentence(findings: StudyFindings) -> str:
    count, total = _wrong_passes(findings)
    if not count:
        return ""
    return f"{count} of {total} shots passed at settings that should not pass."


def _share_sentence(findings: StudyFindings, study: GaugeStudy, gauge: Component) -> str:
    about, share = findings.study.plan.about, study.share_of_tolerance(gauge)
    if share is None or _is_void(findings):
        return "All readings are equal: a spread of 0 says nothing about the gauge."
    return (
        f"Gauge and photo spread the {about.words} by {about.shown(gauge.deviation)} (one standard "
        f"deviation); six of them are {percent(share)} of the tolerance of "
        f"{about.shown(findings.tolerance)}. Common practice, no source for this rig: under 10 % "
        "is good, up to 30 % usable with care."
    )


def _is_void(findings: StudyFindings) -> bool:
    return findings.readings is not None and not np.ptp(findings.readings.values)


def _certainty(study: GaugeStudy, gauge: Component, call: Call) -> str:
    ends = study.share_of_tolerance_interval(gauge)
    if ends is None or call == "unknown":
        return ""
    same = (ends[0] < GOOD_SHARE) == (ends[1] < GOOD_SHARE) and (ends[0] <= POOR_SHARE) == (
        ends[1] <= POOR_SHARE
    )
    between = f"With 95 % confidence it is between {percent(ends[0])} and {percent(ends[1])}"
    if same:
        return f"{between}: the call is sure."
    if call == "good":
        return f"{between}, which is never worse than usable with care."
    return (
        f"{between}: the call is not sure. More people and settings narrow this, more shots of the "
        "same hardly."
    )


def _categories(findings: StudyFindings, study: GaugeStudy) -> str:
    categories = study.distinct_categories
    if categories is None:
        return ""
    count = max(floor(categories), 1)
    text = f"It tells {count} {'group' if count == 1 else 'groups'} of these settings apart"
    if categories >= ENOUGH_CATEGORIES:
        return f"{text}; {ENOUGH_CATEGORIES} are wanted (common practice)."
    settings = study.component("settings")
    if settings is not None and 6.0 * settings.deviation < findings.tolerance:
        return (
            f"{text}; {ENOUGH_CATEGORIES} are wanted (common practice), but the settings chosen "
            "differ by less than the tolerance: that says more of them than of the gauge."
        )
    return f"{text}; {ENOUGH_CATEGORIES} are wanted (common practice)."


def _bias_sentence(findings: StudyFindings) -> str:
    bias, about = findings.bias, findings.study.plan.about
    if bias is None:
        return ""
    proven = [b for b in bias.biases if b.proven]
    if not proven:
        return "Against the known values no bias is proven."
    worst = max(proven, key=lambda b: abs(b.bias))
    return (
        f"Against the known values it reads {about.shown(abs(worst.bias))} too "
        f"{'large' if worst.bias > 0 else 'small'} at setting {worst.setting}, which is more than "
        "chance."
    )


def _claim_sentence(findings: StudyFindings) -> str:
    about, claimed = findings.study.plan.about, findings.claimed
    if findings.gauge is None or claimed is None or _is_void(findings):
        return ""
    gauge = findings.gauge.chosen.component("gauge")
    assert gauge is not None
    if _claims_too_little(findings, gauge):
        return (
            f"Single photos claim a standard uncertainty of {about.shown(claimed)}, less than the "
            "spread found: seating and people add what a photo cannot see. Verdicts near a limit "
            "are less sure than they say."
        )
    return (
        f"Single photos claim a standard uncertainty of {about.shown(claimed)}, and the spread "
        "found does not exceed it: their verdicts allow for it."
    )


def _claims_too_little(findings: StudyFindings, gauge: Component) -> bool:
    claimed = findings.claimed
    return claimed is not None and gauge.deviation > CLAIM_EXCEEDED * claimed


def _proven_bias(bias: LinearityStudy | None) -> float:
    """The largest bias that is proven, with its sign; 0 where there is none."""
    return max((b.bias for b in bias.biases if b.proven), key=abs, default=0.0) if bias else 0.0


def _first(findings: StudyFindings, study: GaugeStudy, call: Call) -> str:
    if call == "unknown":
        return "Look at the photos: are they really different shots?"
    if _wrong_passes(findings)[0]:
        return (
            "A wrong pass is the worst that can happen. Look at those photos, and at whether the "
            "known verdicts are right, before anything else."
        )
    gauge, worst = study.component("gauge"), _proven_bias(findings.bias)
    if gauge is not None and abs(worst) > gauge.deviation:
        return (
            f"The bias, {findings.study.plan.about.shown(abs(worst))}, is larger than the spread: "
            "check the gauge's calibration and the known values before anything else."
        )
    found = [c for c in study.components if c.part in _IMPROVE and c.variance > 0.0]
    if not found:
        return "Nothing stands out."
    largest = max(found, key=lambda c: c.variance)
    text = _IMPROVE[largest.part] + _who(findings.readings, largest.part, findings)
    return f"Nothing must be. {text}" if call == "good" else text


def _who(readings: Readings | None, part: Part, findings: StudyFindings) -> str:
    """The person that is furthest off, or whose shots scatter most."""
    if readings is None or len(readings.people) < 2:
        return ""
    about = findings.study.plan.about
    if part == "people" and not readings.nested:
        off = person_offsets(readings)
        worst = int(np.argmax(np.abs(off)))
        way = "above" if off[worst] > 0 else "below"
        amount = about.shown(abs(float(off[worst])))
        return f" {readings.people[worst]} reads furthest from the others: {amount} {way} the mean."
    if part == "repeatability":
        scatter = person_scatters(readings)
        known = [s for s in scatter if s is not None]
        if len(known) > 1 and max(known) > 2.0 * float(np.median(known)):
            worst = max(range(len(scatter)), key=lambda i: scatter[i] or 0.0)
            return f" {readings.people[worst]}'s shots scatter most."
    return ""


def person_offsets(readings: Readings) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Each person's mean distance from the mean of each setting that they shot. (people,)"""
    means = np.bincount(readings.setting, readings.values) / np.bincount(readings.setting)
    apart = readings.values - means[readings.setting]
    return np.asarray(np.bincount(readings.person, apart) / np.bincount(readings.person))


def person_scatters(readings: Readings) -> list[float | None]:
    """Each person's standard deviation within cells; None where nothing was repeated."""
    found: list[float | None] = []
    for person in range(len(readings.people)):
        cells = [readings.cell(s, person) for s in range(len(readings.settings))]
        freedom = sum(max(c.size - 1, 0) for c in cells)
        square = sum(float(np.sum((c - c.mean()) ** 2)) for c in cells if c.size)
        found.append((square / freedom) ** 0.5 if freedom else None)
    return found


def _to_begin_with(findings: StudyFindings) -> str:
    if not findings.study.taken:
        return "Take photos into the study: 'rigvision study take'."
    return "Take the open shots of the plan, then ask again."


def percent(share: float) -> str:
    return f"{100.0 * share:.3g} %" if share < 9.995 else f"{100.0 * share:.0f} %"


def tenths(categories: float) -> str:
    """Cut, not rounded: 4.98 groups are not yet 5."""
    return f"{floor(10.0 * categories) / 10.0:.1f}"
