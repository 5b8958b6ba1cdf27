"""The photos of a joint check: which take part, and what is said of each.

Only carries figures from one form to another; measures and decides nothing of the rig.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from rigvision.chain import PathLike
from rigvision.decision.joint_result import ConsistencyResult, JointResult, PhotoShare
from rigvision.decision.reasons import REASONS, Reason, reason
from rigvision.decision.result import CheckResult, TurnsResult
from rigvision.evidence import Evidence
from rigvision.ground.errors import PhotoError
from rigvision.metrology.consistency import GAP, Consistency, Contradiction
from rigvision.photo.picture import shown_name

#: A photo that is a retake for these reasons alone is still a good view: what it does not show
#: others may, and the seat, the clock and the uncertainty are judged anew from all photos.
JUDGED_ANEW = frozenset(
    {"yoke-hidden", "gauge-not-seated", "clock-contradicts-gap", "uncertainty-too-large"}
)


@dataclass(frozen=True, slots=True)
class GivenPhoto:
    """One photo given: what its own check said, and why it takes no part, if so."""

    name: str
    own: CheckResult | PhotoError
    left_out: Reason | None

    @property
    def result(self) -> CheckResult:
        assert isinstance(self.own, CheckResult)
        return self.own

    @property
    def evidence(self) -> Evidence:
        assert isinstance(self.result.evidence, Evidence)
        return self.result.evidence

    @property
    def key(self) -> str:
        return self.result.photo.sha256


def sort_out(
    paths: Sequence[PathLike], outcomes: Sequence[CheckResult | PhotoError]
) -> list[GivenPhoto]:
    """Every photo with the reason why it cannot take part, if there is one.

    Raises PhotoError where no file can be read.
    """
    first_name: dict[str, str] = {}
    photos = []
    for path, own in zip(paths, outcomes, strict=True):
        name = shown_name(Path(path))
        if isinstance(own, PhotoError):
            left_out: Reason | None = Reason(own.code, own.text, own.remedy)
        elif own.photo.sha256 in first_name:
            left_out = reason("same-photo", name=name, first=first_name[own.photo.sha256])
        else:
            first_name[own.photo.sha256] = name
            left_out = _unusable(name, own)
        photos.append(GivenPhoto(name, own, left_out))
    if not first_name:
        errors = [o for o in outcomes if isinstance(o, PhotoError)]
        text = " ".join(error.text for error in errors)
        raise PhotoError(
            "no-readable-photo", f"None of the photos can be read. {text}", errors[0].remedy
        )
    return photos


def _unusable(name: str, own: CheckResult) -> Reason | None:
    """Why a photo is a retake whatever the others show."""
    causes = [
        r for r in own.reasons if REASONS[r.code].outcome == "retake" and r.code not in JUDGED_ANEW
    ]
    if not causes:
        return None
    why = f"{causes[0].text} {causes[0].remedy}".rstrip(".")
    return reason("view-left-out", name=name, why=why)


def of_one_gauge(photos: Sequence[GivenPhoto]) -> list[GivenPhoto]:
    """Photos of another gauge than most of them show are left out, where most show one."""
    usable = [p for p in photos if p.left_out is None]
    counts = Counter(p.result.gauge for p in usable)
    wanted, most = counts.most_common(1)[0] if usable else (None, 0)
    if 2 * most <= len(usable):
        return list(photos)
    return [
        replace(p, left_out=_other_gauge(p, wanted))
        if p.left_out is None and p.result.gauge != wanted
        else p
        for p in photos
    ]


def _other_gauge(photo: GivenPhoto, wanted: str | None) -> Reason:
    return reason(
        "odd-photo", name=photo.name, what=f"it shows gauge {photo.result.gauge}, not {wanted}"
    )


# What is said of each photo


def joint_result(given: Sequence[GivenPhoto], compared: Consistency | None = None) -> JointResult:
    """What each photo says, and whether they agree where they were compared."""
    photos = tuple(_share(p, compared) for p in given)
    if compared is None or compared.degrees_of_freedom == 0:
        return JointResult(photos)
    odd = tuple(p.name for p in given if p.left_out and p.left_out.code == "odd-photo")
    consistency = ConsistencyResult(
        compared.chi_squared,
        compared.degrees_of_freedom,
        compared.probability,
        compared.agree and not odd,
        odd,
    )
    return JointResult(photos, (), consistency)


def _share(photo: GivenPhoto, compared: Consistency | None) -> PhotoShare:
    if isinstance(photo.own, PhotoError):
        return PhotoShare(photo.name, None, photo.left_out)
    own, against = photo.own, None
    # A file given twice has its place in the comparison once.
    counted = photo.left_out is None or photo.left_out.code == "odd-photo"
    if compared and counted:
        against = compared.photos.get(photo.key)
    deviation = against.differences.get(GAP) if against else None
    return PhotoShare(
        photo.name,
        own.photo.sha256,
        photo.left_out,
        own.gap.mean_mm if own.gap else None,
        own.gap.expanded_uncertainty_mm if own.gap else None,
        deviation.value if deviation else None,
        deviation.expanded_uncertainty if deviation else None,
        against.chi_squared if against else None,
        against.degrees_of_freedom if against else 0,
        against.probability if against else None,
        own,
    )


def results_to_draw(joint: CheckResult) -> list[CheckResult]:
    """For each photo that could be read, once, the result to draw over it.

    Photos used carry the joint verdict and figures, so that no other is about; their lines
    are drawn where each photo itself shows them. Photos left out carry their own figures, and
    instead of a verdict and a turn to make, that they were left out.
    """
    drawn = []
    for share in joint.joint.photos if joint.joint else ():
        own, why = share.own, share.left_out
        if own is None or (why and why.code == "same-photo"):
            continue
        if why is None:
            drawn.append(replace(joint, photo=own.photo, view=own.view, evidence=own.evidence))
        else:
            no_turn = TurnsResult(None, None, None, None, why.remedy)
            reasons = (why, *own.reasons)
            drawn.append(replace(own, verdict="retake", reasons=reasons, turns=no_turn))
    return drawn


def notes(given: Sequence[GivenPhoto]) -> list[Reason]:
    return [p.left_out for p in given if p.left_out is not None]


def largest_difference(compared: Consistency) -> str:
    """The largest contradiction of any photo, in words."""
    return difference(max(compared.photos.values(), key=lambda c: c.weight))


def difference(against: Contradiction) -> str:
    """What differs most, as in: the gap differs by 0.42 ± 0.10 mm."""
    if against.largest is None:
        return "nothing in them can be compared"
    figure, by = against.largest
    return (
        f"the {figure.name} differs by {abs(by.value):.2f} ± {by.expanded_uncertainty:.2f} "
        f"{figure.unit}"
    )


def listed(names: Iterable[str]) -> str:
    return ", ".join(names)
