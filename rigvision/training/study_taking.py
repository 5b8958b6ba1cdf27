"""Photos into a study's plan: each checked, in the plan's order; what is wrong is said."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from hashlib import sha256
from math import hypot
from pathlib import Path
from typing import Any, Literal

from rigvision.decision.result import CheckResult
from rigvision.ground.errors import PhotoError, UsageError
from rigvision.ground.shown import one_line
from rigvision.photo.file_bytes import file_bytes
from rigvision.records.ledger import Ledger
from rigvision.records.person import same_person
from rigvision.records.record_view import RecordView, view_record
from rigvision.report.as_json import as_json
from rigvision.training.study_plan import PlannedShot
from rigvision.training.study_shot import Study, StudyShot, keep_shot, result_of

#: Two readings of one setting differ by more than this many of their uncertainties hardly ever.
ODD_FACTOR = 4.0

#: Checks one photo for a door, None where the setting names none. Raises PhotoError, UsageError.
Check = Callable[[Path, int | None], CheckResult]
Came = Literal["taken", "again", "known", "unreadable", "wrong", "no-shot"]


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of one photo or record. ``text`` is a sentence; ``remarks`` what to look at."""

    name: str
    came: Came
    planned: PlannedShot | None
    text: str
    value: float | None = None
    remarks: tuple[str, ...] = ()


def take_photos(
    study: Study, photos: Sequence[Path], check: Check, only: int | None = None
) -> Iterator[Outcome]:
    """Take photos on along the plan; ``only`` takes a single one into that shot.

    Photos that are in the study already use up no shot, so the same command can be given again
    after a break. Each photo has its shot before the first is checked: one that must be taken
    again leaves its shot open and moves no other.
    """
    _check_only(study, len(photos), only)
    hashes = [_hash_of(path) for path in photos]
    shots = _pairing(study, hashes, only)
    for path, digest, shot in zip(photos, hashes, shots, strict=True):
        yield _taken(study, path, digest, shot, check)


def take_records(
    study: Study, ledger: Ledger, typed: Sequence[str], only: int | None = None
) -> Iterator[Outcome]:
    """The same with checks that the ledger has already. Raises UsageError for unknown ones."""
    _check_only(study, len(typed), only)
    views = [view_record(ledger, t) for t in typed]
    shots = _pairing(study, [v.core.photo.sha256 for v in views], only)
    for view, shot in zip(views, shots, strict=True):
        yield _taken_record(study, view, shot)


def _check_only(study: Study, count: int, only: int | None) -> None:
    if only is None:
        return
    if count != 1:
        raise UsageError(
            "one-shot", f"{count} photos cannot be one shot.", "With --shot give a single one."
        )
    if not 1 <= only <= len(study.plan.order):
        raise UsageError(
            "no-such-shot",
            f"The plan has shots 1 to {len(study.plan.order)}, not {only}.",
            "Take the number from the plan's page.",
        )
    if only in study.taken:
        name = one_line(study.taken[only].result.photo.name, 80)
        raise UsageError(
            "shot-taken",
            f"Shot {only} is taken already ({name}).",
            f"To take it again, first move shots/{only:04d}.json out of the study.",
        )


def _hash_of(path: Path) -> str | PhotoError:
    try:
        return sha256(file_bytes(path, one_line(path.name, 80))).hexdigest()
    except PhotoError as error:
        return error


def _pairing(
    study: Study, hashes: Sequence[str | PhotoError], only: int | None
) -> list[int | None]:
    """The shot of each photo. None: it is in the study already, or no shot is left for it.

    A photo goes into the first open shot after that of the photo before it, which may be in the
    study already; where none is, after the last that was tried. Shots that were passed over come
    when nothing else is open: a new photo is more likely the next than one to be taken again.
    """
    if only is not None:
        return [only]
    known = {h: study.known(h) for h in hashes if isinstance(h, str)}
    held = {s.shot for s in known.values() if s is not None}
    free = [s for s in study.open_shots if s not in held]
    at = 0 if held else study.last_tried
    shots: list[int | None] = []
    seen: set[str] = set()
    for digest in hashes:
        before = known[digest] if isinstance(digest, str) else None
        if before is not None or digest in seen:
            at = before.shot if before is not None else at
            shots.append(None)
            continue
        shot = next((s for s in free if s > at), next(iter(free), None))
        if shot is not None:
            free.remove(shot)
            at = shot
        shots.append(shot)
        if isinstance(digest, str):
            seen.add(digest)
    return shots


def _taken(
    study: Study, path: Path, digest: str | PhotoError, shot: int | None, check: Check
) -> Outcome:
    name = one_line(path.name, 80)
    if isinstance(digest, PhotoError):
        planned = None if shot is None else study.plan.order[shot - 1]
        return _unreadable(name, planned, digest)
    if (known := study.known(digest)) is not None:
        return _known(study, name, known)
    if shot is None:
        return _no_shot(name)
    planned = study.plan.order[shot - 1]
    try:
        result = check(path, study.plan.setting(planned.setting).door)
    except PhotoError as error:
        return _unreadable(name, planned, error)
    except UsageError as error:
        text = f"{error.text} Shot {shot} stays open. {error.remedy}"
        return Outcome(name, "wrong", planned, text)
    return _kept(study, name, planned, as_json(result), None)


def _taken_record(study: Study, view: RecordView, shot: int | None) -> Outcome:
    known = study.known(view.core.photo.sha256)
    if known is not None:
        return _known(study, view.record, known)
    if shot is None:
        return _no_shot(view.record)
    planned = study.plan.order[shot - 1]
    if wrong := _unfit_record(study, view, planned):
        return Outcome(view.record, "wrong", planned, f"{wrong} Shot {shot} stays open.")
    outcome = _kept(study, view.record, planned, view.plain, view.record)
    who = view.measured.statement.person if view.measured else planned.person
    if same_person(who, planned.person):
        return outcome
    remark = f"It was signed by {who}, but the plan has {planned.person}: is it the right shot?"
    return replace(outcome, remarks=(*outcome.remarks, remark))


def _unfit_record(study: Study, view: RecordView, planned: PlannedShot) -> str | None:
    setting = study.plan.setting(planned.setting)
    if view.corrections:
        return f"Record {view.record} was corrected and does not count."
    if view.job.frame != study.plan.frame:
        return f"Record {view.record} is of frame {view.job.frame}, not {study.plan.frame}."
    if setting.door is not None and view.job.door != setting.door:
        return (
            f"Record {view.record} is of door {view.job.door}, but shot {planned.shot} is of door "
            f"{setting.door}."
        )
    return None


def _kept(
    study: Study, name: str, planned: PlannedShot, plain: dict[str, Any], record: str | None
) -> Outcome:
    """File it: as the shot where it can be used, else among those to be taken again."""
    result, about = result_of(plain), study.plan.about
    if result.frame is not None and result.frame != study.plan.frame:
        text = f"It shows frame {one_line(result.frame, 64)}, not {study.plan.frame}."
        return Outcome(name, "wrong", planned, f"{text} Shot {planned.shot} stays open.")
    value = about.value(result)
    again = result.verdict == "retake" or value is None
    shot = keep_shot(study, planned.shot, record, plain, again=again)
    if again or value is None:
        why = f"The {about.words} could not be read."
        if result.verdict == "retake" and result.reasons:
            why = result.reasons[0].text
        number = planned.shot
        text = f"{why} Shot {number} stays open: take it again, and give it with --shot {number}."
        return Outcome(name, "again", planned, text)
    text = f"Shot {planned.shot}: {about.words} {about.shown(value)}, {result.verdict}."
    return Outcome(name, "taken", planned, text, value, _remarks(study, shot))


def _remarks(study: Study, shot: StudyShot) -> tuple[str, ...]:
    return tuple(r for r in (_order_remark(study, shot), odd_remark(study, shot)) if r)


def _order_remark(study: Study, shot: StudyShot) -> str | None:
    """Times of photos must run as the plan does; else two were probably exchanged."""
    own = shot.result.photo.taken_at
    if own is None:
        return None
    for other in study.taken.values():
        time = other.result.photo.taken_at
        if time is None or time == own or (time > own) == (other.shot > shot.shot):
            continue
        by_time, by_plan = ("before", "after") if time > own else ("after", "before")
        return (
            f"By its time it was taken {by_time} shot {other.shot}, by the plan {by_plan} it: "
            "right if it was taken again, else photos were exchanged."
        )
    return None


def odd_remark(study: Study, shot: StudyShot) -> str | None:
    """Whether a reading is far from all others of its setting, by what the checks claim."""
    about, planned = study.plan.about, study.plan.order[shot.shot - 1]
    value, u = about.value(shot.result), about.standard_uncertainty(shot.result)
    if value is None or u is None:
        return None
    others = [
        s
        for s in study.taken.values()
        if s.shot != shot.shot and study.plan.order[s.shot - 1].setting == planned.setting
    ]
    ways = []
    for other in others:
        theirs, their_u = about.value(other.result), about.standard_uncertainty(other.result)
        if theirs is not None and their_u is not None:
            ways.append(abs(value - theirs) / max(hypot(u, their_u), 1e-12))
    if not ways or min(ways) <= ODD_FACTOR:
        return None
    return (
        f"Shot {shot.shot} is far from every other of setting {planned.setting}: was the door "
        "moved, or is it another setting's photo?"
    )


def _known(study: Study, name: str, shot: StudyShot) -> Outcome:
    planned = study.plan.order[shot.shot - 1]
    taken = study.taken.get(shot.shot)
    if taken is not None and taken.photo_sha256 == shot.photo_sha256:
        text = f"It is in the study already, as shot {shot.shot}."
    else:
        text = f"It was tried for shot {shot.shot} already and must be taken again."
    return Outcome(name, "known", planned, text)


def _no_shot(name: str) -> Outcome:
    text = "Every shot of the plan has its photo: this one is not needed."
    return Outcome(name, "no-shot", None, text)


def _unreadable(name: str, planned: PlannedShot | None, error: PhotoError) -> Outcome:
    stays = "" if planned is None else f" Shot {planned.shot} stays open."
    return Outcome(name, "unreadable", planned, f"{error.text} {error.remedy}{stays}")
