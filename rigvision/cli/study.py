"""What the commands ``study …`` do: one library call each, then what came of it."""

from __future__ import annotations

import sys
from collections import Counter
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import rigvision
from rigvision.cli.at_ledger import opened
from rigvision.cli.page import Page, print_json, shown_time
from rigvision.decision.result import CheckResult
from rigvision.ground.errors import UsageError
from rigvision.records.clock import now
from rigvision.records.ledger_error import shown_path
from rigvision.records.safe_file import write_new, write_over
from rigvision.training.study_error import StudyError, writing
from rigvision.training.study_plan import PLAN_FILE, StudyPlan, plan_bytes, plan_study
from rigvision.training.study_shot import Study, read_study
from rigvision.training.study_taking import Outcome, take_photos, take_records
from rigvision.training.study_wanted import StudyWanted, checked, read_wanted
from rigvision.world.catalogue import load
from rigvision.world.frame import Frame

TAKEN_ALL, FAILED, AGAIN = 0, 1, 4
PLAN_PAGE, REPORT_PAGE = "plan.html", "report.html"
_SIGNS = {"taken": "+", "known": "=", "again": "!", "wrong": "!", "no-shot": "!", "unreadable": "!"}


@dataclass(frozen=True, slots=True)
class Asked:
    """A study as typed; None and empty stand for what was left out."""

    name: str | None
    frame: str | None
    doors: tuple[int, ...]
    settings: tuple[str, ...]
    people: tuple[str, ...]
    shots: int | None
    seed: int | None
    nested: bool
    quantity: str | None


@dataclass(frozen=True, slots=True)
class Taking:
    """What goes into a study, and how photos are checked."""

    photos: tuple[Path, ...]
    records: tuple[str, ...]
    shot: int | None
    gauge: str | None
    frame: str | None
    camera: str | None
    guarded: bool
    ledger: Path | None


def plan_one(folder: Path, file: Path | None, asked: Asked, *, as_json: bool) -> None:
    """Plan a study into a folder that has none yet."""
    from rigvision.training.study_page import plan_page

    wanted = _wanted(file, asked)
    plan = plan_study(wanted, load(Frame, wanted.frame))
    _write_plan(folder, plan, plan_page(plan))
    if as_json:
        print_json(asdict(plan))
        return
    page = Page()
    page.headline(f"Study {plan.name}", f"{len(plan.order)} photos, seed {plan.seed}")
    page.line(
        f"{_many(len(plan.settings), 'setting')}, {_many(len(plan.people), 'person', 'people')}, "
        f"{_many(plan.shots_a_cell, 'shot')} each, {plan.kind}. Print the plan and go by it:"
    )
    page.exact(shown_path(folder / PLAN_PAGE))
    page.line("Then take the photos in that order:")
    page.exact(f"rigvision study take {shown_path(folder)} PHOTO...")


def take_into(folder: Path, taking: Taking, *, as_json: bool) -> int:
    """Take photos or records, say what came of each, and give the exit code."""
    _check_taking(taking)
    study = read_study(folder)
    frame = _frame(study.plan, taking.frame)
    page = None if as_json else Page()
    outcomes: list[Outcome] = []
    if taking.records:
        with opened(taking.ledger, read_only=True) as ledger:
            for outcome in take_records(study, ledger, taking.records, taking.shot):
                _say(outcome, outcomes, page)
    else:

        def check(photo: Path, door: int | None) -> CheckResult:
            return rigvision.check(
                photo, taking.gauge, taking.frame or frame.name, door, taking.camera, taking.guarded
            )

        for outcome in take_photos(study, taking.photos, check, taking.shot):
            _say(outcome, outcomes, page)
    left = study.open_shots
    if page is None:
        print_json(_taken_as_json(outcomes, left))
    else:
        _show_left(page, study)
    return _exit_code(outcomes)


def report_on(folder: Path, out: Path | None, frame_name: str | None, *, as_json: bool) -> None:
    """Work out a study and write its page."""
    from rigvision.training.study_findings import study_findings
    from rigvision.training.study_json import report_as_json
    from rigvision.training.study_page import report_page
    from rigvision.training.study_words import judgement

    path = folder / REPORT_PAGE if out is None else out
    if path.suffix.lower() not in (".html", ".htm"):  # a photo's name, mistyped, would be its end
        raise UsageError(
            "no-page-name",
            f"{shown_path(path)} is no name for a page.",
            "Give --out a name that ends in .html.",
        )
    study = read_study(folder)
    findings = study_findings(study, _frame(study.plan, frame_name))
    content = report_page(findings, shown_time(now())).encode()
    with writing(path):
        write_over(path, content, 0o644)
    if as_json:
        print_json(report_as_json(findings) | {"page": str(path)})
        return
    page, judged = Page(), judgement(findings)
    taken = f"{len(study.taken)} of {len(study.plan.order)} photos"
    page.headline(judged.headline, f"{study.plan.name}, {taken}")
    for reason in judged.reasons:
        page.line(reason)
    page.line(f"First: {judged.first}", "bold")
    for remark in findings.remarks:
        page.line(remark, "dim")
    page.exact(shown_path(path))


def _wanted(file: Path | None, asked: Asked) -> StudyWanted:
    if file is not None:
        if any(asdict(asked).values()):
            raise UsageError(
                "file-and-options",
                "A study comes from a file or from options, not from both.",
                "Write all of it into the file, or leave --from out.",
            )
        return read_wanted(file)
    if not asked.name or not asked.frame:
        raise UsageError(
            "study-unnamed",
            "A study needs a name and a frame.",
            "Give --name and --frame, or a file with --from.",
        )
    settings = [{"name": f"door {d}", "door": d} for d in asked.doors]
    settings += [{"name": s} for s in asked.settings]
    return checked(
        {
            "name": asked.name,
            "frame": asked.frame,
            "kind": "nested" if asked.nested else "crossed",
            "quantity": asked.quantity or "gap",
            "shots": 3 if asked.shots is None else asked.shots,
            "seed": asked.seed,
            "people": list(asked.people),
            "setting": settings,
        }
    )


def _write_plan(folder: Path, plan: StudyPlan, page: str) -> None:
    path = folder / PLAN_FILE
    with writing(path):
        folder.mkdir(parents=True, exist_ok=True)
        try:
            write_new(path, plan_bytes(plan), 0o644)
        except FileExistsError as error:
            raise StudyError(
                "plan-exists",
                f"There is a plan in {shown_path(folder)} already.",
                "Choose another folder: a plan is never changed.",
            ) from error
        write_over(folder / PLAN_PAGE, page.encode(), 0o644)


def _check_taking(taking: Taking) -> None:
    if bool(taking.photos) == bool(taking.records):
        raise UsageError(
            "photos-or-records",
            "Give photos, or records with --record, not both and not neither.",
            "'rigvision study take --help' shows how.",
        )
    if taking.ledger is not None and not taking.records:
        raise UsageError(
            "ledger-unused", "--ledger is for records only.", "Leave it out, or name --record ID."
        )


def _frame(plan: StudyPlan, name_or_file: str | None) -> Frame:
    """The plan's frame. Raises UsageError where another was named."""
    frame = load(Frame, name_or_file or plan.frame)
    if frame.name != plan.frame:
        raise UsageError(
            "other-frame",
            f"The study is about frame {plan.frame}, not {frame.name}.",
            "Leave --frame out, or give that frame's own file.",
        )
    return frame


def _say(outcome: Outcome, outcomes: list[Outcome], page: Page | None) -> None:
    outcomes.append(outcome)
    if page is None:
        return
    page.line(f"{_SIGNS[outcome.came]} {outcome.name}: {outcome.text}")
    if outcome.planned is not None and outcome.came in ("taken", "again", "wrong"):
        page.line(f"    {outcome.planned.person}, {outcome.planned.setting}", "dim")
    for remark in outcome.remarks:
        page.line(f"    {remark}", "bold")
    sys.stdout.flush()


def _show_left(page: Page, study: Study) -> None:
    left = study.open_shots
    if not left:
        page.line("Every shot is taken. Now:", "bold")
        page.exact(f"rigvision study report {shown_path(study.folder)}")
        return
    is_open = "shot is" if len(left) == 1 else "shots are"
    page.line(f"{len(left)} of the plan's {is_open} open.", "bold")
    ahead = [s for s in left if s > study.last_tried]
    passed = [s for s in left if s <= study.last_tried]
    if passed:
        names = ", ".join(str(s) for s in passed[:20]) + (" and more" if passed[20:] else "")
        page.line(f"To be taken again, each with --shot: {names}.", "bold")
    if ahead:
        planned = study.plan.order[ahead[0] - 1]
        page.line(f"Next is shot {ahead[0]}: {planned.person}, {planned.setting}.", "bold")


def _taken_as_json(outcomes: list[Outcome], left: list[int]) -> dict[str, Any]:
    return {
        "schema": "rigvision.study-take/1",
        "outcomes": [asdict(o) for o in outcomes],
        "open": left,
    }


def _many(count: int, one: str, more: str = "") -> str:
    return f"1 {one}" if count == 1 else f"{count} {more or one + 's'}"


def _exit_code(outcomes: list[Outcome]) -> int:
    came = Counter(o.came for o in outcomes)
    if came["unreadable"]:
        return FAILED
    return AGAIN if came["again"] or came["wrong"] or came["no-shot"] else TAKEN_ALL
