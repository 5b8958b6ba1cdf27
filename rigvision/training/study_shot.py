"""Photos taken into a study: a file a shot, written once, bound to the plan by its hash."""

from __future__ import annotations

import json
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any

from rigvision.ground.errors import SavedResultError
from rigvision.ground.ordinary_file import read_ordinary
from rigvision.ground.shown import one_line
from rigvision.records.ledger_error import shown_path
from rigvision.records.safe_file import write_new
from rigvision.report.saved_result import SavedResult, parse_saved
from rigvision.training.study_error import StudyError
from rigvision.training.study_plan import StudyPlan, read_plan

SCHEMA = "rigvision.study-shot/1"
TAKEN, AGAIN = "shots", "retakes"
MAX_SHOT_BYTES = 1_000_000
#: More files than this are not looked through.
MOST_FILES = 20_000


@dataclass(frozen=True, slots=True)
class StudyShot:
    """One checked photo for a shot of the plan; ``record`` where it came from the ledger."""

    shot: int
    record: str | None
    result: SavedResult

    @property
    def photo_sha256(self) -> str:
        return self.result.photo.sha256


@dataclass(slots=True)
class Study:
    """A plan with what has been taken of it: by shot, and those that had to be taken again.

    It grows as shots are kept.
    """

    folder: Path
    plan: StudyPlan
    plan_sha256: str
    taken: dict[int, StudyShot]
    again: list[StudyShot]

    @property
    def open_shots(self) -> list[int]:
        return [s.shot for s in self.plan.order if s.shot not in self.taken]

    @property
    def last_tried(self) -> int:
        """The last shot of the plan that has a photo, taken or to be taken again; 0 for none."""
        return max([*self.taken, *(s.shot for s in self.again)], default=0)

    def known(self, photo_sha256: str) -> StudyShot | None:
        """The shot that a photo was taken into, or had to be taken again for."""
        all_shots = [*self.taken.values(), *self.again]
        return next((s for s in all_shots if s.photo_sha256 == photo_sha256), None)


def read_study(folder: Path) -> Study:
    """Plan and shots as they lie in the folder. Raises StudyError for a file that is wrong."""
    plan, plan_sha256 = read_plan(folder)
    taken: dict[int, StudyShot] = {}
    for path in _files(folder / TAKEN):
        shot = _read(path, plan, plan_sha256)
        if shot.shot in taken:
            raise _wrong(path, f"shot {shot.shot} is there twice")
        taken[shot.shot] = shot
    again = [_read(path, plan, plan_sha256) for path in _files(folder / AGAIN)]
    study = Study(folder, plan, plan_sha256, taken, again)
    _refuse_doubles(study)
    return study


def keep_shot(
    study: Study, shot: int, record: str | None, result: dict[str, Any], *, again: bool
) -> StudyShot:
    """A shot's file, forced to the disk, and the shot in the study. Raises StudyError.

    ``result`` is what ``--json`` prints.
    """
    plain = {
        "schema": SCHEMA,
        "plan_sha256": study.plan_sha256,
        "shot": shot,
        "record": record,
        "result": result,
    }
    content = json.dumps(plain, indent=1).encode()
    name = f"{shot:04d}-{sha256(content).hexdigest()[:12]}.json" if again else f"{shot:04d}.json"
    path = study.folder / (AGAIN if again else TAKEN) / name
    try:
        path.parent.mkdir(exist_ok=True)
        write_new(path, content, 0o644)
    except FileExistsError as error:
        if not again:
            raise _wrong(path, "somebody else has taken this shot meanwhile") from error
    except OSError as error:
        raise _wrong(path, error.strerror or "it cannot be written") from error
    kept = StudyShot(shot, record, result_of(result))
    if again:
        study.again.append(kept)
    else:
        study.taken[shot] = kept
    return kept


def _files(folder: Path) -> list[Path]:
    try:
        found = sorted(p for p in folder.iterdir() if p.suffix == ".json")
    except FileNotFoundError:
        return []
    except OSError as error:
        raise _wrong(folder, error.strerror or "it cannot be read") from error
    if len(found) > MOST_FILES:
        raise _wrong(folder, f"it holds more than {MOST_FILES} files")
    return found


def _read(path: Path, plan: StudyPlan, plan_sha256: str) -> StudyShot:
    try:
        plain = json.loads(read_ordinary(path, MAX_SHOT_BYTES).decode("utf-8"))
        if not isinstance(plain, dict) or plain.get("schema") != SCHEMA:
            raise ValueError("it is no shot of a study")
        if plain.get("plan_sha256") != plan_sha256:
            raise ValueError("it was taken for another plan, or the plan was changed since")
        shot, record = plain.get("shot"), plain.get("record")
        if type(shot) is not int or not 1 <= shot <= len(plan.order):
            raise ValueError("the plan has no such shot")
        if record is not None and (not isinstance(record, str) or one_line(record, 20) != record):
            raise ValueError("its record is none")
        return StudyShot(shot, record, result_of(plain.get("result")))
    except OSError as error:
        raise _wrong(path, error.strerror or "it cannot be opened") from error
    except SavedResultError as error:
        raise _wrong(path, error.text.removesuffix(".")) from error
    except (ValueError, RecursionError) as error:
        raise _wrong(path, one_line(str(error), 200)) from error


def result_of(plain: Any) -> SavedResult:
    """Read as strictly as any saved result. Raises SavedResultError, ValueError."""
    saved = parse_saved(json.dumps(plain).encode(), "its result")
    if len(saved) != 1 or not isinstance(saved[0], SavedResult):
        raise ValueError("it holds no single result")
    return saved[0]


def _refuse_doubles(study: Study) -> None:
    """Raises StudyError where one photo stands for two shots: it would agree with itself."""
    seen: dict[str, int] = {}
    for shot in sorted(study.taken.values(), key=lambda s: s.shot):
        if shot.photo_sha256 in seen:
            raise StudyError(
                "photo-twice",
                f"Shots {seen[shot.photo_sha256]} and {shot.shot} are the same photo "
                f"({one_line(shot.result.photo.name, 80)}).",
                f"Take {TAKEN}/{shot.shot:04d}.json out of the study and shoot it again.",
            )
        seen[shot.photo_sha256] = shot.shot


def _wrong(path: Path, cause: str) -> StudyError:
    return StudyError(
        "study-file-wrong",
        f"{shown_path(path)} cannot be used: {cause}.",
        "Put it back as it was, or take the file out of the study and the photo again.",
    )
