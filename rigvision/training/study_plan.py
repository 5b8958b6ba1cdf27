"""A study's plan: which setting is shot by whom, how often, in which order."""

from __future__ import annotations

import json
import random
import secrets
from dataclasses import asdict, dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any, Literal

from rigvision.decision.result import Verdict
from rigvision.ground.errors import RigvisionError
from rigvision.ground.ordinary_file import read_ordinary
from rigvision.ground.shown import one_line
from rigvision.records.given_text import given_text
from rigvision.records.person import checked_name
from rigvision.records.strict_json import read_part
from rigvision.training.quantity import QUANTITIES, Quantity, QuantityName
from rigvision.training.readings import MOST_READINGS
from rigvision.training.study_error import StudyError
from rigvision.training.study_wanted import SettingWanted, StudyKind, StudyWanted
from rigvision.world.frame import Frame
from rigvision.world.recognise import check_door

PLAN_FILE = "plan.json"
MAX_PLAN_BYTES = 2_000_000


@dataclass(frozen=True, slots=True)
class Setting:
    """``reference`` and its expanded uncertainty (95 %) are in the quantity's unit."""

    name: str
    door: int | None = None
    reference: float | None = None
    reference_expanded_uncertainty: float = 0.0
    reference_verdict: Verdict | None = None


@dataclass(frozen=True, slots=True)
class PlannedShot:
    """``shot`` is its number in the order, from 1; ``repeat`` counts this person's of this
    setting."""

    shot: int
    setting: str
    person: str
    repeat: int


@dataclass(frozen=True, slots=True)
class StudyPlan:
    """As it is kept in ``plan.json``. ``seed`` is what the order was drawn with."""

    schema: Literal["rigvision.study-plan/1"]
    name: str
    frame: str
    kind: StudyKind
    quantity: QuantityName
    shots_a_cell: int
    seed: int
    people: tuple[str, ...]
    settings: tuple[Setting, ...]
    order: tuple[PlannedShot, ...]

    @property
    def about(self) -> Quantity:
        return QUANTITIES[self.quantity]

    def setting(self, name: str) -> Setting:
        return next(s for s in self.settings if s.name == name)


def plan_study(wanted: StudyWanted, frame: Frame) -> StudyPlan:
    """The plan of a study. Raises StudyError, UsageError: a door that the frame has not.

    Everybody shoots every setting once in random order before anybody shoots one again: a study
    that is broken off is then as even as can be.
    """
    for setting in wanted.setting:
        check_door(setting.door, frame)
    if QUANTITIES[wanted.quantity].limits(frame) is None:
        raise StudyError(
            "no-limits",
            f"Frame {frame.name} has no limits for the {QUANTITIES[wanted.quantity].words}.",
            "Study another quantity.",
        )
    seed = secrets.randbelow(1_000_000) if wanted.seed is None else wanted.seed
    unit = QUANTITIES[wanted.quantity].unit
    return StudyPlan(
        "rigvision.study-plan/1",
        given_text(wanted.name, "the study's name"),
        frame.name,
        wanted.kind,
        wanted.quantity,
        wanted.shots,
        seed,
        tuple(checked_name(p) for p in wanted.people),
        tuple(_setting(s, unit) for s in wanted.setting),
        _order(_cells(wanted), wanted.shots, seed),
    )


def plan_bytes(plan: StudyPlan) -> bytes:
    return json.dumps(asdict(plan), indent=1, ensure_ascii=False).encode() + b"\n"


def read_plan(folder: Path) -> tuple[StudyPlan, str]:
    """The plan in a study's folder and its SHA-256. Raises StudyError."""
    path = folder / PLAN_FILE
    try:
        content = read_ordinary(path, MAX_PLAN_BYTES)
    except OSError as error:
        raise _unusable(folder, error.strerror or "it cannot be opened") from error
    except ValueError as error:
        raise _unusable(folder, "no file can have such a name") from error
    try:
        plan: StudyPlan = read_part(StudyPlan, _plain(content))
        _check(plan)
    except (ValueError, RecursionError, RigvisionError) as error:
        raise _unusable(folder, one_line(str(error), 200)) from error
    return plan, sha256(content).hexdigest()


def _setting(wanted: SettingWanted, unit: str) -> Setting:
    return Setting(
        given_text(wanted.name, "a setting's name"),
        wanted.door,
        getattr(wanted, f"reference_{unit}"),
        getattr(wanted, f"reference_expanded_uncertainty_{unit}"),
        wanted.reference_verdict,
    )


def _cells(wanted: StudyWanted) -> list[tuple[str, str]]:
    """Who shoots what. Nested: settings without a person go round among the people."""
    settings = [given_text(s.name, "a setting's name") for s in wanted.setting]
    people = [checked_name(p) for p in wanted.people]
    if wanted.kind == "crossed":
        return [(s, p) for s in settings for p in people]
    owners = [
        people[i % len(people)] if s.person is None else checked_name(s.person)
        for i, s in enumerate(wanted.setting)
    ]
    return list(zip(settings, owners, strict=True))


def _order(cells: list[tuple[str, str]], shots: int, seed: int) -> tuple[PlannedShot, ...]:
    rng = random.Random(seed)
    found: list[PlannedShot] = []
    for repeat in range(1, shots + 1):
        for setting, person in rng.sample(cells, len(cells)):
            found.append(PlannedShot(len(found) + 1, setting, person, repeat))
    return tuple(found)


def _plain(content: bytes) -> Any:
    plain = json.loads(content.decode("utf-8"))
    if not isinstance(plain, dict):
        raise ValueError("it is no plan")
    return plain


def _check(plan: StudyPlan) -> None:
    """What types cannot say. Raises ValueError, UsageError."""
    given_text(plan.name, "the study's name")
    given_text(plan.frame, "the frame")
    names = {given_text(s.name, "a setting's name") for s in plan.settings}
    people = {checked_name(p) for p in plan.people}
    if names != {s.name for s in plan.settings} or people != set(plan.people):
        raise ValueError("a name in it is not written as names are kept")
    if len(names) != len(plan.settings) or len(people) != len(plan.people):
        raise ValueError("a name stands twice in it")
    if not 0 < len(plan.order) <= MOST_READINGS:
        raise ValueError("it plans no shot, or too many")
    if [s.shot for s in plan.order] != list(range(1, len(plan.order) + 1)):
        raise ValueError("its shots are not numbered from 1")
    if any(s.setting not in names or s.person not in people for s in plan.order):
        raise ValueError("a shot in it is of no setting or person of the plan")
    if len({(s.setting, s.person, s.repeat) for s in plan.order}) != len(plan.order):
        raise ValueError("a shot is planned twice in it")


def _unusable(folder: Path, cause: str) -> StudyError:
    return StudyError(
        "no-plan",
        f"The plan in {one_line(str(folder), 300)} cannot be used: {cause}.",
        "'rigvision study plan' makes one; a plan is never changed once photos are taken.",
    )
