"""The shots that pages are made of: from a ledger, or from a folder of saved results."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from pathlib import Path

from rigvision.ground.errors import RigvisionError, UsageError
from rigvision.ground.ordinary_file import read_ordinary
from rigvision.ground.shown import one_line
from rigvision.records.evidence_store import hash_and_size
from rigvision.records.ledger import Ledger
from rigvision.records.ledger_error import shown_path, spoken
from rigvision.records.record_view import view_record
from rigvision.records.search import Wanted, search
from rigvision.report.saved_result import SavedRefusal, SavedResult, read_saved
from rigvision.training.shot import Shot, ShotFiles, shot_of_record, shot_of_result

#: Of one folder; what lies in folders within it is not looked at.
MOST_FILES = 20_000
_PHOTO_ENDINGS = {".jpg", ".jpeg", ".heic", ".heif", ".png", ".tif", ".tiff", ".webp"}
_ANALYSED = ".checked.jpg"
#: As ``report.analysed_image`` labels it, in the head of the file.
_LABEL = re.compile(rb"photo sha256 ([0-9a-f]{64})")
_HEAD_BYTES = 4096
_MOST_IMAGE_BYTES = 50_000_000


@dataclass(frozen=True, slots=True)
class ShotSet:
    """Shots as they came, the oldest first. ``origin`` says in words where from; ``complaints`` are
    sentences about what could not be used; ``more``: there are others, older ones.
    """

    shots: tuple[Shot, ...]
    origin: str
    complaints: tuple[str, ...] = ()
    more: bool = False
    from_ledger: bool = True


@dataclass(slots=True)
class _Gathered:
    shots: dict[str, Shot] = field(default_factory=dict)
    complaints: list[str] = field(default_factory=list)


def shots_of_ledger(ledger: Ledger, wanted: Wanted) -> ShotSet:
    """The records that are wanted, the newest of them where there are too many.

    A record that is not what it was is left out and complained about. Raises LedgerError,
    UsageError.
    """
    finds = search(ledger, wanted)
    gathered = _Gathered()
    for found in reversed(finds.found):
        try:
            shot = shot_of_record(ledger, view_record(ledger, found.record))
        except RigvisionError as error:
            gathered.complaints.append(f"{one_line(found.record, 20)} is left out: {error.text}")
            continue
        gathered.shots[shot.key] = shot
    count = ledger.head().count
    origin = f"ledger {ledger.identity}, {count} {'entry' if count == 1 else 'entries'}"
    shots, complaints = tuple(gathered.shots.values()), tuple(gathered.complaints)
    return ShotSet(shots, origin, complaints, finds.more)


def shots_of_folder(folder: Path) -> ShotSet:
    """All results in a folder's JSON files; photos and analysed images beside them are found by
    hash, whatever they are called.

    Raises UsageError for what is no folder.
    """
    names = _names(folder)
    gathered, results = _Gathered(), list[SavedResult]()
    for path in (p for p in names if p.suffix.lower() == ".json"):
        results += _results(path, gathered)
    photos = _photos(names, {r.photo.sha256 for r in results})
    images = _images(names)
    for result in results:
        sha256 = result.photo.sha256
        shot = shot_of_result(result, ShotFiles(photos.get(sha256), images.get(sha256)))
        gathered.shots[shot.key] = shot
    shots = sorted(gathered.shots.values(), key=lambda s: (s.made_at, s.result.photo.name))
    origin = f"folder {shown_path(folder)}"
    return ShotSet(tuple(shots), origin, tuple(gathered.complaints), from_ledger=False)


def _names(folder: Path) -> list[Path]:
    if not folder.is_dir():
        raise UsageError(
            "no-such-folder",
            f"There is no folder {shown_path(folder)}.",
            "Name the folder that 'rigvision check --json' wrote its results to.",
        )
    with spoken(folder):
        names = sorted(p for p in folder.iterdir() if p.is_file())
    if len(names) > MOST_FILES:
        raise UsageError(
            "too-many-files",
            f"{shown_path(folder)} holds {len(names)} files; at most {MOST_FILES} are looked at.",
            "Share them out among several folders.",
        )
    return names


def _results(path: Path, gathered: _Gathered) -> list[SavedResult]:
    """Those of one file; what is not one of ours is complained about."""
    try:
        saved = read_saved(path)
    except RigvisionError as error:
        gathered.complaints.append(error.text)
        return []
    for refusal in (s for s in saved if isinstance(s, SavedRefusal)):
        gathered.complaints.append(f"{one_line(refusal.name, 80)} could not be read as a photo.")
    return [s for s in saved if isinstance(s, SavedResult)]


def _photos(names: list[Path], wanted: set[str]) -> dict[str, Path]:
    found: dict[str, Path] = {}
    for path in names:
        lower = path.name.lower()
        if path.suffix.lower() not in _PHOTO_ENDINGS or lower.endswith(_ANALYSED):
            continue
        try:
            sha256, _ = hash_and_size(path)
        except OSError:
            continue
        if sha256 in wanted:
            found.setdefault(sha256, path)
    return found


def _images(names: list[Path]) -> dict[str, Path]:
    """Analysed images by their photo's hash, which stands in their label."""
    found: dict[str, Path] = {}
    for path in (p for p in names if p.name.lower().endswith(_ANALYSED)):
        try:
            head = read_ordinary(path, _MOST_IMAGE_BYTES)[:_HEAD_BYTES]
        except OSError:
            continue
        label = _LABEL.search(head)
        if label:
            found.setdefault(label[1].decode(), path)
    return found
