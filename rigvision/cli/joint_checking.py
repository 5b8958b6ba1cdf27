"""The command ``check --joint``: photos of one set-up through the library, one result out."""

from __future__ import annotations

import json

import rigvision
from rigvision.cli.checking import (
    Request,
    Tally,
    progress_shown,
    report_unreadable,
    say,
    show_outcome,
    write_image,
)
from rigvision.decision.result import CheckResult
from rigvision.ground.errors import PhotoError, UsageError
from rigvision.joint_photos import results_to_draw
from rigvision.photo.picture import shown_name
from rigvision.report.as_json import as_json


def run_joint_check(request: Request) -> int:
    """Check all photos as one set-up, print, and give the exit code.

    Raises UsageError where Monte Carlo is asked for: it draws the model of one photo.
    """
    if request.draws is not None:
        raise UsageError(
            "monte-carlo-of-one-photo",
            "Monte Carlo draws the errors of one photo, not of several solved together (--joint).",
            "Leave one of the two options out.",
        )
    tally = Tally()
    try:
        result = _result(request)
    except PhotoError as error:
        report_unreadable(shown_name(request.photos[0]), error, tally)
    else:
        _tell(result, request, tally)
    if request.as_json:
        print(json.dumps(tally.objects[0], indent=2, allow_nan=False))
    return tally.exit_code


def _result(request: Request) -> CheckResult:
    with progress_shown(len(request.photos)) as step:
        return rigvision.check_joint(
            request.photos,
            gauge=request.gauge,
            frame=request.frame,
            door=request.door,
            camera=request.camera,
            progress=step,
            guarded=request.guarded,
        )


def _tell(result: CheckResult, request: Request, tally: Tally) -> None:
    tally.verdicts.add(result.verdict)
    for share in result.joint.photos if result.joint else ():
        if share.own is None and share.left_out:
            tally.failed = True
            say(f"{share.left_out.text} {share.left_out.remedy}")
    if request.as_json:
        tally.objects.append(as_json(result))
    else:
        show_outcome(result, None, request)
    if request.out is not None:
        for drawn in results_to_draw(result):
            write_image(drawn, request.out, tally)
