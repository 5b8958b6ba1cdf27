"""A sheet for each trainee: one A4 page to print, discuss and keep."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from pathlib import Path

from rigvision.records.clock import now
from rigvision.records.person import same_person
from rigvision.training.first_answers import Remark
from rigvision.training.page_set import page_folder, rendered
from rigvision.training.score import Score, TraineeScore
from rigvision.training.score_rows import HEAD, PROGRESS_HEAD, progress_row, rows

KIND = "score"
#: So many sittings fit on one page beside the figures; the newest.
MOST_SITTINGS = 12


def write_sheets(path: Path, score: Score, remarks: Sequence[Remark]) -> list[Path]:
    """One file a trainee; sheets of an earlier run with those names are replaced.

    Raises UsageError where the folder holds something else, LedgerError.
    """
    folder = page_folder(path, KIND)
    folder.write_assets("score.css")
    written = {}
    for number, one in enumerate(score.trainees, start=1):
        name = f"sheet-{number:02d}{_plain(one.trainee)}.html"
        folder.write(name, _sheet(one, remarks))
        written[name] = one.trainee
    folder.note(written)
    return [path / name for name in written]


def _sheet(one: TraineeScore, remarks: Sequence[Remark]) -> str:
    shown = one.sittings[-MOST_SITTINGS:]
    return rendered(
        "score_sheet.html",
        root="",
        one=one,
        head=HEAD,
        rows=rows(one.together),
        progress_head=PROGRESS_HEAD,
        progress=[progress_row(dated) for dated in shown],
        left_out=len(one.sittings) - len(shown),
        remarks=[r.text for r in remarks if _about(r, one.trainee)],
        made_at=now(),
    )


def _about(remark: Remark, trainee: str) -> bool:
    return remark.trainee is None or same_person(remark.trainee, trainee)


def _plain(name: str) -> str:
    """What of a person's name may stand in a file's, with a hyphen before it."""
    ascii_only = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode()
    kept = re.sub(r"[^A-Za-z0-9]+", "-", ascii_only).strip("-")[:30].strip("-")
    return f"-{kept}" if kept else ""
