"""What somebody wants to study, as typed or as written in a TOML file; checked, nothing guessed."""

from __future__ import annotations

from pathlib import Path
from typing import Literal, Self

from pydantic import Field, model_validator

from rigvision.decision.result import Verdict
from rigvision.ground.errors import ModelError, UsageError
from rigvision.records.given_text import given_text
from rigvision.records.person import checked_name, same_person
from rigvision.training.quantity import QUANTITIES, QuantityName
from rigvision.training.readings import MOST_READINGS
from rigvision.training.study_error import StudyError
from rigvision.world.model import NotNegative, Table, read_model

StudyKind = Literal["crossed", "nested"]


class SettingWanted(Table):
    """A door, or a door set in a certain way, that is photographed again and again.

    ``person`` is for nested studies: whose setting it is. The reference is what a master or a
    better measurement says; its expanded uncertainty is taken to be of 95 % (k = 2).
    """

    name: str
    door: int | None = Field(default=None, ge=1, le=999)
    person: str | None = None
    reference_mm: float | None = None
    reference_expanded_uncertainty_mm: NotNegative = 0.0
    reference_deg: float | None = None
    reference_expanded_uncertainty_deg: NotNegative = 0.0
    reference_verdict: Verdict | None = None


class StudyWanted(Table):
    """A study as it is asked for; ``seed`` None: one is drawn and stated."""

    name: str
    frame: str
    kind: StudyKind = "crossed"
    quantity: QuantityName = "gap"
    shots: int = Field(ge=1, le=50)
    seed: int | None = Field(default=None, ge=0, le=2**53)
    people: tuple[str, ...] = Field(min_length=1, max_length=50)
    setting: tuple[SettingWanted, ...] = Field(min_length=1, max_length=200)

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        try:
            _check_names(self)
        except UsageError as error:
            raise ValueError(f"{error.text} {error.remedy}") from error
        _check_references(self)
        cells = len(self.setting) * (1 if self.kind == "nested" else len(self.people))
        if cells * self.shots > MOST_READINGS:
            raise ValueError(
                f"{cells} cells of {self.shots} shots are more than {MOST_READINGS} photos"
            )
        return self


def read_wanted(path: Path) -> StudyWanted:
    """A study file. Raises StudyError, naming what is wrong in it."""
    try:
        return read_model(path, StudyWanted)
    except ModelError as error:
        raise StudyError(
            "study-file-wrong",
            error.text.replace("The model file", "The study file", 1),
            "docs/study.md shows a whole one.",
        ) from error


def checked(wanted: dict[str, object]) -> StudyWanted:
    """A study from what was typed. Raises StudyError."""
    from pydantic import ValidationError

    try:
        return StudyWanted.model_validate(wanted)
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        message = str(first["msg"]).removeprefix("Value error, ")
        where = " ".join(str(part) for part in first["loc"])
        raise StudyError(
            "study-unfit",
            f"The study cannot be planned: {where + ': ' if where else ''}{message}",
            "'rigvision study plan --help' says what is needed.",
        ) from error


def _check_names(wanted: StudyWanted) -> None:
    """Raises UsageError for names that cannot be kept, ValueError for what does not fit."""
    given_text(wanted.name, "the study's name")
    names = [given_text(s.name, "a setting's name") for s in wanted.setting]
    people = [checked_name(p) for p in wanted.people]
    for index, name in enumerate(names):
        if name.casefold() in [n.casefold() for n in names[:index]]:
            raise ValueError(f"two settings are called {name}")
    for index, person in enumerate(people):
        if any(same_person(person, p) for p in people[:index]):
            raise ValueError(f"{person} is named twice, or two names are taken for one person's")
    for setting in wanted.setting:
        if setting.person is not None and setting.person not in wanted.people:
            raise ValueError(f"the person of setting {setting.name} is not among the people")
        if setting.person is not None and wanted.kind == "crossed":
            raise ValueError(
                f"setting {setting.name} has a person, but in a crossed study it is everybody's"
            )


def _check_references(wanted: StudyWanted) -> None:
    other = "deg" if QUANTITIES[wanted.quantity].unit == "mm" else "mm"
    for setting in wanted.setting:
        if getattr(setting, f"reference_{other}") is not None:
            raise ValueError(
                f"reference_{other} of setting {setting.name} is not in the unit of the "
                f"{QUANTITIES[wanted.quantity].words}"
            )
