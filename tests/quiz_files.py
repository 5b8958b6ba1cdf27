"""Quizzes and files of answers for tests. The check of answers is made by another canonicaliser."""

from __future__ import annotations

from hashlib import sha256
from io import BytesIO
from pathlib import Path
from typing import Any

import jcs
from PIL import Image

from rigvision.decision.result import Verdict
from rigvision.training.known import Known, Truth
from rigvision.training.quiz import Quiz, new_quiz_id
from rigvision.training.quiz_page import Asked, quiz_folder, write_quiz


def picture(grey: int = 90, size: tuple[int, int] = (64, 48)) -> bytes:
    out = BytesIO()
    Image.new("RGB", size, (grey, grey, grey)).save(out, "JPEG")
    return out.getvalue()


def known(
    verdict: Verdict, gap_mm: float | None = 0.8, turns: float | None = 0.0, **more: Any
) -> Known:
    unsure = None if gap_mm is None else 0.08
    reasons = () if verdict == "pass" else ("<b>Because</b> of the sill.",)
    return Known(verdict, False, gap_mm, unsure, turns, None, "Do as told.", reasons, **more)


def truth(conforming: bool, gap_mm: float = 0.8) -> Truth:
    return Truth(gap_mm, 0.0 if conforming else 0.5, conforming)


def quiz_in(folder: Path, shots: list[Known], records: list[str] | None = None) -> Quiz:
    asked = [
        Asked(picture(60 + n), "DF-10 door 3", "limits: some", k, records[n] if records else None)
        for n, k in enumerate(shots)
    ]
    return write_quiz(quiz_folder(folder), new_quiz_id(), "A quiz", "ledger", asked)


def answered(quiz: Quiz, *calls: tuple[Any, ...], **changes: Any) -> dict[str, Any]:
    """Plain answers: a call is (verdict, gap in mm, turns), the last two if at all."""
    listed = []
    for shot, (verdict, *figures) in enumerate(calls, start=1):
        gap_mm, turns = (*figures, None, None)[:2]
        row = {"shot": shot, "verdict": verdict, "gap_mm": gap_mm, "turns": turns, "seconds": 4.5}
        listed.append(row)
    plain = {
        "schema": "rigvision.answers/1",
        "quiz": quiz.quiz,
        "quiz_sha256": quiz.sha256,
        "trainee": "Ann Otter",
        "begun_at": "2026-03-01T08:00:00.000Z",
        "finished_at": "2026-03-01T08:10:00.000Z",
        "answers": listed,
    }
    return plain | changes


def as_saved(plain: dict[str, Any]) -> bytes:
    """As the page writes them."""
    check = sha256(b"rigvision.answers/1\n" + jcs.canonicalize(plain)).hexdigest()
    content: bytes = jcs.canonicalize(plain | {"check": check})
    return content
