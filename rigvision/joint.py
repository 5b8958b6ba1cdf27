"""The joint chain: several photos of one untouched set-up in, one result out.

Each photo goes through the chain of its own first. What it shows then becomes a reading, the
readings are tested against each other, and those that agree are solved together.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

from rigvision.chain import PathLike, check_many
from rigvision.decision.cause import Cause
from rigvision.decision.joint_result import DepthResult, JointResult
from rigvision.decision.reasons import reason
from rigvision.decision.result import CheckResult
from rigvision.decision.verdict import Findings, decide
from rigvision.evidence import Evidence
from rigvision.findings import assemble, findings_of
from rigvision.ground.errors import UsageError
from rigvision.joint_photos import (
    GivenPhoto,
    difference,
    joint_result,
    largest_difference,
    listed,
    notes,
    of_one_gauge,
    sort_out,
)
from rigvision.metrology.consistency import compare_photos
from rigvision.metrology.joint import JointSolution, solve
from rigvision.metrology.joint_figures import joint_alignment, joint_gap, plane_depths
from rigvision.metrology.photo_reading import read_photos, read_to_compare
from rigvision.metrology.reading import PhotoView
from rigvision.vision.pose import shared_pulls


def check_joint(
    photos: Iterable[PathLike],
    gauge: str | None = None,
    frame: str | None = None,
    door: int | None = None,
    camera: str | None = None,
    progress: Callable[[int], None] | None = None,
    guarded: bool = False,
) -> CheckResult:
    """Check several photos of one set-up, in which nothing was moved, as one.

    The result is that of ``check``; its ``joint`` says what each photo contributed. A photo
    that cannot be used is left out and named, one that contradicts all others too; where it
    cannot be told which photo is wrong, the verdict is ``retake``. The figures do not depend
    on the order of the photos. Of one photo alone the result is its own.

    Raises PhotoError where none of the files can be read, UsageError where none is given,
    and what ``check`` raises for models and names.
    """
    paths = list(photos)
    if not paths:
        raise UsageError("no-photos", "No photo was given.", "Name the photos of the set-up.")
    outcomes = check_many(paths, gauge, frame, door, camera, progress, guarded)
    given = of_one_gauge(sort_out(paths, outcomes))
    usable = [p for p in given if p.left_out is None]
    gauges = dict.fromkeys(str(p.result.gauge) for p in usable)
    if not usable:
        return _nothing_usable(given, door)
    if len(usable) == 1:
        return _one_view(given, usable[0])
    if len(gauges) > 1:
        return _disagreeing(given, usable, f"they show the gauges {listed(gauges)}", door)
    return _solved(given, usable, door)


def _solved(
    given: Sequence[GivenPhoto], usable: Sequence[GivenPhoto], door: int | None
) -> CheckResult:
    """Two photos or more that look good by themselves: do they agree, and on what?"""
    first = usable[0].evidence
    assert first.gauge is not None
    assert first.frame is not None
    # In an order of their own, so that the last digit does not hang on the order given.
    views = sorted((_view(p.evidence) for p in usable), key=lambda v: v.key)
    compared = compare_photos(read_to_compare(views, first.gauge, first.frame), first.frame)
    names = {p.key: p.name for p in usable}
    odd = compared.odd
    if odd is not None:
        note = reason("odd-photo", name=names[odd], what=difference(compared.photos[odd]))
        given = [
            replace(p, left_out=note) if p.left_out is None and p.key == odd else p for p in given
        ]
        usable = [p for p in usable if p.key != odd]
        views = [v for v in views if v.key != odd]
    joint = joint_result(given, compared)
    if not compared.agree:
        return _disagreeing(given, usable, largest_difference(compared), door, joint)
    solution = solve(read_photos(views, first.gauge, first.frame))
    depths = tuple(
        DepthResult(d.plane, d.offset_mm.value, d.offset_mm.expanded_uncertainty)
        for d in plane_depths(solution)
    )
    return _from_solution(solution, usable, given, replace(joint, plane_depths=depths), door)


def _from_solution(
    solution: JointSolution,
    usable: Sequence[GivenPhoto],
    given: Sequence[GivenPhoto],
    joint: JointResult,
    door: int | None,
) -> CheckResult:
    """The joint figures judged as those of a single photo are."""
    first = usable[0]
    frame = first.evidence.frame
    assert frame is not None
    seen = replace(
        first.evidence,
        gap=joint_gap(solution, frame),
        alignment=joint_alignment(solution, frame),
    )
    findings = _of_all(findings_of(seen, None), usable, seen)
    result = assemble(
        first.result.photo, seen, findings, decide(findings), door, first.result.camera
    )
    return replace(result, reasons=(*result.reasons, *notes(given)), joint=joint)


def _of_all(findings: Findings, usable: Sequence[GivenPhoto], seen: Evidence) -> Findings:
    """Findings that speak of one photo made to speak of all."""
    sights = [s for s in (findings_of(p.evidence, None).sight for p in usable) if s]
    assert findings.sight is not None
    read = {s.x_mm for s in seen.gap.stations if s.gap_mm is not None} if seen.gap else set()
    wanted = seen.frame.gap.stations_x_mm if seen.frame else ()
    lost = {s.x_mm: s for p in usable if p.evidence.slot for s in p.evidence.slot.lost}
    refused = {mark for s in sights for mark in s.marks_refused}
    return replace(
        findings,
        sight=replace(
            findings.sight,
            marks_refused=tuple(sorted(refused)),
            focal_known=all(s.focal_known for s in sights),
        ),
        stations_lost=tuple(lost[x] for x in wanted if x not in read and x in lost),
        socket_found=any(p.evidence.yoke and p.evidence.yoke.socket for p in usable),
        stored=None,  # each photo's own says so
    )


def _view(seen: Evidence) -> PhotoView:
    assert seen.pose is not None
    assert seen.marks is not None
    assert seen.gauge is not None
    assert seen.pose.prior is not None
    prior = seen.pose.prior  # without what the picture contradicts
    shared = shared_pulls(seen.pose, seen.marks, seen.gauge, prior)
    return PhotoView(seen.photo_sha256, seen.pose, shared, prior, seen.slot, seen.yoke)


def _disagreeing(
    given: Sequence[GivenPhoto],
    usable: Sequence[GivenPhoto],
    what: str,
    door: int | None,
    joint: JointResult | None = None,
) -> CheckResult:
    stopped: Cause = ("views-disagree", {"names": listed(p.name for p in usable), "what": what})
    return _without_figures(usable[0], joint or joint_result(given), given, stopped, door)


def _nothing_usable(given: Sequence[GivenPhoto], door: int | None) -> CheckResult:
    first = next(p for p in given if isinstance(p.own, CheckResult))
    stopped: Cause = ("no-usable-view", {"names": listed(p.name for p in given)})
    return _without_figures(first, joint_result(given), given, stopped, door)


def _without_figures(
    first: GivenPhoto,
    joint: JointResult,
    given: Sequence[GivenPhoto],
    stopped: Cause,
    door: int | None,
) -> CheckResult:
    """A retake: what each photo says stands in ``joint``, and nothing is said in common."""
    own = first.evidence
    seen = Evidence(
        own.photo_path, own.photo_sha256, own.gauge, own.frame, own.marks, guarded=own.guarded
    )
    findings = findings_of(seen, stopped)
    result = assemble(
        first.result.photo, seen, findings, decide(findings), door, first.result.camera
    )
    return replace(result, reasons=(*result.reasons, *notes(given)), joint=joint)


def _one_view(given: Sequence[GivenPhoto], only: GivenPhoto) -> CheckResult:
    reasons = (*only.result.reasons, *notes(given), reason("one-view", name=only.name))
    return replace(only.result, reasons=reasons, joint=joint_result(given))
