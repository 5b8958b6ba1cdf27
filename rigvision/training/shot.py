"""One checked photo as a trainer looks at it: from a record, or from a saved result."""

from __future__ import annotations

from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from rigvision.decision.result import CharacteristicResult, Verdict
from rigvision.records.bodies import (
    CheckRecorded,
    Flag,
    JobOpened,
    Likeness,
    Noted,
    RulingWord,
    Stage,
)
from rigvision.records.ledger import Ledger
from rigvision.records.noting import RULING
from rigvision.records.person import folded
from rigvision.records.record_id import is_record_id
from rigvision.records.record_view import RecordView
from rigvision.records.search import Status
from rigvision.report.saved_result import SavedResult

EVEN_ODDS = 0.5


@dataclass(frozen=True, slots=True)
class Ruling:
    """What a trainer says the photo should have been called. ``at`` is the entry's time."""

    by: str
    word: RulingWord
    text: str
    at: str


@dataclass(frozen=True, slots=True)
class ShotFiles:
    """Where the pictures lie, each None where there is none.

    ``photo`` is the original, whose hash the result says, ``image`` the analysed image, ``gauge``
    and ``frame`` the models that it was measured with; ``image_sha256`` is None where none was
    noted.
    ``guarded``: the photo is a stranger's, to be decoded in a locked-down process.
    """

    photo: Path | None = None
    image: Path | None = None
    gauge: Path | None = None
    frame: Path | None = None
    image_sha256: str | None = None
    guarded: bool = False


@dataclass(frozen=True, slots=True)
class Shot:
    """A photo that was checked, with all that is known of it.

    ``key`` names its files: letters, digits and hyphens, unique in a set. What only a ledger
    knows (``record``, ``job``, ``stage``, ``recorded_at``, ``status``, flags, likeness, rulings)
    is None or empty for a saved result.
    """

    key: str
    result: SavedResult
    files: ShotFiles
    record: str | None = None
    job: JobOpened | None = None
    stage: Stage | None = None
    recorded_at: str | None = None
    taken_at: str | None = None
    status: Status | None = None
    flags: tuple[Flag, ...] = ()
    likeness: Likeness | None = None
    rulings: tuple[Ruling, ...] = ()

    @property
    def verdict(self) -> Verdict:
        return self.result.verdict

    @property
    def name(self) -> str:
        """What people call it: the record's id, else the photo's name."""
        return self.record or self.result.photo.name

    @property
    def worst(self) -> CharacteristicResult | None:
        """The characteristic least likely to conform, which the call hangs on; None where nothing
        was judged."""
        judged = self.result.decision.characteristics if self.result.decision else ()
        return min(judged, key=lambda c: c.conformance_probability, default=None)

    @property
    def probability(self) -> float | None:
        """That the worst characteristic conforms; the gap's where the result says no others."""
        if self.worst is not None:
            return self.worst.conformance_probability + 0.0  # never -0.0
        gap = self.result.gap
        return gap.conformance_probability if gap else None

    @property
    def from_even_odds(self) -> float | None:
        """How far that is from one half: 0 where anybody's call is as good as another's."""
        return None if self.probability is None else abs(self.probability - EVEN_ODDS)

    @property
    def ruling(self) -> Ruling | None:
        """The newest, which counts."""
        return self.rulings[-1] if self.rulings else None

    @property
    def door(self) -> tuple[str, str, int] | None:
        """Equal for shots of one door: engine, frame and number; None where that is not known."""
        job = self.job
        return (folded(job.engine), job.frame, job.door) if job else None

    @property
    def made_at(self) -> str:
        """When it was taken, else recorded; empty where neither is known."""
        return self.taken_at or self.recorded_at or ""


def queued(shots: list[Shot]) -> list[Shot]:
    """Nearest to even odds first; those of which no figure was judged last, as they came."""
    return sorted(shots, key=lambda s: 2.0 if s.from_even_odds is None else s.from_even_odds)


def shot_of_record(ledger: Ledger, view: RecordView) -> Shot:
    """A record's shot. Its files are named, not read."""
    recorded = view.recorded
    return Shot(
        key=view.record if is_record_id(view.record) else _key(view.record),
        result=view.result,
        files=_files(ledger, recorded),
        record=view.record,
        job=view.job,
        stage=view.core.stage,
        recorded_at=view.core.recorded_at,
        taken_at=view.core.taken_at,
        status=view.status,
        flags=view.flags,
        likeness=recorded.likeness,
        rulings=tuple(_rulings(view)),
    )


def shot_of_result(result: SavedResult, files: ShotFiles) -> Shot:
    """The shot of a saved result, keyed by all that it says."""
    return Shot(_key(repr(result)), result, files, taken_at=result.photo.taken_at)


def _key(text: str) -> str:
    return f"S-{sha256(text.encode()).hexdigest()[:12].upper()}"


def _files(ledger: Ledger, recorded: CheckRecorded) -> ShotFiles:
    core = recorded.core
    models = {d.kind: _there(ledger, d.sha256, None) for d in core.definitions}
    return ShotFiles(
        _there(ledger, core.photo.sha256, core.photo.size_bytes),
        _there(ledger, recorded.image.sha256, recorded.image.size_bytes),
        models.get("gauge"),
        models.get("frame"),
        recorded.image.sha256,
        bool(core.settings.get("guarded")),
    )


def _there(ledger: Ledger, sha256_hex: str, size_bytes: int | None) -> Path | None:
    evidence = ledger.evidence
    return evidence.path(sha256_hex) if evidence.has(sha256_hex, size_bytes) else None


def _rulings(view: RecordView) -> list[Ruling]:
    noted = [
        (d.body, d.recorded_at)
        for d in view.later
        if isinstance(d.body, Noted) and d.body.kind == RULING
    ]
    return [Ruling(n.noted_by, n.ruling, n.text, at) for n, at in noted if n.ruling]
