"""A recorded check run again from its evidence: what comes out differently today.

Writes nothing to the ledger. Photo and models are taken from the evidence; what the record cannot
bring along is this program and the libraries under it, and those are compared by version.
"""

from __future__ import annotations

import json
import tempfile
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from rigvision.chain import check
from rigvision.decision.result import CheckResult
from rigvision.records.bodies import Definition
from rigvision.records.canonical import canonical
from rigvision.records.definitions import ModelKind, definitions_of, versions
from rigvision.records.figures import Figure, figures_of
from rigvision.records.ledger import Ledger
from rigvision.records.record_view import RecordView
from rigvision.report.as_json import as_json
from rigvision.report.saved_result import SavedResult, parse_saved

SCHEMA = "rigvision.replay/1"
#: Said of the result by itself, or drawn at random: compared by version, or not run again.
_NOT_COMPARED = ("version", "monte_carlo")


@dataclass(frozen=True, slots=True)
class Difference:
    """Something that is not as it was; in words, None where it was or is not there."""

    what: str
    recorded: str | None
    now: str | None


@dataclass(frozen=True, slots=True)
class FigureDifference:
    """A figure then and now. ``of_uncertainty`` is their difference over the recorded expanded
    uncertainty; None where one of them is missing or that is not known."""

    key: str
    name: str
    unit: str
    recorded: float | None
    now: float | None
    expanded_uncertainty: float | None
    of_uncertainty: float | None


@dataclass(frozen=True, slots=True)
class Replay:
    """``exact``: the result is the same in every digit, whatever the versions."""

    record: str
    exact: bool
    versions: tuple[Difference, ...]
    definitions: tuple[Difference, ...]
    outcome: tuple[Difference, ...]
    figures: tuple[FigureDifference, ...]
    largest_of_uncertainty: float | None

    @property
    def same_outcome(self) -> bool:
        """Whether verdict and reasons are the same, and no figure has moved by its uncertainty."""
        moved = (f.of_uncertainty is None or abs(f.of_uncertainty) > 1.0 for f in self.figures)
        return self.exact or not (self.outcome or any(moved))

    def as_json(self) -> dict[str, Any]:
        return {"schema": SCHEMA, "same_outcome": self.same_outcome} | asdict(self)


def replay(ledger: Ledger, view: RecordView) -> Replay:
    """Run a record's check again. Raises LedgerError where evidence is missing or changed."""
    result = _checked_again(ledger, view)
    plain = json.loads(json.dumps(as_json(result), allow_nan=False))
    (now,) = parse_saved(json.dumps(plain).encode(), "the new result")
    assert isinstance(now, SavedResult)
    figures = tuple(figure_differences(view.result, now))
    moved = [abs(f.of_uncertainty) for f in figures if f.of_uncertainty is not None]
    return Replay(
        view.record,
        _compared(view.plain) == _compared(plain),
        _version_differences(view.core.versions, versions()),
        _definition_differences(view.core.definitions, result),
        tuple(outcome_differences(view.result, now)),
        figures,
        max(moved, default=None),
    )


def _checked_again(ledger: Ledger, view: RecordView) -> CheckResult:
    """The check with photo and models as they were; the photo's name as it was shown."""
    core, settings = view.core, view.core.settings
    with tempfile.TemporaryDirectory(prefix="rigvision-replay-") as folder:
        photo = Path(folder) / "photo"
        photo.write_bytes(ledger.evidence.read(core.photo.sha256))
        models = _models(ledger, core.definitions, Path(folder))
        result = check(
            photo,
            models.get("gauge"),
            models.get("frame"),
            settings.get("door"),
            models.get("camera"),
            bool(settings.get("guarded")),
        )
    return replace(result, photo=replace(result.photo, name=view.result.photo.name))


def _models(
    ledger: Ledger, definitions: tuple[Definition, ...], folder: Path
) -> dict[ModelKind, str]:
    """The recorded TOML files, each in the folder under a name of our own."""
    paths: dict[ModelKind, str] = {}
    for definition in definitions:
        if definition.kind != "network":
            path = folder / f"{definition.kind}.toml"
            path.write_bytes(ledger.evidence.read(definition.sha256))
            paths[definition.kind] = str(path)
    return paths


def _compared(plain: dict[str, Any]) -> bytes:
    return canonical({key: value for key, value in plain.items() if key not in _NOT_COMPARED})


def _version_differences(then: dict[str, str], now: dict[str, str]) -> tuple[Difference, ...]:
    names = [*then, *(name for name in now if name not in then)]
    return tuple(
        Difference(name, then.get(name), now.get(name))
        for name in names
        if then.get(name) != now.get(name)
    )


def _definition_differences(
    then: tuple[Definition, ...], result: CheckResult
) -> tuple[Difference, ...]:
    """What was measured with now and was not then: the network, which comes with the program."""
    seen: Any = result.evidence
    now = {kept.definition.kind: kept.definition for kept in definitions_of(seen)}
    before = {definition.kind: definition for definition in then}
    return tuple(
        Difference(kind, _shown(before.get(kind)), _shown(now.get(kind)))
        for kind in before | now
        if _shown(before.get(kind)) != _shown(now.get(kind))
    )


def _shown(definition: Definition | None) -> str | None:
    return f"{definition.name} {definition.sha256[:12]}" if definition else None


def outcome_differences(then: SavedResult, now: SavedResult) -> list[Difference]:
    """Verdict, borderline, reasons, the turn to make, and what was seen at all."""
    pairs = (
        ("verdict", then.verdict, now.verdict),
        ("borderline", _yes(then.borderline), _yes(now.borderline)),
        ("reasons", _codes(then), _codes(now)),
        ("gauge", then.gauge, now.gauge),
        ("frame", then.frame, now.frame),
        ("instruction", then.turns.instruction, now.turns.instruction),
    )
    return [Difference(what, first, second) for what, first, second in pairs if first != second]


def figure_differences(then: SavedResult, now: SavedResult) -> list[FigureDifference]:
    """The figures that are not the same in every digit that is kept."""
    first = {f.key: f for f in figures_of(then)}
    second = {f.key: f for f in figures_of(now)}
    return [
        found
        for key in first | second
        if (found := _difference(first.get(key), second.get(key))) is not None
    ]


def _difference(then: Figure | None, now: Figure | None) -> FigureDifference | None:
    named = then or now
    assert named is not None
    before, after = then.value if then else None, now.value if now else None
    expanded = then.expanded_uncertainty if then else None
    if before == after and expanded == (now.expanded_uncertainty if now else None):
        return None
    ratio = None
    if before is not None and after is not None and expanded:
        ratio = (after - before) / expanded
    return FigureDifference(named.key, named.name, named.unit, before, after, expanded, ratio)


def _codes(result: SavedResult) -> str:
    return ", ".join(reason.code for reason in result.reasons) or "none"


def _yes(value: bool) -> str:
    return "yes" if value else "no"
